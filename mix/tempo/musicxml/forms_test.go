package musicxml

import (
	"bytes"
	"fmt"
	"math"
	"math/rand/v2"
	"strconv"
	"strings"
	"testing"

	"ripieno/mix/tempo"
	"ripieno/mix/tempo/smf"
)

// forms are written-out scores: what each measure has, and by hand in which order
// they are played. Measures are numbered from 1 unless #N says otherwise, in 4/4, and
// a quarter lasts half a second. The words of a measure:
//
//	|:  :|  :|3  :|!     repeats; played three times; also after a jump
//	[1  [1,2  ]  ]~      endings: begin, stop, discontinue
//	S  S=a  C  C=a       sound elements: segno and coda, with names
//	tC  tC=a  DC  DS  DS=a  F  DC@2   jumps; @2 only the second time (time-only)
//	$  O  |$             signs without a sound element; at the left barline
//	"…"                  words
//	=3  #0  3/4          quarters that are in it, its number, its time signature
//
// Sources: MX is the documentation of MusicXML 4.0 (elements sound, repeat, ending,
// segno, coda, time); GB is E. Gould, Behind Bars (2011), the chapter on repeats, and RN
// G. Read, Music Notation (1979), both from memory; CP is common practice, no source.
var forms = []struct {
	name, source string
	bars         []string
	want         string  // numbers on paper as played
	seconds      float64 // from the first note to the end
}{
	{"no signs", "CP", []string{"", "", ""}, "1 2 3", 6},
	{"one repeat from the beginning", "MX repeat; GB", []string{"", ":|", ""}, "1 2 1 2 3", 10},
	{"one repeat between signs", "MX repeat", []string{"", "|:", ":|", ""}, "1 2 3 2 3 4", 12},
	{"three times", "MX repeat times", []string{"|:", ":|3", ""}, "1 2 1 2 1 2 3", 14},
	{"two passages", "GB, RN", []string{":|", "|: :|", ""}, "1 1 2 2 3", 10},
	{"endings 1 and 2", "MX ending; GB, RN", []string{"|:", "[1 ] :|", "[2 ]", ""}, "1 2 1 3 4", 10},
	{"endings of two measures", "MX ending", []string{"|:", "[1", "] :|", "[2", "]~", ""}, "1 2 3 1 4 5 6", 14},
	{"endings 1, 2 and 3", "MX ending", []string{"|:", "[1,2 ] :|", "[3 ]", ""}, "1 2 1 2 1 3 4", 14},
	{"an ending after a passage with endings", "GB", []string{"|:", "[1 ] :|", "[2 ]", "|:", "[1 ] :|", "[2 ]"},
		"1 2 1 3 4 5 4 6", 16},
	{"da capo", "MX sound dacapo", []string{"F", "DC"}, "1 2 1", 6},
	{"da capo al fine", "MX sound fine", []string{"", "F", "", "DC"}, "1 2 3 4 1 2", 12},
	{"da capo al fine in words", "GB, RN", []string{"", `"Fine"`, "", `"D.C. al Fine"`}, "1 2 3 4 1 2", 12},
	{"da capo al fine in German", "CP", []string{"", `"Ende"`, "", `"Von vorn bis Ende"`}, "1 2 3 4 1 2", 12},
	{"da capo al fine in English", "CP", []string{"", `"Fine"`, "", `"From the beginning to Fine"`}, "1 2 3 4 1 2", 12},
	{"da capo without fine", "CP", []string{"", "", "DC", ""}, "1 2 3 1 2 3 4", 14},
	{"a minuet: repeats once, then none", "GB, RN", []string{"|:", ":|", "|:", ":| F", "|:", ":| DC"},
		"1 2 1 2 3 4 3 4 5 6 5 6 1 2 3 4", 32},
	{"a minuet con repetizione", "GB", []string{"|:", ":|", "|:", ":| F", "|:", `:| DC "D.C. al Fine con repetizione"`},
		"1 2 1 2 3 4 3 4 5 6 5 6 1 2 1 2 3 4 3 4", 40},
	{"a minuet mit Wiederholung", "CP", []string{"|:", `:| "Fine"`, "|:", `:| "Da capo al Fine mit Wdh."`},
		"1 2 1 2 3 4 3 4 1 2 1 2", 24},
	{"a repeat that holds after the jump", "MX repeat after-jump", []string{"|:", ":|!", "F", "DC"},
		"1 2 1 2 3 4 1 2 1 2 3", 22},
	{"endings after a da capo: the last", "GB", []string{"|:", "[1 ] :|", "[2 ]", "F", "DC"}, "1 2 1 3 4 5 1 3 4", 18},
	{"dal segno al fine", "MX sound dalsegno", []string{"", "S", "F", "DS"}, "1 2 3 4 2 3", 12},
	{"dal segno in words, the sign alone", "GB, RN", []string{"", "$", `"Fine"`, `"D. S. al Fine"`}, "1 2 3 4 2 3", 12},
	{"dal segno in German", "CP", []string{"", "$", `"Fine"`, `"Vom Zeichen bis Fine"`}, "1 2 3 4 2 3", 12},
	{"dal segno, the sign at a barline", "MX barline segno", []string{"", "|$", "F", "DS"}, "1 2 3 4 2 3", 12},
	{"two segni by name", "MX sound segno", []string{"S=a", "S=b", "DS=b", "DS=a", "F", ""}, "1 2 3 2 3 4 1 2 3 4 5",
		22},
	{"dal segno al coda", "MX sound tocoda, coda", []string{"", "S", "tC", "DS", "C", ""}, "1 2 3 4 2 3 5 6", 16},
	{"dal segno al coda in words", "GB, RN",
		[]string{"", "$", `"To Coda" O`, `"D.S. al Coda"`, `"Coda" O`, ""}, "1 2 3 4 2 3 5 6", 16},
	{"two coda signs and no words", "CP", []string{"", "$", "O", `"D.S."`, "O", ""}, "1 2 3 4 2 3 5 6", 16},
	{"da capo al coda", "MX sound dacapo, tocoda", []string{"", "tC", "", "DC", "C"}, "1 2 3 4 1 2 5", 14},
	{"da capo al coda in German", "CP", []string{"", `"zur Coda"`, "", `"Von vorn bis zur Coda"`, "O"},
		"1 2 3 4 1 2 5", 14},
	{"repeats in the coda", "CP", []string{"|:", ":| tC", "DC", "C |:", ":|"}, "1 2 1 2 3 1 2 4 5 4 5", 22},
	{"al fine passes a coda by", "CP", []string{"tC", "F", `"D.C. al Fine"`, "C"}, "1 2 3 1 2", 10},
	{"al coda passes a fine by", "CP", []string{"F", "tC", `"D.C. al Coda"`, "C"}, "1 2 3 1 2 4", 12},
	{"two codas", "MX sound coda", []string{"S", "tC=1", "tC=2", "DS", "C=1 DS", "C=2"}, "1 2 3 4 1 2 5 1 2 3 6", 22},
	{"a da capo the second time", "MX sound time-only", []string{"|:", "DC@2 :|", "F"}, "1 2 1 2 1 2 3", 14},
	{"a da capo behind a repeat", "CP", []string{"|: F", ":| DC"}, "1 2 1 2 1", 10},
	{"dal segno into an ending", "CP", []string{"|:", "[1 ] :|", "[2 ] S", "F", "DS"}, "1 2 1 3 4 5 3 4", 16},
	{"forward-repeat as a sound", "MX sound forward-repeat", []string{"", "fwd", ":|", ""}, "1 2 3 2 3 4", 12},
	{"a pick-up that comes again", "GB, RN", []string{"#0 =1", "#1", "#2 =3 :|", "#3"}, "1 2 1 2 3", 10},
	{"a measure split at a repeat", "GB", []string{"", "=3 :|", "#X1 =1 |:", "#3", "#4 =3 :|", "#5"},
		"1 2 1 2 3 4 3 4 5", 17},
	{"a pick-up, fine and a trio with its own", "CP",
		[]string{"#0 =1", "#1", "#2 =3 F", "#X1 =1", "#3", `#4 =3 "D.C. al Fine"`}, "1 2 3 4 1 2", 12},
	{"three-four, and a composite meter", "MX time", []string{"3/4 |:", "3/4+3/8 :|", "4/4"}, "1 2 1 2 3", 9.5},
}

