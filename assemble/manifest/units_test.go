package manifest

import (
	"errors"
	"fmt"
	"io/fs"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"testing/quick"

	"go.yaml.in/yaml/v3"

	"ripieno/assemble/fault"
	"ripieno/assemble/production"
	"ripieno/mix/audio"
)

// Times of a clock are seconds, minutes or hours, a day at most; what looks like one and
// is none says why.
func TestClocks(t *testing.T) {
	for text, want := range map[string]float64{"0": 0, "12.5": 12.5, "-3": -3, "+4": 4, ".5": 0.5, "7.": 7, "1e2": 100,
		"01:12.500": 72.5, "0:00": 0, "1:2": 62, "90:00": 5400, "1:00:00": 3600, "24:00:00": 86400, "86400": 86400,
		"2:03:04.25": 7384.25, "9999:59": -1} {
		got, why := clock(text)
		if want < 0 && want != -3 {
			if why != "is more than a day" {
				t.Errorf("%q: %v, %q", text, got, why)
			}
			continue
		}
		if why != "" || math.Abs(got-want) > 1e-9 {
			t.Errorf("%q is %v, %q, want %v", text, got, why, want)
		}
	}
	for text, want := range map[string]string{"": "is not a time", "m33": "is not a time",
		"1:60": "has 60 seconds or more", "1:99.9": "has 60 seconds or more", "1:60:00": "has 60 minutes or more",
		"24:00:01": "is more than a day",
		"86400.5":  "is more than a day", "-86401": "is more than a day", "1e9": "is more than a day",
		"1:2:3:4": "is not a time",
		"0x10":    "is not a time", "1_000": "is not a time", ".inf": "is not a time", "NaN": "is not a time",
		"1,5":   "is not a time",
		"-1:00": "is not a time", " 1": "is not a time", "1e999": "is more than a day", "٣": "is not a time"} {
		if got, why := clock(text); got != 0 || !strings.HasPrefix(why, want) {
			t.Errorf("%q is %v, %q, want %q", text, got, why, want)
		}
	}
}

// Places in the piece are measures as played, with a beat or not, or a pass of a measure
// of the page.
func TestPlacesAreParsed(t *testing.T) {
	for text, want := range map[string]string{"m1": "1 1 0", "m33.2": "33 2 0", "m17/2": "17 1 2", "m17/2.3": "17 3 2",
		"m0": "0 1 0", "m999999.999": "999999 999 0", "m007": "7 1 0", "m3.0": "3 0 0"} {
		p, ok := musical(text)
		if got := fmt.Sprint(p.Measure, p.Beat, p.pass); !ok || got != want {
			t.Errorf("%q is %s, %v, want %s", text, got, ok, want)
		}
	}
	for _, text := range []string{"", "m", "M1", "m-1", "m1.", "m1/", "m17/0", "m1000000", "m1.1000", "m1/1000",
		"m1.2/2", "m1 ", "1", "m1.2.3", "m١"} {
		if p, ok := musical(text); ok {
			t.Errorf("%q is %+v", text, p)
		}
	}
}

// How far apart two words are counts slips of a hand; the values are those of the
// literature (Damerau 1964; kitten and sitting of Wagner and Fischer's table).
func TestDistancesOfWords(t *testing.T) {
	for _, c := range []struct {
		a, b string
		want int
	}{{"", "", 0}, {"", "abc", 3}, {"abc", "abc", 0}, {"kitten", "sitting", 3}, {"plyer", "player", 1},
		{"palyer", "player", 1}, {"ca", "abc", 3}, {"ab", "ba", 1}, {"flöte", "flote", 1}, {"楽器", "楽", 1}} {
		if got := editDistance(c.a, c.b); got != c.want {
			t.Errorf("%q and %q are %d apart, want %d", c.a, c.b, got, c.want)
		}
	}
	laws := func(a, b string) bool {
		if len(a) > 40 || len(b) > 40 {
			return true
		}
		d := editDistance(a, b)
		longer, shorter := max(len([]rune(a)), len([]rune(b))), min(len([]rune(a)), len([]rune(b)))
		return d == editDistance(b, a) && d >= longer-shorter && d <= longer &&
			(d == 0) == (string([]rune(a)) == string([]rune(b)))
	}
	if err := quick.Check(laws, nil); err != nil {
		t.Error(err)
	}
}

