package manifest

import (
	"errors"
	"math"
	"os"
	"path/filepath"
	"reflect"
	"strings"
	"testing"

	"ripieno/assemble/fault"
	"ripieno/assemble/production"
	"ripieno/layout"
	"ripieno/mix/pan"
)

// head is the least a manifest has; what a test adds begins on line 4.
const head = `version: 1
title: T
tempo: {changes: [{measure: 1, meter: 4/4, bpm: 120}], measures: 8}
`

// parse reads a manifest that has to be good.
func parse(t *testing.T, text string) *production.Production {
	t.Helper()
	p, err := Parse("production.yaml", []byte(text))
	if err != nil {
		t.Fatalf("%v\nin\n%s", fault.Format(err), text)
	}
	return p
}

func readFile(t testing.TB, name string) []byte {
	t.Helper()
	data, err := os.ReadFile(name)
	if err != nil {
		t.Fatal(err)
	}
	return data
}

func near(t *testing.T, what string, got, want float64) {
	t.Helper()
	if !(math.Abs(got-want) < 1e-9) {
		t.Errorf("%s is %v, want %v", what, got, want)
	}
}

func TestWholeExample(t *testing.T) {
	p := parse(t, string(readFile(t, "testdata/lamplighter.yaml")))
	if p.Title != "The Lamplighter's Round" || p.Path != "production.yaml" || !filepath.IsAbs(p.Dir) {
		t.Errorf("title %q path %q dir %q", p.Title, p.Path, p.Dir)
	}
	// 8 measures of two half notes at 88: from the formula, 16 beats of 60/88 s.
	near(t, "measure 1", p.Tempo.Start(), 16*60.0/88)
	near(t, "cue", p.Tempo.Cue(), 8*60.0/88)
	if p.Tempo.Measures() != 72 {
		t.Errorf("%d measures", p.Tempo.Measures())
	}
	if g := p.Guide; g.PitchHz != 440 || len(g.Drone) != 2 || g.Drone[0].Note != "D3" || g.Drone[0].Fifth ||
		g.Drone[1].Note != "G2" || !g.Drone[1].Fifth || g.Drone[1].From.Text != "m41" {
		t.Errorf("guide %+v", g)
	}
	near(t, "second drone", p.Guide.Drone[1].From.Seconds, (16+80)*60.0/88)
	var sections []string
	for _, s := range p.Sections {
		sections = append(sections, s.Name)
	}
	if got := strings.Join(sections, " "); got != "winds strings brass" || p.Sections[1].GainDB != -1.5 {
		t.Errorf("sections %q %+v", got, p.Sections)
	}
	oboe, horn := p.Takes[0], p.Takes[1]
	if oboe.Name != "oboe-1" || oboe.Player != "Mara Voss" || oboe.Part != "Oboe 1" || oboe.Section != "winds" ||
		oboe.GainDB != -1.5 || *oboe.Pan != -30 || oboe.Crop != (production.Crop{X: 0.5, Y: 0.4, Zoom: 1.2}) ||
		oboe.Fit != "crop" ||
		oboe.Mute || oboe.Expected {
		t.Errorf("oboe %+v", oboe)
	}
	if oboe.Video.Path != "intake/mara.mov" || oboe.Video.CueAt != nil || oboe.Audio.Path != "intake/mara.wav" ||
		*oboe.Audio.CueAt != 11.482 ||
		oboe.Audio.Mark.String() != "production.yaml:18:12" {
		t.Errorf("video %+v audio %+v", oboe.Video, oboe.Audio)
	}
	near(t, "trim from", oboe.TrimFrom.Seconds, 16*60.0/88)
	near(t, "trim to", oboe.TrimTo.Seconds, (16+78)*60.0/88)
	if !horn.Expected || horn.Video != nil || horn.Audio != nil || horn.Pan != nil ||
		horn.Crop != production.Middle || horn.Mark.Line != 23 {
		t.Errorf("horn %+v", horn)
	}
	if !reflect.DeepEqual(p.Mix, production.Mix{LoudnessLUFS: -16, TruePeakDB: -1, Room: 0.15, AutoBalance: true,
		PanLaw: pan.ConstantPower,
		Hall:   defaultHall, Clean: allClean, LowPan: 35}) {
		t.Errorf("mix %+v", p.Mix)
	}
	if !reflect.DeepEqual(p.Picture, production.Picture{FPSNum: 30, FPSDen: 1,
		Aspect: production.Aspect{AspectW: 16, AspectH: 9},
		Gutter: 6, AutoMargin: true, Background: "#14161a", Labels: true, LeadIn: 3, Tail: 3, Rows: "grid",
		AudioOnly:  "card",
		LabelStyle: "plate", LabelCorner: "auto"}) {
		t.Errorf("picture %+v", p.Picture)
	}
	if len(p.Shots) != 3 || p.Shots[0].From.Edge != production.FilmStart || p.Shots[0].Text != "title" ||
		p.Shots[1].Show != "tutti" ||
		p.Shots[2].Take != "oboe-1" || p.Shots[2].To.Text != "m41" {
		t.Errorf("shots %+v", p.Shots)
	}
	near(t, "solo ends", p.Shots[2].To.Seconds, (16+80)*60.0/88)
	if len(p.Deliver) != 2 || p.Deliver[1].Name != "vertical" || p.Deliver[1].W != 1080 || p.Deliver[1].H != 1920 {
		t.Errorf("deliver %+v", p.Deliver)
	}
}

