package guide

import (
	"path/filepath"
	"strings"
	"testing"

	"ripieno/assemble/manifest"
	"ripieno/assemble/production"
	"ripieno/mix/tempo/score"
)

// parse reads a manifest of a tempo and variants.
func parse(t *testing.T, text, variants string) *production.Production {
	t.Helper()
	data := "version: 1\ntitle: Round\ntempo: {" + text + "}\nguide: {variants: [" + variants + "]}\n" +
		"takes: [{name: a, expected: true}]\n"
	man, err := manifest.Parse(filepath.Join(t.TempDir(), manifest.FileName), []byte(data))
	if err != nil {
		t.Fatal(err)
	}
	return man
}

// made returns the record of what a manifest asks for, read back from its bytes.
func made(t *testing.T, man *production.Production) *manifest.Made {
	t.Helper()
	var m manifest.Made
	jobs, err := Jobs(man, nil)
	if err != nil {
		t.Fatal(err)
	}
	for _, j := range jobs {
		g := manifest.MadeGuide{Guide: j.File, Spec: j.Tempo.Spec()}
		if v := j.Variant; v != nil && v.To > 0 {
			g.From, g.To = v.From, v.To-1
		}
		m.Add(g)
	}
	read, err := manifest.ParseMade("guide.yaml", m.Encode())
	if err != nil {
		t.Fatal(err)
	}
	return read
}

// Every key of tempo that moves a beat is told with the value a guide was made
// with and that of now; nothing else is, and nothing of a guide that is as it was.
func TestWhatDiffers(t *testing.T) {
	const plain = "count_in: {measures: 4}, measures: 16, changes: [{measure: 1, meter: 4/4, bpm: 96}, " +
		"{measure: 9, bpm: 60, ramp_to: 72, until: 13}]"
	change := func(old, now string) string {
		if !strings.Contains(plain, old) {
			t.Fatalf("%q is not in %q", old, plain)
		}
		return strings.Replace(plain, old, now, 1)
	}
	for _, c := range []struct{ now, of, made, is string }{
		{plain, "", "", ""},
		{change("measures: 4", "measures: 4, cue: {measure: 3, beat: 1}"), "", "", ""}, // where it was
		{change("bpm: 96", "beat: half, bpm: 48"), "", "", ""},
		{change("bpm: 96", "bpm: 92"), "tempo", "96 bpm in measure 1", "92 bpm in measure 1"},
		{change("bpm: 60", "bpm: 63"), "tempo", "60.3", "63.2"}, // the mean of the first quarter of the ramp
		{change("until: 13", "until: 12"), "tempo", "bpm in measure 9", "bpm in measure 9"},
		{change("4/4", "2/2"), "meter", "4/4", "2/2"},
		{change("measures: 4", "measures: 8"), "count-in", "a count-in of 4 measures", "a count-in of 8 measures"},
		{change("measures: 4", "measures: 1"), "count-in", "a count-in of 4 measures", "a count-in of 1 measure"},
		{change("measures: 4", "measures: 0"), "count-in", "a count-in of 4 measures", "no count-in"},
		{change("measures: 4", "measures: 4, cue: {measure: 2, beat: 3}"), "cue",
			"the cue on beat 1 of measure 3", "the cue on beat 3 of measure 2"},
		{plain + ", pick_up: 1", "pick-up", "no pick-up", "a pick-up of 1 beat"},
		{change("measures: 16", "measures: 17"), "measures", "16 measures", "17 measures"},
		{plain + ", holds: [{at: m3.2, seconds: 1.5}]", "holds", "no hold there",
			"a hold of 1.5 s in measure 3, beat 2"},
	} {
		list := Changed(parse(t, c.now, ""), made(t, parse(t, plain, "")))
		if c.of == "" {
			if len(list) > 0 {
				t.Errorf("%s: %+v", c.now, list)
			}
			continue
		}
		if c.of == "meter" && len(list) == 1 && len(list[0].Differs) == 2 { // 96 halves are another tempo too
			list[0].Differs = list[0].Differs[len(list[0].Differs)-1:]
		}
		if len(list) != 1 || len(list[0].Differs) != 1 {
			t.Errorf("%s: %+v", c.now, list)
			continue
		}
		if d := list[0].Differs[0]; d.Of != c.of || !strings.Contains(d.Made, c.made) ||
			!strings.Contains(d.Now, c.is) {
			t.Errorf("%s: %+v", c.now, d)
		}
	}
}