// bar returns one measure of a form, and how many quarters its notes have.
func formBar(number int, text string, meter string) string {
	num, length, inside, left, right := strconv.Itoa(number), -1.0, "", "", ""
	jumps := map[string]string{"DC": "dacapo", "DS": "dalsegno", "tC": "tocoda", "F": "fine", "S": "segno", "C": "coda"}
	for text = strings.TrimSpace(text); text != ""; text = strings.TrimSpace(text) {
		var word string
		if words, ok := strings.CutPrefix(text, `"`); ok {
			word, text, _ = strings.Cut(words, `"`)
			inside += "<direction><direction-type><words>" + word + "</words></direction-type>OTHER</direction>"
			continue
		}
		word, text, _ = strings.Cut(text, " ")
		name, only, _ := strings.Cut(word, "@")
		name, of, named := strings.Cut(name, "=")
		switch {
		case word == "|:":
			left += `<repeat direction="forward"/>`
		case strings.HasPrefix(word, ":|"):
			more := strings.TrimPrefix(word, ":|")
			if more == "!" {
				more = ` after-jump="yes"`
			} else if more != "" {
				more = ` times="` + more + `"`
			}
			right += `<repeat direction="backward"` + more + `/>`
		case strings.HasPrefix(word, "["):
			left += `<ending number="` + word[1:] + `" type="start"/>`
		case word == "]":
			right += `<ending number="1" type="stop"/>`
		case word == "]~":
			right += `<ending number="1" type="discontinue"/>`
		case word == "|$":
			left += "<segno/>"
		case word == "$":
			inside += "<direction><direction-type><segno/></direction-type></direction>"
		case word == "O" && strings.Contains(inside, "OTHER"):
			inside = strings.Replace(inside, "OTHER", "<direction-type><coda/></direction-type>", 1)
		case word == "O":
			inside += "<direction><direction-type><coda/></direction-type></direction>"
		case word == "fwd":
			inside += `<sound forward-repeat="yes"/>`
		case strings.HasPrefix(word, "#"):
			num = word[1:]
		case strings.HasPrefix(word, "="):
			length, _ = strconv.ParseFloat(word[1:], 64)
		case strings.Contains(word, "/"):
			meter = word
		default:
			if !named {
				of = map[string]string{"DC": "yes", "F": "yes", "S": "segno", "DS": "segno", "C": "coda",
					"tC": "coda"}[name]
			}
			attribute := fmt.Sprintf(` %s="%s"`, jumps[name], of)
			if only != "" {
				attribute += ` time-only="` + only + `"`
			}
			inside += "<direction><direction-type><dynamics/></direction-type><sound" + attribute + "/></direction>"
		}
	}
	inside = strings.ReplaceAll(inside, "OTHER", "")
	time := ""
	if meter != "" {
		time = "<time>"
		full := 0.0
		for _, part := range strings.Split(meter, "+") {
			upper, lower, _ := strings.Cut(part, "/")
			n, _ := strconv.ParseFloat(upper, 64)
			d, _ := strconv.ParseFloat(lower, 64)
			full += 4 * n / d
			time += "<beats>" + upper + "</beats><beat-type>" + lower + "</beat-type>"
		}
		time = "<attributes><divisions>2</divisions>" + time + "</time></attributes>"
		if length < 0 {
			length = full
		}
	}
	if length < 0 {
		length = 4
	}
	if left != "" {
		left = `<barline location="left">` + left + "</barline>"
	}
	if right != "" {
		right = `<barline location="right">` + right + "</barline>"
	}
	return `<measure number="` + num + `">` + left + time + inside + note("C4", int(2*length)) + right + "</measure>"
}