func TestDefaults(t *testing.T) {
	p := parse(t, head)
	near(t, "count-in of eight measures", p.Tempo.Start(), 16)
	near(t, "cue on measure five", p.Tempo.Cue(), 8)
	if p.Guide.PitchHz != 440 || p.Guide.Drone != nil || p.Sections != nil || p.Takes != nil || p.Shots != nil {
		t.Errorf("%+v", p)
	}
	if !reflect.DeepEqual(p.Mix, production.Mix{LoudnessLUFS: -16, TruePeakDB: -1,
		AutoBalance: true, PanLaw: pan.ConstantPower,
		Hall: defaultHall, Clean: allClean, LowPan: 35}) || !reflect.DeepEqual(p.Picture,
		production.Picture{FPSNum: 30, FPSDen: 1,
			Aspect: production.Aspect{Shapes: layout.AnyShape}, Gutter: 6, AutoGutter: true, AutoMargin: true,
			Background: "#14161a", Labels: true, LeadIn: 3, Tail: 3, Rows: "grid", AudioOnly: "card",
			LabelStyle: "plate", LabelCorner: "auto"}) {
		t.Errorf("%+v %+v", p.Mix, p.Picture)
	}
	if len(p.Deliver) != 1 || p.Deliver[0].Name != "final" || p.Deliver[0].W != 1920 || p.Deliver[0].H != 1080 {
		t.Errorf("%+v", p.Deliver)
	}
	err := p.NeedTakes()
	if got, want := err.Error(), "production.yaml:1:1: the production has no takes"; got != want ||
		fault.KindOf(err) != fault.Manifest {
		t.Errorf("%q, want %q", got, want)
	}
	empty := parse(t, head+"takes: []\n")
	if got, want := empty.NeedTakes().Error(), "production.yaml:4:1: the production has no takes"; got != want {
		t.Errorf("%q, want %q", got, want)
	}
	if err := parse(t, head+"takes: [{name: a, expected: true}]\n").NeedTakes(); err != nil {
		t.Error(err)
	}
}