// Another version of the score is told beside what it changes, and alone is no
// change: the guide has the same beats.
func TestScoreThatDiffers(t *testing.T) {
	tempo := "changes: [{measure: 1, meter: 4/4, bpm: 88}], measures: 16"
	before := made(t, parse(t, tempo, ""))
	before.Guides[0].Score = "0123"
	for _, c := range []struct{ bpm, hash, of string }{
		{"88", "4567", ""}, {"92", "0123", "tempo"}, {"92", "4567", "tempo score"},
	} {
		man := parse(t, strings.Replace(tempo, "88", c.bpm, 1), "")
		man.Score = &score.Score{Hash: c.hash}
		var of []string
		for _, x := range Changed(man, before) {
			for _, d := range x.Differs {
				of = append(of, d.Of)
			}
		}
		if got := strings.Join(of, " "); got != c.of {
			t.Errorf("at %s with score %s: %q differ", c.bpm, c.hash, got)
		}
	}
}

// A steady tempo is told as one number, guides that differ alike are told
// together, and a guide of a part by its measures.
func TestGuidesThatDiffer(t *testing.T) {
	tempo := "count_in: {measures: 4}, changes: [{measure: 1, meter: 6/8, bpm: 88}], measures: 16"
	before := made(t, parse(t, tempo, "{name: soft}, {name: end, from: m9}"))
	now := parse(t, strings.Replace(tempo, "88", "92", 1), "{name: soft}, {name: end, from: m10}, {name: late}")
	list := Changed(now, before)
	for i := range list {
		list[i].Describe()
	}
	want := []string{
		"guide.wav and guide-soft.wav were made with 88 bpm; production.yaml now says 92 bpm",
		"guide-end.wav was made with 88 bpm, measures 9 to 16; production.yaml now says 92 bpm, measures 10 to 16",
	}
	if len(list) != 2 || list[0].What != want[0] || list[1].What != want[1] {
		t.Errorf("%+v", list)
	}
}

// A take belongs to the guide whose tempo it has within 0.6 %, the newest first;
// a player's own guide of the whole piece goes like the one all play to.
func TestWhichGuideATakeWasPlayedTo(t *testing.T) {
	tempo := "changes: [{measure: 1, meter: 4/4, bpm: %}], measures: 16"
	at := func(bpm string) *production.Production {
		return parse(t, strings.Replace(tempo, "%", bpm, 1), "{name: soft}")
	}
	var all manifest.Made
	for _, bpm := range []string{"88", "100", "92"} {
		all.Add(made(t, at(bpm)).Of("guide")[0])
	}
	now := at("92")
	for _, c := range []struct {
		other   float64
		variant string
		was     string
		older   bool
	}{
		{88.0 / 92, "", "88 bpm", true}, {88.0 / 92 * 1.0055, "", "88 bpm", true}, {88.0 / 92 * 1.007, "", "", false},
		{100.0 / 92, "soft", "100 bpm", true}, {1.2, "", "", false}, {1.003, "", "", false},
	} {
		got, ok := PlayedTo(now, &all, c.variant, c.other)
		if ok != (c.was != "") || ok && (got.Differs[0].Made != c.was || got.Older != c.older) {
			t.Errorf("%g of %q: %+v, %v", c.other, c.variant, got, ok)
		}
	}
	if got, ok := PlayedTo(at("96"), &all, "", 92.0/96); !ok || got.Older {
		t.Errorf("the guide made last: %+v, %v", got, ok)
	}
}
