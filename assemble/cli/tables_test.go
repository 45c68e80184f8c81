package cli

import (
	"strings"
	"testing"
	"unicode/utf8"

	"ripieno/assemble"
)

func ms(v float64) *float64 { return &v }

// The table of sync says of every recording where it lies, how sure that is,
// by what, and how clap and playing disagree, in 100 columns however long the
// names are.
func TestSyncTable(t *testing.T) {
	at, by := 11.5, 3.31
	r := assemble.SyncResult{File: "p/sync.yaml", PNG: []string{"p/out/sync.png"},
		Tasks: assemble.TaskCount{Run: 2, Reused: 12}, Takes: []assemble.Placed{
			{Name: "second-contrabass-clarinet-in-b-flat", Role: "video", Offset: -1234.5678, DriftPPM: -312.4,
				Confidence: 0.61, Method: "cue+playing", LatenessMS: ms(-123), CueAt: &at},
			{Name: "oboe", Role: "audio", Offset: 3.25, Confidence: 1, Sure: true, Method: "device",
				LatenessMS: ms(12.4),
				CueAt:      &at},
			{Name: "cello", Role: "audio", Offset: 3.25, Confidence: 1, Sure: true, Method: "cue+playing",
				LatenessMS: ms(81), CueAt: &at, CueOffset: &by},
			{Name: "viola", Role: "audio", Confidence: 1, Sure: true, Method: "cue+playing", LatenessMS: ms(-23),
				KeptMS: -22, CueAt: &at},
			{Name: "horn", Role: "audio", Confidence: 1, Sure: true, Method: "cue+playing", LatenessMS: ms(-0.3),
				CueAt: &at},
			{Name: "flute", Role: "audio", Confidence: 1, Sure: true, Method: "cue given", LatenessMS: ms(30),
				CueAt: &at},
			{Name: "tuba", Role: "video", Confidence: 0.99, Sure: true, Method: "cue", CueAt: &at},
			{Name: "bell", Role: "video", Confidence: 0.99, Sure: true, Method: "playing"},
			{Name: "drum", Role: "video", Confidence: 1, Sure: true, Method: "offset given"},
		}}
	var b strings.Builder
	syncTable(r)(&b)
	const want = `take              of     offset s    ppm     confidence         placed by     against clap
second-contraba…  video  -1234.5678  -312.4  0.61 needs review  cue+playing   123 ms early
oboe              audio  +3.2500     -       1.00               device        12 ms late, removed
cello             audio  +3.2500     -       1.00               cue+playing   81 ms late, 60 removed
viola             audio  +0.0000     -       1.00               cue+playing   23 ms early, kept
horn              audio  +0.0000     -       1.00               cue+playing   on the clap
flute             audio  +0.0000     -       1.00               cue given     30 ms late
tuba              video  +0.0000     -       0.99               cue           clap only
bell              video  +0.0000     -       0.99               playing       no clap
drum              video  +0.0000     -       1.00               offset given  by hand
9 recordings: 8 placed, 1 need review; 2 analyses run, 12 cached
drawn in p/out/sync.png
written to p/sync.yaml
`
	if b.String() != want {
		t.Errorf("got\n%s\nwant\n%s", b.String(), want)
	}
	for line := range strings.SplitSeq(b.String(), "\n") {
		if n := utf8.RuneCountInString(line); n > 100 {
			t.Errorf("%d columns: %s", n, line)
		}
	}
}

func TestTileSizes(t *testing.T) {
	tile := func(w, h int) assemble.GridTile { return assemble.GridTile{W: w, H: h} }
	for want, tiles := range map[string][]assemble.GridTile{
		"640x360":                   {tile(640, 360), tile(640, 360)},
		"960x540, 640x360":          {tile(640, 360), tile(960, 540), tile(640, 360)},
		"960x540, 640x360, 320x180": {tile(320, 180), tile(960, 540), tile(640, 360)},
		"1280x720 to 320x180":       {tile(320, 180), tile(960, 540), tile(640, 360), tile(1280, 720)},
		"400x200, 200x400, 100x100": {tile(200, 400), tile(100, 100), tile(400, 200)},
	} {
		if got := tileSizes(tiles); got != want {
			t.Errorf("%v: %q, want %q", tiles, got, want)
		}
	}
}