func TestEverySetting(t *testing.T) {
	p := parse(t, `version: 1
title: 1812
composer: Ann Other
ensemble: "No. 3: the band"
dedication: 'for us'
tempo:
  count_in: {measures: 4}
  pick_up: 1
  changes: [{measure: 1, meter: 3/4, beat: quarter, bpm: 60}]
  measures: 10
  holds: [{at: m2.3, seconds: 1.5}]
guide: {pitch: 442, drone: [{measure: 5, note: none}, {measure: 0, note: F#2}]}
takes:
  - {name: Flöte-1, video: {file: "a:b 'c'.mp4", offset: -3.5, drift_ppm: -12.25, rotate: 90}, mute: true, fit: fit, pan: auto}
  - {name: b.2_x, audio: {file: b.wav, cue_at: 1:02.5}, section: violin 1, trim: {from: start, to: end}}
  - {name: c, audio: {file: c.wav}, section: violin 2, trim: {from: -2, to: m11}}
mix: {balance: manual, true_peak: -1.5, loudness: -23}
picture: {fps: 29.97, aspect: 2.39:1, margin: 12, background: "#A0B1C2", labels: false, lead_in: 0, tail: 1.5}
shots:
  - {from: m3, show: soli, section: violin 2, labels: false}
  - {from: start, show: card, text: "For all\nof us"}
  - {from: m1, to: 00:15.5, show: tutti}
`)
	if p.Title != "1812" || p.Composer != "Ann Other" || p.Ensemble != "No. 3: the band" || p.Dedication != "for us" {
		t.Errorf("%+v", p)
	}
	near(t, "pick-up", p.Tempo.Start(), 11)
	near(t, "cue on measure three of four", p.Tempo.Cue(), 6)
	near(t, "end", p.Tempo.End(), 12+30+1.5)
	if d := p.Guide.Drone; len(d) != 2 || d[0].Note != "F#2" || d[1].Note != "" || p.Guide.PitchHz != 442 {
		t.Errorf("%+v", p.Guide)
	}
	near(t, "drone in the pick-up", p.Guide.Drone[0].From.Seconds, 11)
	a, b, c := p.Takes[0], p.Takes[1], p.Takes[2]
	if a.Video.Path != "a:b 'c'.mp4" || *a.Video.Offset != -3.5 || *a.Video.DriftPPM != -12.25 ||
		*a.Video.Rotate != 90 || !a.Mute || a.Fit != "fit" || a.Pan != nil {
		t.Errorf("%+v %+v", a, a.Video)
	}
	if *b.Audio.CueAt != 62.5 || b.Audio.Rotate != nil || b.TrimFrom.Edge != production.FilmStart ||
		b.TrimTo.Edge != production.FilmEnd {
		t.Errorf("%+v %+v", b, b.Audio)
	}
	if c.TrimFrom.Seconds != -2 {
		t.Errorf("%+v", c.TrimFrom)
	}
	near(t, "measure after the last", c.TrimTo.Seconds, 12+30+1.5)
	if len(p.Sections) != 2 || p.Sections[0].Name != "violin 1" || p.Sections[1].Name != "violin 2" {
		t.Errorf("%+v", p.Sections)
	}
	if !reflect.DeepEqual(p.Mix, production.Mix{LoudnessLUFS: -23, TruePeakDB: -1.5,
		PanLaw: pan.ConstantPower, Hall: defaultHall,
		Clean: allClean, LowPan: 35}) ||
		!reflect.DeepEqual(p.Picture, production.Picture{FPSNum: 30000, FPSDen: 1001,
			Aspect: production.Aspect{AspectW: 239, AspectH: 100}, Gutter: 6, AutoGutter: true, Margin: 12,
			Background: "#a0b1c2", Tail: 1.5, Rows: "grid", AudioOnly: "card",
			LabelStyle: "plate", LabelCorner: "auto"}) {
		t.Errorf("%+v %+v", p.Mix, p.Picture)
	}
	s := p.Shots
	if len(s) != 3 || s[0].Text != "For all\nof us" || s[1].To.Seconds != 15.5 || s[2].Section != "violin 2" ||
		*s[2].Labels || s[1].Labels != nil {
		t.Errorf("%+v", s)
	}
}

func TestTimes(t *testing.T) {
	for text, want := range map[string]float64{
		"12.5": 12.5, "0": 0, "+3": 3, "-4.25": -4.25, "1e1": 10, ".5": 0.5, "5.": 5,
		"01:12.500": 72.5, "0:00": 0, "90:00": 5400, "1:02:03.25": 3723.25, "00:59.999": 59.999,
	} {
		if got, why := clock(text); why != "" || got != want {
			t.Errorf("%s is %v %q, want %v", text, got, why, want)
		}
	}
	for text, want := range map[string]string{
		"": "is not a time", "x": "is not a time", "1:2:3:4": "is not a time", "-1:00": "is not a time",
		"0x10": "is not a time", "1_0": "is not a time",
		"NaN": "is not a time", "inf": "is not a time", "12,5": "is not a time",
		"1:60":    "has 60 seconds or more after the minutes",
		"1:60:00": "has 60 minutes or more after the hours", "1e300": "is more than a day",
		"1e999": "is more than a day", "-86401": "is more than a day", "25:00:00": "is more than a day",
	} {
		if _, why := clock(text); why != want {
			t.Errorf("%s: %q, want %q", text, why, want)
		}
	}
	for text, want := range map[string][2]float64{"m1": {1, 1}, "m33.2": {33, 2}, "m0": {0, 1}, "m33.10": {33, 10}} {
		p, ok := musical(text)
		if !ok || float64(p.Measure) != want[0] || p.Beat != want[1] {
			t.Errorf("%s is %v %v", text, p, ok)
		}
	}
	for _, text := range []string{"m", "m-1", "m1.2.5", "m1.", "M3", "m 3", "m1234567"} {
		if _, ok := musical(text); ok {
			t.Errorf("%q counts as a measure", text)
		}
	}
}

