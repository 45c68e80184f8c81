package manifest

import (
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"ripieno/assemble/fault"
	"ripieno/assemble/production"
)

// minuet is a score of four measures of 3/4 at 90 with a pick-up of a quarter: two are
// repeated, the fourth has D.C. al Fine, the second Fine, and the third says rit.
func minuet() string {
	const note = `<note><pitch><step>D</step><octave>5</octave></pitch><duration>%d</duration></note>`
	measure := func(n, quarters int, before, after string) string {
		return fmt.Sprintf(`<measure number="%d">%s`+note+`%s</measure>`, n, before, quarters, after)
	}
	words := func(text string) string {
		return "<direction><direction-type><words>" + text + "</words></direction-type></direction>"
	}
	return `<score-partwise><part-list><score-part id="A"><part-name>Oboe</part-name></score-part></part-list><part id="A">` +
		measure(0, 1, `<attributes><divisions>1</divisions><time><beats>3</beats><beat-type>4</beat-type></time></attributes>`+
			`<sound tempo="90"/>`, "") +
		measure(1, 3, "", "") + measure(2, 2, words("Fine"), `<barline><repeat direction="backward"/></barline>`) +
		`<measure number="X1">` + fmt.Sprintf(note, 1) + `</measure>` +
		measure(3, 3, words("rit."), "") + measure(4, 2, words("D.C. al Fine"), "") + `</part></score-partwise>`
}

// playMinuet reads a manifest with the minuet; more are lines of tempo and below.
func playMinuet(t *testing.T, tempo, more string) (*production.Production, error) {
	t.Helper()
	dir := t.TempDir()
	if err := os.WriteFile(filepath.Join(dir, "minuet.musicxml"), []byte(minuet()), 0o600); err != nil {
		t.Fatal(err)
	}
	p, err := Parse(filepath.Join(dir, FileName), []byte("version: 1\ntitle: T\ntempo: {score: minuet.musicxml, "+
		"count_in: {measures: 2}"+tempo+"}\ntakes: [{name: a, video: {file: a.mov}"+more+"}]\n"))
	return p, err
}

// A quarter lasts 2/3 s and a measure 2 s after a count-in of 4 s. Played are 1 2 | 1 2 |
// 3 4 | 1 2: where the repeat and the da capo meet the pick-up, both are one measure.
func TestPlacesOfTheScore(t *testing.T) {
	for _, c := range []struct {
		tempo, at string
		want      float64
		measures  int
	}{
		{"", "m3", 8, 8}, {"", "m1/2", 8, 8}, {"", "m2/2.3", 10 + 4.0/3, 8}, {"", "m3/1", 12, 8}, {"", "m2/3", 18, 8},
		{"", "m0", 4 - 2.0/3, 8}, {"", "m0.1", 4 - 2.0/3, 8},
		{", order: [1-2, 4]", "m4/1", 6 + 4.0/3, 3}, {", order: [2, 1-4]", "m2/2", 6, 5},
		// Written as click prints it: 1, 2 with the pick-up, 1, 2.
		{", order: [0-2, 0-2]", "m2/2", 10, 4}, {", order: [m0-m2, 1-2]", "m0", 4 - 2.0/3, 4},
		{", order: [0-2, 1-2]", "m1/2", 6 + 4.0/3, 4},
		{", changes: [{measure: 2, bpm: 45}]", "m1/2", 8 + 4.0/3, 8},
		{", interpret: yes", "m4/1", 12 + 60*3*math.Log(0.87)/(90*0.87-90), 8},
		{", interpret: yes, changes: [{measure: 3, bpm: 90}]", "m4/1", 14, 8},
		{", holds: [{at: m1/2, seconds: 1}]", "m2/2", 11, 8},
	} {
		p, err := playMinuet(t, c.tempo, ", trim: {from: "+c.at+"}")
		if err != nil {
			t.Errorf("%s %s: %s", c.tempo, c.at, fault.Format(err))
			continue
		}
		got := p.Takes[0].TrimFrom.Seconds
		if strings.HasPrefix(c.tempo, ", interpret: yes") && !strings.Contains(c.tempo, "changes") {
			// The ramp of two measures (3 + 3 quarters, the last one short) to 72.
			v := 90 - 18*3/5.0
			c.want = 12 + 60*3*math.Log(v/90)/(v-90)
		}
		if math.Abs(got-c.want) > 1e-6 || p.Tempo.Measures() != c.measures {
			t.Errorf("%s: %s at %.6f s of %d measures, want %.6f of %d", c.tempo, c.at, got, p.Tempo.Measures(), c.want,
				c.measures)
		}
	}
}

