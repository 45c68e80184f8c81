package manifest

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"ripieno/assemble/fault"
	"ripieno/mix/tempo/score"
)

// A drone with note: key follows the score: D major, silent in the rest of measure 3, F
// minor from measure 4, until a drone of the manifest's own. Measures of 3/4 at 180
// last a second.
func TestDroneInKeys(t *testing.T) {
	dir := t.TempDir()
	measure := func(n int, key, note string) string {
		return fmt.Sprintf(
			`<measure number="%d"><attributes><divisions>1</divisions>%s<time><beats>3</beats><beat-type>4</beat-type></time></attributes>`+
				`<sound tempo="180"/><note>%s<duration>3</duration></note></measure>`, n, key, note)
	}
	const sounds = `<pitch><step>C</step><octave>4</octave></pitch>`
	text := `<score-partwise><part-list/><part id="P">` + measure(1, `<key><fifths>2</fifths></key>`, sounds) +
		measure(2, "", sounds) + measure(3, "", "<rest/>") +
		measure(4, `<key><fifths>-4</fifths><mode>minor</mode></key>`, sounds) +
		measure(5, "", sounds) + `</part></score-partwise>`
	if err := os.WriteFile(filepath.Join(dir, "s.musicxml"), []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	parse := func(drone string) (string, error) {
		p, err := Parse(filepath.Join(dir, FileName),
			[]byte("version: 1\ntitle: T\ntempo: {score: s.musicxml, count_in: "+
				"{measures: 2}}\nguide: {drone: ["+drone+"]}\n"))
		if err != nil {
			return "", err
		}
		var list []string
		for _, d := range p.Guide.Drone {
			list = append(list, fmt.Sprintf("%s@%g fifth %v octave %v", d.Note, d.From.Seconds, d.Fifth, d.Octave))
		}
		return strings.Join(list, "; "), nil
	}
	for drone, want := range map[string]string{
		"{measure: count-in, note: key, fifth: just}, {measure: 5, note: G2}": "D3@0 fifth true octave " +
			"false; @4 fifth false octave false; " +
			"F3@5 fifth true octave false; G2@6 fifth false octave false",
		"{measure: 2, note: key, fifth: octave}": "D3@3 fifth false octave true; @4 fifth false octave " +
			"false; F3@5 fifth false octave true",
		"{measure: 4, note: key}": "F3@5 fifth false octave false",
	} {
		if got, err := parse(drone); err != nil || got != want {
			t.Errorf("%s:\n got %s %v\nwant %s", drone, got, err, want)
		}
	}
	_, err := Parse("production.yaml",
		[]byte("version: 1\ntitle: T\ntempo: {measures: 4, changes: [{measure: 1, meter: 4/4, "+
			"bpm: 60}]}\nguide: {drone: [{measure: 1, note: key}]}\n"))
	if err == nil || !strings.Contains(fault.Format(err), "a drone with note: key, and no score that gives a key") {
		t.Errorf("%v", err)
	}
	for _, c := range []struct {
		score.Key
		want string
	}{{score.Key{}, "C3"}, {score.Key{Fifths: 1}, "G2"}, {score.Key{Fifths: -2}, "Bb2"}, {score.Key{Fifths: 6}, "F#3"},
		{score.Key{Fifths: -5, Minor: true}, "Bb2"}, {score.Key{Fifths: 4, Minor: true}, "C#3"}} {
		if got := keyNote(c.Key); got != c.want {
			t.Errorf("%+v: %s, want %s", c.Key, got, c.want)
		}
	}
}