func TestLoad(t *testing.T) {
	dir := t.TempDir()
	check := func(d, want string) {
		t.Helper()
		_, err := Load(d)
		if err == nil {
			t.Fatalf("no error, want %q", want)
		}
		if got := filepath.ToSlash(strings.ReplaceAll(fault.Format(err), dir, "DIR")); got != want {
			t.Errorf("got  %s\nwant %s", got, want)
		}
		if fault.KindOf(err) != fault.Manifest {
			t.Errorf("kind %v", fault.KindOf(err))
		}
	}
	check(dir, "DIR/production.yaml: there is no manifest here\n  hint: run `ripieno new` in the folder of takes for "+
		"a first draft, or `ripieno demo` for a whole example")
	check(filepath.Join(dir, "nowhere"), "DIR/nowhere: no such folder\n  hint: give the production's folder with --dir")
	path := filepath.Join(dir, "production.yml")
	if err := os.WriteFile(path, []byte(head), 0o600); err != nil {
		t.Fatal(err)
	}
	check(dir, "DIR/production.yaml: there is no such file, but there is \"production.yml\"\n  hint: rename it to "+
		"production.yaml")
	if err := os.Mkdir(filepath.Join(dir, FileName), 0o700); err != nil {
		t.Fatal(err)
	}
	check(dir, "DIR/production.yaml: the manifest cannot be read: not an ordinary file\n  hint: make sure that it is "+
		"a file and that you may read it")
	if err := os.Remove(filepath.Join(dir, FileName)); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(dir, FileName), []byte(head+"bpm: 1\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	check(dir, "DIR/production.yaml:4:1: unknown key \"bpm\" in the manifest\n  hint: \"bpm\" belongs in an entry "+
		"of changes:")
	if err := os.WriteFile(filepath.Join(dir, FileName), []byte(head+"#"+strings.Repeat("#", 1<<20)),
		0o600); err != nil {
		t.Fatal(err)
	}
	check(dir, "DIR/production.yaml: the file is larger than 1 MiB\n  hint: is this the right file?")
	if err := os.WriteFile(filepath.Join(dir, FileName), []byte(head), 0o600); err != nil {
		t.Fatal(err)
	}
	p, err := Load(dir)
	if err != nil {
		t.Fatal(err)
	}
	if p.Dir != dir || p.Path != filepath.Join(dir, FileName) {
		t.Errorf("%q %q", p.Dir, p.Path)
	}
	t.Chdir(dir)
	if p, err = Load("."); err != nil || p.Path != FileName {
		t.Errorf("%v %v", p, err)
	}
}

// TestAliasesAreNotFollowed is the attack of aliases of aliases, which
// stands for a billion entries when it is followed.
func TestAliasesAreNotFollowed(t *testing.T) {
	var b strings.Builder
	b.WriteString(head + "takes:\n  - &a0 {name: x, expected: true}\n")
	for i := 1; i < 26; i++ {
		last := string(rune('a'+i-1)) + "0"
		b.WriteString("  - &" + string(rune('a'+i)) + "0 [*" + last + ", *" + last + ", *" + last + "]\n")
	}
	_, err := Parse("production.yaml", []byte(b.String()))
	if err == nil {
		t.Fatal("no error")
	}
	var list fault.List
	if !errors.As(err, &list) || len(list) != maxFaults+1 {
		t.Fatalf("%d faults", len(list))
	}
	if got := list[maxFaults].Error(); !strings.HasPrefix(got, "production.yaml: and ") ||
		!strings.HasSuffix(got, " more faults") {
		t.Error(got)
	}
}

// TestManyFaults: a file of a million keys answers shortly and in order.
func TestManyFaults(t *testing.T) {
	text := head + strings.Repeat("k\u00e9y: 1\n", 20000)
	_, err := Parse("production.yaml", []byte(text))
	var list fault.List
	if !errors.As(err, &list) || len(list) != maxFaults+1 {
		t.Fatalf("%d faults", len(list))
	}
	if got, want := list[0].Where, "production.yaml:4:1"; got != want {
		t.Errorf("first at %s, want %s", got, want)
	}
	if got, want := list[maxFaults].Error(), "production.yaml: and 19900 more faults"; got != want {
		t.Errorf("%q, want %q", got, want)
	}
}