// A word is taken for a slip of the nearest there is, never of one that is as far as
// another word; however many are compared, it ends.
func TestNearestWords(t *testing.T) {
	r := &reader{}
	known := []string{"player", "part", "section", "video", "audio", "drift_ppm"}
	for word, want := range map[string]string{"plyer": "player", "Player": "player", "palyer": "player",
		"sektion": "section", "drift-ppm": "drift_ppm", "driftppm": "drift_ppm", "vidoe": "video", "pa": "", "": "",
		"xyzzy": "", "parts": "part",
		strings.Repeat("player", 500): ""} {
		if got := r.nearest(word, known); got != want {
			t.Errorf("%q is taken for %q, want %q", word, got, want)
		}
	}
	r.tries = maxTries
	if got := r.nearest("plyer", known); got != "" {
		t.Errorf("after as many tries as there may be: %q", got)
	}
}

// The number that was meant is found in a value with a comma, a sign of printers, a unit
// or a percent sign, where it would be right.
func TestNumbersThatWereMeant(t *testing.T) {
	for value, want := range map[string]string{"-1,5": "; did you mean gain: -1.5?", "−3": "; did you mean gain: -3?",
		"3 dB": "; did you mean gain: 3?", "3dB": "; did you mean gain: 3?", "150 %": "; did you mean gain: 1.5?",
		"900": "", "loud": "",
		"": "", "1,2,3": "", "0x10": "", "5°": "; did you mean gain: 5?", "NaN": "", "Inf": ""} {
		if got := numberHint("gain", value, -60, 24); got != want {
			t.Errorf("%q: %q, want %q", value, got, want)
		}
	}
}

// A number is printed without exponent or trailing zeros, and reads back as itself.
func TestDecimals(t *testing.T) {
	for x, want := range map[float64]string{0: "0", 1.5: "1.5", -0.25: "-0.25", 1e6: "1000000", 1e-7: "0.0000001",
		100: "100"} {
		if got := decimal(x); got != want {
			t.Errorf("%v is %q, want %q", x, got, want)
		}
	}
	back := func(x float64) bool {
		if math.IsNaN(x) || math.IsInf(x, 0) || math.Abs(x) > maxSeconds || math.Abs(x) < 1e-200 {
			return true
		}
		got, why := clock(decimal(x))
		return why == "" && got == x
	}
	if err := quick.Check(func(n int32, d uint16) bool { return back(float64(n%86400) + float64(d)/65536) },
		nil); err != nil {
		t.Error(err)
	}
}

// fields reads one mapping of YAML and returns what it finds wrong.
func fields(t *testing.T, s *shape, text string) (mapping, *reader) {
	t.Helper()
	var doc yaml.Node
	if err := yaml.Unmarshal([]byte(text), &doc); err != nil {
		t.Fatal(err)
	}
	r := &reader{file: FileName}
	return r.mapping(doc.Content[0], s), r
}

// Shapes of tiles are ratios without common factor, or ranges from the narrower to the
// wider.
func TestShapesOfTiles(t *testing.T) {
	for text, want := range map[string]string{"16:9": "16:9", "1920:1080": "16:9", "1:1": "1:1", "2.39:1": "239:100",
		"9:16": "9:16", "4:1": "4:1", "1:4": "1:4", "1:1 to 2:1": "1.000 to 2.000", "4:5 to 16:9": "any",
		"16:9 to 16:9": "16:9",
		"auto":         "any"} {
		m, r := fields(t, pictureShape, "aspect: "+text)
		a := m.aspect()
		got := fmt.Sprintf("%d:%d", a.AspectW, a.AspectH)
		if a == anyAspect {
			got = "any"
		} else if a.AspectW == 0 {
			got = fmt.Sprintf("%.3f to %.3f", a.Shapes.Least, a.Shapes.Most)
		}
		if got != want || len(r.faults) != 0 {
			t.Errorf("%q is %s, %v, want %s", text, got, r.faults, want)
		}
	}
	for text, want := range map[string]string{"16/9": "is not a ratio", "16": "is not a ratio", "0:9": "out of range",
		"16:0": "out of range", "5:1": "out of range", "1:5": "out of range",
		"16:9 to 4:5": "begins with the wider shape", "4:5 to": "is not a ratio",
		"4:5 to 16:9 to 2:1": "is not a ratio", "-16:9": "is not a ratio", "99999.999:99999.999": "",
		"1.7777:1": "is not a ratio"} {
		m, r := fields(t, pictureShape, "aspect: "+text)
		m.aspect()
		if (want == "") != (len(r.faults) == 0) || want != "" && (!strings.Contains(r.faults[0].What, want) ||
			r.faults[0].Hint == "" || r.faults[0].Where != FileName+":1:9") {
			t.Errorf("%q: %v", text, r.faults)
		}
	}
}