// formScore returns the score of a form.
func formScore(bars []string) string {
	var b strings.Builder
	for i, text := range bars {
		meter := ""
		if i == 0 {
			meter = "4/4"
		}
		b.WriteString(formBar(i+1, text, meter))
	}
	return partwise(strings.Replace(b.String(), "</attributes>", `</attributes><sound tempo="120"/>`, 1))
}

// Every form is played in the order and the time worked out by hand, and as MIDI it
// lasts as long by the clock of a player of that file.
func TestForms(t *testing.T) {
	if len(forms) < 30 {
		t.Fatalf("%d forms", len(forms))
	}
	for _, f := range forms {
		s, err := Read(strings.NewReader(formScore(f.bars)))
		if err != nil {
			t.Errorf("%s: %v", f.name, err)
			continue
		}
		m, err := tempo.New(s.Spec)
		if err != nil {
			t.Errorf("%s: %v", f.name, err)
			continue
		}
		times := map[string]int{}
		var got []string
		for n := 1; n <= m.Measures(); n++ {
			p, ok := m.Paper(n)
			if !ok {
				p = tempo.Place{Number: strconv.Itoa(n), Pass: 1}
			}
			if times[p.Number]++; p.Pass != times[p.Number] {
				t.Errorf("%s: measure %d is %v, want /%d", f.name, n, p, times[p.Number])
			}
			if back, ok := m.Played(p); !ok || back != n {
				t.Errorf("%s: %v is measure %d, want %d", f.name, p, back, n)
			}
			got = append(got, p.Number)
		}
		if order := strings.Join(got, " "); order != f.want {
			t.Errorf("%s (%s):\n got %s\nwant %s", f.name, f.source, order, f.want)
		}
		if d := m.End() - m.Start(); math.Abs(d-f.seconds) > 1e-3 {
			t.Errorf("%s: %.4f s, want %g", f.name, d, f.seconds)
		}
		for _, r := range s.Remarks {
			if strings.Contains(r, "not followed") {
				t.Errorf("%s: %s", f.name, r)
			}
		}
		var midi bytes.Buffer
		if err := smf.Write(&midi, m, smf.Options{}); err != nil {
			t.Errorf("%s: %v", f.name, err)
			continue
		}
		if d := playedFor(midi.Bytes()); math.Abs(d-m.End()) > 1e-3 {
			t.Errorf("%s: MIDI lasts %.4f s, want %.4f", f.name, d, m.End())
		}
	}
}