// What cannot be meant says what could be.
func TestPlacesThatAreNotThere(t *testing.T) {
	for _, c := range []struct{ tempo, more, want, hint string }{
		{"", ", trim: {from: m0.3}", "measure 0: beat 3 is past the pick-up of 1 beats",
			"did you mean m0.1? beats of the pick-up are written from 1: m0.1 is counted as beat 3"},
		{"", ", trim: {from: m0.2}", "measure 0: beat 2 is past the pick-up of 1 beats",
			"beats of the pick-up are written from 1: m0.1 is counted as beat 3"},
		{"", ", trim: {from: m1/4}", "measure 1 of the page is played 3 times and not 4",
			"ripieno click lists all measures as played, with their numbers on the page"},
		{"", ", trim: {from: m9/1}", "measure 9 of the page is played 0 times and not 1",
			"ripieno click lists all measures as played, with their numbers on the page"},
		{"", ", trim: {from: m1/0}", `from "m1/0" is not a time`, timeForms + ", start or end"},
		{", order: [1-9]", "", "the score has no measures 1 to 9", "measures have the numbers that the score prints"},
		{", order: [4-2]", "", `"4-2" is not a range of measures`, "measures of the page, for example " + orderExample},
		{", changes: [{measure: 2, meter: 4/4, bpm: 90}]", "", "the score says the meter of measure 2", "leave it out"},
		{", changes: [{measure: 2}]", "", "a change beside a score has no bpm and no ramp_to",
			"for example {measure: 17, bpm: 72}"},
		{", changes: [{measure: 8, bpm: 90}]", "", "the score has no measure 8",
			"measures have the numbers that the score prints"},
		{", holds: [{at: m1/5, seconds: 1}]", "", "measure 1 is not played 5 times",
			"ripieno click lists all measures as played, with their numbers on the page"},
	} {
		_, err := playMinuet(t, c.tempo, c.more)
		if err == nil || !strings.Contains(fault.Format(err), c.want+"\n  hint: "+c.hint) {
			t.Errorf("%s%s:\n%v\nwant %s\n  hint: %s", c.tempo, c.more, fault.Format(err), c.want, c.hint)
		}
	}
	_, err := Parse("production.yaml", []byte("version: 1\ntitle: T\ntempo: {interpret: yes, measures: 4, changes: "+
		"[{measure: 1, meter: 4/4, bpm: 60}]}\n"))
	if err == nil || !strings.Contains(err.Error(), "tempo has interpret and no score") {
		t.Errorf("%v", err)
	}
}

// With order, the page is that of the manifest.
func TestPlacesOfAnOrder(t *testing.T) {
	p, err := Parse("production.yaml", []byte(strings.Replace(strings.Replace(orderManifest, "ORDER", "[1-2, 1-4]", 1),
		"takes: []", "takes: [{name: a, video: {file: a.mov}, trim: {from: m2/2}}]", 1)))
	if err != nil {
		t.Fatal(fault.Format(err))
	}
	if got := p.Takes[0].TrimFrom.Seconds; math.Abs(got-(4+2+2+2)) > 1e-9 {
		t.Errorf("m2/2 at %v", got)
	}
}