// Parts of a recording read back as they are written, whatever they are.
func TestPartsReadBack(t *testing.T) {
	inf := math.Inf(1)
	for _, parts := range []audio.Parts{nil, {{To: inf}}, audio.Break(61.5, 2.25), audio.Break(10, -3),
		{{From: 1, To: 20}, {From: 25, To: 30, Shift: -4}, {From: 30, To: inf, Shift: 1.5}}} {
		text := partsText(parts)
		if parts == nil {
			if text != "" {
				t.Errorf("no parts are %q", text)
			}
			continue
		}
		m, r := fields(t, videoShape, "file: a.mov\nparts: "+text)
		if got := m.parts(); !slices.Equal(got, parts) || len(r.faults) != 0 {
			t.Errorf("%+v is written %s and read %+v, %v", parts, text, got, r.faults)
		}
	}
	anyBreak := func(at uint16, jump int16) bool {
		parts := audio.Break(float64(at)/64+1, float64(jump)/64)
		m, r := fields(t, videoShape, "file: a.mov\nparts: "+partsText(parts))
		got := m.parts()
		return len(r.faults) == 0 && slices.Equal(got, parts)
	}
	if err := quick.Check(anyBreak, &quick.Config{MaxCount: 60}); err != nil {
		t.Error(err)
	}
}

// A name is said by a text when its words stand in it whole, in any capitals and with any
// spaces; a longer word that begins with it says nothing.
func TestTextsThatSayNames(t *testing.T) {
	for _, c := range []struct {
		text, name string
		want       bool
	}{
		{"Solo of Mara Voss", "Mara Voss", true}, {"solo of MARA   voss!", "Mara Voss", true},
		{"Mara Vossen", "Mara Voss", false},
		{"Tamara Voss", "Mara Voss", false}, {"Mara-Voss", "Mara Voss", false}, {"(Mara Voss)", "Mara Voss", true},
		{"", "Mara", false},
		{"Mara's solo", "Mara", true}, {"Maras solo, Mara", "Mara", true}, {"楽李子", "李", false}, {"李 plays", "李", true},
		{"Mara2", "Mara", false}, {"\xffMara\xff", "Mara", true}, {"Mara\nVoss", "Mara Voss", true},
	} {
		if got := saysName(plainWords(c.text), plainWords(c.name)); got != c.want {
			t.Errorf("%q says %q: %v", c.text, c.name, got)
		}
	}
	if got := asWords("mara-voss_final.2"); got != "mara voss final 2" {
		t.Errorf("%q", got)
	}
}

// A section is a slip of a declared one when a letter is too many, too few or swapped;
// numbered ones and short ones are sections of their own.
func TestSlipsOfSections(t *testing.T) {
	declared := []production.Section{{Name: "strings"}, {Name: "winds"}, {Name: "violin 1"}, {Name: "alto"},
		{Name: "low"}}
	for name, want := range map[string]string{"stringss": "strings", "srtings": "strings", "Strigs": "strings",
		"winds.": "winds", "violin 2": "", "violin": "", "alti": "", "altos": "alto", "lows": "", "brass": "", "": "",
		"wimds": ""} {
		if got := (&reader{}).slipOf(name, declared); got != want {
			t.Errorf("%q is taken for %q, want %q", name, got, want)
		}
	}
	if got := (&reader{tries: maxTries}).slipOf("stringss", declared); got != "" {
		t.Errorf("after as many tries as there may be: %q", got)
	}
}

