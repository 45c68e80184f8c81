package cli

import (
	"strings"
	"testing"
	"unicode/utf8"

	"ripieno/assemble"
	"ripieno/assemble/takes"
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

// Who is sure only because they were so before is told, with how to hear what else it could be: never
// silently, and once for two devices.
func TestRememberedIsTold(t *testing.T) {
	places := []takes.Candidate{{Number: 1, At: 12.34, By: "cue", Odds: 0.96},
		{Number: 2, At: 9.94, By: "cue", Odds: 0.04}}
	asks := "clap at 12.34 s (96 %) or 9.94 s (4 %)"
	var b strings.Builder
	syncTable(assemble.SyncResult{File: "p/sync.yaml", Takes: []assemble.Placed{
		{Name: "horn", Role: "video", File: "horn.mov", Confidence: 0.96, Sure: true, Method: "cue", Remembered: asks,
			Candidates: places},
		{Name: "horn", Role: "audio", File: "horn.wav", Confidence: 0.96, Sure: true, Method: "device",
			Remembered: asks,
			Candidates: places},
	}})(&b)
	const want = `2 recordings: 2 placed, 0 need review; 0 analyses run, 0 cached
horn (video) was sure before and stays so; asked now: clap at 12.34 s (96 %) or 9.94 s (4 %)
hear these places with ripieno sync --snippets; to be asked about them delete sync.yaml
written to p/sync.yaml
  --accept horn/video=1             clap at 12.34 s of horn.mov (96 %)
  --accept horn/video=2             clap at 9.94 s of horn.mov (4 %)
`
	if !strings.HasSuffix(b.String(), want) {
		t.Errorf("got\n%s\nwant at its end\n%s", b.String(), want)
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