// playedFor returns how long a player of a MIDI file with one tempo track plays it:
// ticks of a quarter note times the tempo in force (Standard MIDI Files 1.0). It is
// the test's own and knows no more of files than those that are written here.
func playedFor(file []byte) float64 {
	division := float64(int(file[12])<<8 | int(file[13]))
	track := file[22:]
	micro, seconds := 500000.0, 0.0
	for at := 0; ; {
		delta := 0
		for {
			b := track[at]
			at++
			delta = delta<<7 | int(b&0x7f)
			if b < 0x80 {
				break
			}
		}
		seconds += float64(delta) / division * micro * 1e-6
		kind, size := track[at+1], int(track[at+2])
		if kind == 0x51 {
			micro = float64(int(track[at+3])<<16 | int(track[at+4])<<8 | int(track[at+5]))
		}
		if at += 3 + size; kind == 0x2f {
			return seconds
		}
	}
}

// Signs that lead nowhere are told with their measure and change nothing.
func TestSignsThatLeadNowhere(t *testing.T) {
	for _, c := range []struct {
		bars []string
		want string
	}{
		{[]string{"", "DS", ""}, "measure 2: dal segno is not followed: there is no segno"},
		{[]string{"tC", "DC", ""},
			"measure 2: da capo without fine or coda: the piece is played on to its last measure\n" +
				"measure 1: to coda is not followed: there is no coda behind it"},
		{[]string{"F", ""}, "measure 1: fine is not followed: no da capo or dal segno leads there"},
		{[]string{"|:", "[1 ] DC :|", "[2 ]"}, "measure 2: da capo is not followed: it is never reached"},
		{[]string{"", "F"}, ""},
	} {
		s, err := Read(strings.NewReader(formScore(c.bars)))
		if err != nil {
			t.Error(err)
			continue
		}
		for _, line := range strings.Split(c.want, "\n") {
			if !strings.Contains(strings.Join(s.Remarks, "\n"), line) {
				t.Errorf("%q: %q, want %q", c.bars, s.Remarks, line)
			}
		}
		if c.want == "" && len(s.Remarks) > 0 {
			t.Errorf("%q: %q", c.bars, s.Remarks)
		}
	}
}

