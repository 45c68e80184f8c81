package manifest

import (
	"bytes"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"testing"

	"ripieno/assemble/fault"
	"ripieno/mix/tempo"
	"ripieno/mix/tempo/smf"
)

// scoreFolder returns a production's folder with a score of twelve measures of 3/4
// at 90 as MIDI, a MusicXML file of two measures of 2/2, and some traps.
func scoreFolder(t *testing.T) string {
	t.Helper()
	dir := t.TempDir()
	meter, err := tempo.ParseMeter("3/4")
	if err != nil {
		t.Fatal(err)
	}
	music, err := tempo.New(tempo.Spec{Changes: []tempo.Change{{Measure: 1, Meter: meter, BPM: 90}}, Measures: 12})
	if err != nil {
		t.Fatal(err)
	}
	var midi bytes.Buffer
	if err := smf.Write(&midi, music, smf.Options{}); err != nil {
		t.Fatal(err)
	}
	const xml = `<score-partwise><part-list><score-part id="A"><part-name>Oboe</part-name></score-part></part-list><part id="A">` +
		`<measure number="1"><attributes><divisions>1</divisions><time><beats>2</beats><beat-type>2</beat-type></time></attributes><sound tempo="120"/>` +
		`<note><pitch><step>D</step><octave>5</octave></pitch><duration>4</duration></note></measure>` +
		`<measure number="2"><note><pitch><step>E</step><octave>5</octave></pitch><duration>4</duration></note></measure></part></score-partwise>`
	for name, data := range map[string]string{
		"round.mid": midi.String(), "music/round.musicxml": xml, "broken.mid": midi.String()[:30], "round.pdf": "%PDF",
		"folder.mid/x": "",
	} {
		path := filepath.Join(dir, name)
		if err := os.MkdirAll(filepath.Dir(path), 0o700); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(path, []byte(data), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	outside := filepath.Join(t.TempDir(), "out.mid")
	if err := os.WriteFile(outside, midi.Bytes(), 0o600); err != nil {
		t.Fatal(err)
	}
	if err := os.Symlink(outside, filepath.Join(dir, "link.mid")); err != nil {
		t.Fatal(err)
	}
	return dir
}

func TestScore(t *testing.T) {
	dir := scoreFolder(t)
	path := filepath.Join(dir, FileName)
	p, err := Parse(path, []byte("version: 1\ntitle: T\ntempo: {score: round.mid, count_in: {measures: 4}, holds: "+
		"[{at: m2.1, seconds: 0.5}], measures: 12}\n"+
		"takes: [{name: a, video: {file: a.mov}, trim: {from: m3}}]\n"))
	if err != nil {
		t.Fatal(fault.Format(err))
	}
	// Twelve beats of 60/90 s before, three each measure, and the hold. A
	// tempo in MIDI is whole microseconds: 666,667 for 90.
	if got := p.Takes[0].TrimFrom.Seconds; p.Tempo.Measures() != 12 || got < 12.4999 || got > 12.5001 ||
		p.Score == nil {
		t.Errorf("%d measures, measure 3 at %v", p.Tempo.Measures(), got)
	}
	pinned, err := Pin([]byte("version: 1\ntitle: T\ntempo: {score: round.mid}\ntakes: [{name: a, video: {file: "+
		"a.mov}}]\n"), p, []Pinned{{Take: "a", Role: "video", Offset: 1, DriftPPM: 2}})
	if err != nil || !strings.Contains(string(pinned), "{file: a.mov, offset: 1, drift_ppm: 2}") {
		t.Errorf("%v %s", err, pinned)
	}
	p, err = Parse(path, []byte("version: 1\ntitle: T\ntempo: {score: music/round.musicxml}\n"))
	if err != nil {
		t.Fatal(fault.Format(err))
	}
	// Quarter = 120 is half = 60, which makes a measure of 2/2 two seconds long
	// and the default count-in of eight measures sixteen.
	near(t, "measure 1", p.Tempo.Start(), 16)
	near(t, "end", p.Tempo.End(), 20)
	if len(p.Score.Parts) != 1 || p.Score.Parts[0].Name != "Oboe" || len(p.Score.Parts[0].Onsets) != 2 {
		t.Errorf("%+v", p.Score.Parts)
	}
}

func TestScoreFaults(t *testing.T) {
	dir := scoreFolder(t)
	const end = "\n  hint: export it again, or write changes: and measures: instead"
	for _, c := range []struct{ tempo, want string }{
		{"{score: none.mid}", "P:3:16: score \"none.mid\" not found\n  hint: its name is relative to the folder of " +
			"production.yaml"},
		{"{score: round.pdf}", "P:3:16: unknown kind of score \"round.pdf\"\n  hint: a Standard MIDI File (.mid) or " +
			"MusicXML (.musicxml, .mxl)"},
		{"{score: /etc/x.mid}", "P:3:16: \"/etc/x.mid\" is an absolute path\n  hint: put the file into the " +
			"production's folder and write its name from there"},
		{"{score: folder.mid}", "P:3:16: score \"folder.mid\" cannot be read: not an ordinary file" + end},
		{"{score: link.mid}", "P:3:16: score \"link.mid\" cannot be read: statat link.mid: path escapes from parent" +
			end},
		{"{score: }", "P:3:9: score has no value\n  hint: for example score: round.musicxml, or leave it out"},
		{"{score: round.mid, changes: [], measures: 11, pick_up: 1}",
			"P:3:50: measures is 11, but the score has 12 as played\n  hint: leave it out, since the score says it\n" +
				"P:3:63: pick_up is 1, but the score has one of 0 beats\n  hint: leave it out, since " +
				"the score says it"},
		{"{score: round.mid, holds: [{at: m13.1, seconds: 1}], count_in: {measures: 2, cue: {measure: 3}}}",
			"P:3:90: the cue is in measure 3 of the count-in, which has 2\n" +
				"  hint: the first measure of the count-in's second half is common: measure 5 of 8, 3 of 4"},
	} {
		if runtime.GOOS == "windows" && strings.Contains(c.tempo, "link") {
			continue // not everybody may make links there
		}
		_, err := Parse(filepath.Join(dir, FileName), []byte("version: 1\ntitle: T\ntempo: "+c.tempo+"\n"))
		got := "nothing"
		if err != nil {
			got = strings.ReplaceAll(fault.Format(err), filepath.Join(dir, FileName), "P")
		}
		if got != c.want {
			t.Errorf("%s\ngot\n%s\nwant\n%s", c.tempo, got, c.want)
		}
	}
	_, err := Parse(filepath.Join(dir, FileName), []byte("version: 1\ntitle: T\ntempo: {score: broken.mid}\n"))
	if err == nil || !strings.Contains(err.Error(), ":3:16: score \"broken.mid\" cannot be read") ||
		!strings.Contains(fault.Format(err), "midi file: ") {
		t.Errorf("%v", err)
	}
}