// A list of players that cannot be read is told by its name.
func TestARosterThatIsNotThere(t *testing.T) {
	dir := t.TempDir()
	for _, path := range []string{filepath.Join(dir, "gone.csv"), dir} {
		_, _, err := LoadRoster(path)
		var f *fault.Fault
		if !errors.As(err, &f) || f.Kind != fault.Manifest || f.Where != path ||
			f.What != "the list of players cannot be read" ||
			f.Hint == "" {
			t.Errorf("%s: %v", path, err)
		}
	}
	path := filepath.Join(dir, "players.csv")
	if err := os.WriteFile(path, []byte("name,part\r\nMara Voss,Oboe 1\r\n"), 0o666); err != nil {
		t.Fatal(err)
	}
	if people, notes, err := LoadRoster(path); err != nil || len(people) != 1 || people[0].Player != "Mara Voss" ||
		len(notes) != 0 {
		t.Errorf("%+v, %q, %v", people, notes, err)
	}
}

// The one score of a folder is taken; of several none, and why is said. What cannot be
// read is told and counts for nothing.
func TestTheOneScoreOfAFolder(t *testing.T) {
	dir := t.TempDir()
	score, err := os.ReadFile(filepath.Join("testdata", "score.musicxml"))
	if errors.Is(err, fs.ErrNotExist) {
		score, err = []byte(minuet()), nil
	}
	if err != nil {
		t.Fatal(err)
	}
	for name, data := range map[string][]byte{"a.musicxml": score, "b.musicxml": score,
		"broken.mid": []byte("no score")} {
		if err := os.WriteFile(filepath.Join(dir, name), data, 0o666); err != nil {
			t.Fatal(err)
		}
	}
	broken := errors.New("the folder is gone")
	for _, c := range []struct {
		names []string
		err   error
		want  string
		notes []string
	}{
		{nil, nil, "", nil},
		{[]string{"a.musicxml"}, nil, "a.musicxml", nil},
		{[]string{"a.musicxml", "broken.mid"}, nil, "a.musicxml", []string{`"broken.mid" cannot be read as a score`}},
		{[]string{"a.musicxml", "b.musicxml"}, nil, "",
			[]string{"tempo: 2 scores are here, none is taken: write score: a.musicxml"}},
		{[]string{"gone.mid"}, nil, "", []string{`"gone.mid" cannot be read as a score`}},
		{[]string{"../a.musicxml"}, nil, "", []string{`"../a.musicxml" cannot be read as a score`}},
		{nil, broken, "", nil},
	} {
		var notes []string
		got, err := OneScore(dir, func() ([]string, error) { return c.names, c.err },
			func(text string) { notes = append(notes, text) })
		if got != c.want || !errors.Is(err, c.err) || len(notes) != len(c.notes) {
			t.Errorf("%q: %q, %v, %q", c.names, got, err, notes)
			continue
		}
		for i, n := range notes {
			if !strings.HasPrefix(n, c.notes[i]) {
				t.Errorf("%q: %q, want %q", c.names, n, c.notes[i])
			}
		}
	}
}

// A shot list that is there is not written over, and the fault says where it is.
func TestShotsThatAreThere(t *testing.T) {
	mark := fault.Mark{File: FileName, Line: 12, Column: 3}
	err := HasShots(&production.Production{Shots: []production.Shot{{Mark: mark}}})
	var f *fault.Fault
	if !errors.As(err, &f) || f.Where != "production.yaml:12:3" || f.Kind != fault.Manifest ||
		!strings.Contains(f.What, "already") || !strings.Contains(f.Hint, "#") {
		t.Errorf("%v", err)
	}
}

// Proposed shots are lines of the manifest that read back as what was proposed.
func TestProposedLines(t *testing.T) {
	for _, c := range []struct {
		shot Proposed
		want string
	}{
		{Proposed{From: "start", Show: "tutti"}, "{from: start, show: tutti}"},
		{Proposed{From: "m9", Show: "solo", Take: "oboe-1", Around: true, Why: "has the melody"},
			"{from: m9, show: solo, take: oboe-1, others: around}   # has the melody"},
		{Proposed{From: "m17", Show: "pair", Take: "a", Other: "b: c"}, `{from: m17, show: pair, takes: [a, "b: c"]}`},
		{Proposed{From: "m1", Show: "soli", Section: "low, strings"},
			`{from: m1, show: soli, section: "low, strings"}`},
		{Proposed{From: "end", Show: "card", Text: "credits", Transition: "dissolve"},
			"{from: end, show: card, text: credits, transition: dissolve}"},
	} {
		line := c.shot.line()
		if line != c.want {
			t.Errorf("%s, want %s", line, c.want)
		}
		var read map[string]any
		if err := yaml.Unmarshal([]byte(line), &read); err != nil || read["from"] != c.shot.From ||
			read["show"] != c.shot.Show {
			t.Errorf("%s reads as %v, %v", line, read, err)
		}
	}
}