// Words of jumps, and words that are none.
func TestJumpWords(t *testing.T) {
	for _, text := range []string{"Dolce", "D major", "codetta", "Fine della prima parte", "fine espressione", "segno",
		"Coda", "da lontano", "dc", "von Herzen", "from afar",
		"end of part one", "bis zum Ende", "con ritmo", ""} {
		if j, ok := readJump(text); ok && text != "dc" {
			t.Errorf("%q is %v", text, j)
		}
	}
	for text, want := range map[string]string{
		"D.C.": "da capo 0 false", "D. C. al Fine": "da capo 1 false", "Da Capo al Coda": "da capo 2 false",
		"D.S. al 𝄌": "dal segno 2 false", "Dal segno al fine senza repetizione": "dal segno 1 false",
		"D.C. al Fine con ripetizione": "da capo 1 true", "To Coda": "to coda 0 false", "to 𝄌": "to coda 0 false",
		"Von vorne bis zum Schluss": "da capo 1 false", "Von vorn bis Schluß": "da capo 1 false",
		"Vom Beginn bis zum Ende": "da capo 1 false", "Von vorn, dann Coda": "da capo 2 false",
		"Ab Zeichen bis Schluss": "dal segno 1 false", "Schluß": "fine 0 false", "Vom 𝄋 bis zur Coda": "dal segno 2 false",
		"Dal Capo alla Fine": "da capo 1 false", "Dal principio al Fine": "da capo 1 false",
		"D.C. e poi la Coda": "da capo 2 false", "Dal 𝄋 al Fine con i ritornelli": "dal segno 1 true",
		"D.C. al Fine con rit.": "da capo 1 false", "Back to the beginning": "da capo 0 false",
		"From the top to the end": "da capo 1 false", "Go back to the sign": "dal segno 0 false",
		"Back to the sign, then Coda": "dal segno 2 false", "Repeat from the start": "da capo 0 false",
		"Go to Coda": "to coda 0 false", "The End": "fine 0 false", "FINE": "fine 0 false", "D.C. with repeats": "da capo 0 true",
	} {
		j, ok := readJump(text)
		if got := fmt.Sprintf("%v %d %v", j.Kind, j.Goal, j.Repeats); !ok || got != want {
			t.Errorf("%q is %s, want %s", text, got, want)
		}
	}
}

// Whatever the signs, unrolling ends: with an order of at most tempo.MaxMeasures
// measures or an error.
func FuzzForms(f *testing.F) {
	f.Add(uint64(1), 8)
	f.Add(uint64(7), 40)
	f.Add(uint64(22), 3)
	words := []string{"|:", ":|", ":|3", ":|!", "[1", "[2", "[1,2", "]", "S", "S=a", "C", "C=a", "tC", "tC=a", "DC",
		"DS", "DS=a",
		"DC@2", "DS@1,2,3", "F", "F@2", "$", "O", "|$", `"D.C. al Fine"`, `"D.S. al Coda con rep."`, "=3", "=1", "3/4"}
	f.Fuzz(func(t *testing.T, seed uint64, n int) {
		if n < 1 || n > 60 {
			return
		}
		r := rand.New(rand.NewPCG(seed, 22))
		bars := make([]string, n)
		for i := range bars {
			for range r.IntN(4) {
				bars[i] += " " + words[r.IntN(len(words))]
			}
		}
		s, err := Read(strings.NewReader(formScore(bars)))
		if err != nil {
			return
		}
		if m, err := tempo.New(s.Spec); err != nil || m.Measures() > tempo.MaxMeasures {
			t.Fatalf("%q: %v", bars, err)
		}
	})
}