// Days are of the calendar, written as ISO 8601 or as much of Europe writes them; with
// slashes they stay words, since they would be another day in America.
func TestDaysOfTheCalendar(t *testing.T) {
	for text, want := range map[string]string{"2031-06-12": "2031-06-12 ", "2031-06-12 20:00": "2031-06-12 20:00",
		"2031-06-12T20:00": "2031-06-12 20:00", "12.6.2031": "2031-06-12 ", "12. 6. 2031": "2031-06-12 ",
		"1.2.2031 09:30": "2031-02-01 09:30",
		"12/6/2031":      "", "next week": "", "2031": "", "2031-06": ""} {
		m, r := fields(t, callSheetShape, "due: "+yamlText(text))
		_, day, clock := m.day("due", "2031-06-12")
		got := ""
		if !day.IsZero() {
			got = day.Format("2006-01-02") + " " + clock
		}
		if got != want || len(r.faults) != 0 {
			t.Errorf("%q is %q, %v, want %q", text, got, r.faults, want)
		}
	}
	for _, text := range []string{"2031-02-29", "2031-13-01", "2031-06-12 25:00", "31.6.2031", "2031-6-12"} {
		m, r := fields(t, callSheetShape, "due: "+yamlText(text))
		if _, day, _ := m.day("due", "2031-06-12"); !day.IsZero() || len(r.faults) != 1 ||
			!strings.Contains(r.faults[0].What, "is not a day of the calendar") {
			t.Errorf("%q: %v, %v", text, day, r.faults)
		}
	}
}

// The noise of small ensembles is reduced without being asked for, that of large ones is
// not; everything else is the same.
func TestWhatIsCleanedByItself(t *testing.T) {
	for takes, noise := range map[int]bool{0: true, 1: true, mostReduced: true, mostReduced + 1: false, 1000: false} {
		if got := defaultClean(takes); got.Noise != noise || !got.Silence || !got.Tone || !got.Hum || !got.Tops {
			t.Errorf("of %d takes: %+v", takes, got)
		}
	}
	def := production.Clean{Silence: true}
	for text, want := range map[string]production.Clean{"clean: auto": allClean, "clean: off": {},
		"clean: {noise: true}": {Silence: true, Noise: true}, "clean: {silence: false}": {}, "name: a": def} {
		m, r := fields(t, takeShape, text)
		if got := m.clean(def, allClean); got != want || len(r.faults) != 0 {
			t.Errorf("%s: %+v, %v", text, got, r.faults)
		}
	}
	m, r := fields(t, takeShape, "clean: of")
	if got := m.clean(def, allClean); got != def || len(r.faults) != 1 || !strings.Contains(r.faults[0].What,
		`unknown clean "of"`) {
		t.Errorf("%+v, %v", got, r.faults)
	}
}

// The files that a deliverable writes are those that nothing else may write.
func TestFilesOfADeliverable(t *testing.T) {
	files := func(d production.Deliverable, first bool) string {
		var all []string
		for _, c := range claims(d, first) {
			all = append(all, c.file)
		}
		return strings.Join(all, " ")
	}
	if got := files(production.Deliverable{Name: "final"},
		true); got != "final.mp4 rough.mp4 grid-final.png grid-final.svg sheet-final.png crops-final.png" {
		t.Errorf("%q", got)
	}
	want := "tall.mp4 rough-tall.mp4 grid-tall.png grid-tall.svg sheet-tall.png crops-tall.png tall-poster.png"
	if got := files(production.Deliverable{Name: "tall", Poster: &production.Time{}}, false); got != want {
		t.Errorf("%q, want %q", got, want)
	}
}
