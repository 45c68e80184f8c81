package score

import (
	"fmt"
	"math/rand/v2"
	"slices"
	"strconv"
	"strings"
	"testing"

	"ripieno/mix/tempo"
)

// page reads measures in a shorthand: words with a space between them, each a measure of
// signs with commas between them, - for one without. < and > are repeats, >3 one that is
// played three times; [1 begins an ending, [1+2 one of two passes, ] ends it; S and C are
// segno and coda, T to coda, F fine; D is da capo and G dal segno, with f or c al fine or
// al coda and r con repetizione; G@x, S@x, T@x and C@x bear a name.
func page(t *testing.T, text string) []Measure {
	t.Helper()
	var all []Measure
	for i, word := range strings.Fields(text) {
		m := Measure{Number: strconv.Itoa(i + 1)}
		for _, sign := range strings.Split(word, ",") {
			sign, name, _ := strings.Cut(sign, "@")
			rest := sign[1:]
			switch sign[0] {
			case '-':
			case '<':
				m.Forward = true
			case '>':
				m.Backward, m.Times = true, 2
				if rest = strings.TrimSuffix(rest, "j"); rest != sign[1:] {
					m.AfterJump = true
				}
				if n, err := strconv.Atoi(rest); err == nil {
					m.Times = n
				}
			case '[':
				for _, n := range strings.Split(rest, "+") {
					k, err := strconv.Atoi(n)
					if err != nil {
						t.Fatal(err)
					}
					m.Endings = append(m.Endings, k)
				}
			case ']':
				m.EndingStops = true
			case 'S':
				m.Segno = append(m.Segno, name)
			case 'C':
				m.Coda = append(m.Coda, name)
			case 'T', 'F', 'D', 'G':
				j := Jump{Kind: map[byte]JumpKind{'T': ToCoda, 'F': Fine, 'D': DaCapo, 'G': DalSegno}[sign[0]],
					To: name, Repeats: strings.Contains(rest, "r")}
				switch {
				case strings.Contains(rest, "f"):
					j.Goal = AlFine
				case strings.Contains(rest, "c"):
					j.Goal = AlCoda
				}
				m.Jumps = append(m.Jumps, j)
			default:
				t.Fatalf("%q is no sign", sign)
			}
		}
		all = append(all, m)
	}
	return all
}

// numbers returns an order as the page's measures, from 1.
func numbers(order []int) string {
	var words []string
	for _, k := range order {
		words = append(words, strconv.Itoa(k+1))
	}
	return strings.Join(words, " ")
}

// The order of playing is that of MusicXML 4.0 where it has one, and of common practice
// elsewhere: every case is a page that musicians would play like this.
func TestOrderOfPlaying(t *testing.T) {
	for _, c := range []struct{ what, page, want string }{
		{"straight on", "- - -", "1 2 3"},
		{"a repeat from the beginning", "- > -", "1 2 1 2 3"},
		{"a repeat of some measures", "- < > -", "1 2 3 2 3 4"},
		{"one measure twice", "<,> -", "1 1 2"},
		{"three times", "- <,>3 -", "1 2 2 2 3"},
		{"once is no repeat", "<,>1 -", "1 2"},
		{"two repeats", "< > < >", "1 2 1 2 3 4 3 4"},
		{"a repeat begins where the last ended", "> > -", "1 1 2 2 3"},
		{"two endings", "< [1,>,] [2,] -", "1 2 1 3 4"},
		{"endings of several measures", "- < [1 >,] [2 ] -", "1 2 3 4 2 5 6 7"},
		{"three passes, two endings", "< [1+2,>,] [3,]", "1 2 1 2 1 3"},
		{"three endings", "< [1,>,] [2,>,] [3,]", "1 2 1 3 1 4"},
		{"da capo", "- - D", "1 2 3 1 2 3"},
		{"da capo al fine", "- F - Df", "1 2 3 4 1 2"},
		{"fine comes first", "F - D", "1 2 3 1"},
		{"dal segno al fine", "- S F Gf", "1 2 3 4 2 3"},
		{"da capo al coda", "- T - Dc C", "1 2 3 4 1 2 5"},
		{"dal segno al coda", "- S T - Gc C -", "1 2 3 4 5 2 3 6 7"},
		{"no repeat after a da capo", "< > Df F", "1 2 1 2 3 1 2 3 4"},
		{"repeats after a da capo con repetizione", "< > Dr", "1 2 1 2 3 1 2 1 2 3"},
		{"a repeat that says so after a da capo", "< >j D", "1 2 1 2 3 1 2 1 2 3"},
		{"the last ending after a da capo", "< [1,>,] [2,] D", "1 2 1 3 4 1 3 4"},
		{"a repeat comes before a jump", "< >,D -", "1 2 1 2 1 2 3"},
		{"al fine passes the coda by", "T F Df C", "1 2 3 1 2"},
		{"al coda passes the fine by", "F T Dc C", "1 2 3 1 2 4"},
		{"repeats in the coda", "T Dc C <,> -", "1 2 1 3 4 4 5"},
		{"the nearest segno before", "S S - G -", "1 2 3 4 2 3 4 5"},
		{"the segno of that name", "S@a S@b - G@a -", "1 2 3 4 1 2 3 4 5"},
		{"the nearest coda behind", "C T D C -", "1 2 3 1 2 4 5"},
		{"the coda of that name", "T@b D C@a C@b", "1 2 1 4"},
		{"to coda without a jump is passed", "T - C", "1 2 3"},
		{"two da capos", "- D - D", "1 2 1 2 3 4 1 2 3 4"},
		{"a fine at the end of the page", "- - F", "1 2 3"},
		{"nothing", "", ""},
	} {
		order, _, err := Unroll(page(t, c.page))
		if c.want == "" {
			if err == nil {
				t.Errorf("%s: %s", c.what, numbers(order))
			}
			continue
		}
		if got := numbers(order); err != nil || got != c.want {
			t.Errorf("%s (%s): %s, %v, want %s", c.what, c.page, got, err, c.want)
		}
	}
}

// Signs that lead nowhere are told with their measure and why, and do not stop the piece.
func TestSignsThatLeadNowhere(t *testing.T) {
	for page0, want := range map[string]string{
		"- G -":    "measure 2: dal segno is not followed: there is no segno",
		"- T -":    "measure 2: to coda is not followed: there is no coda behind it",
		"- F -":    "measure 2: fine is not followed: no da capo or dal segno leads there",
		"T - C":    "measure 1: to coda is not followed: no da capo or dal segno leads there",
		"- - D -":  "measure 3: da capo without fine or coda: the piece is played on to its last measure",
		"- F - Df": "",
		"- - F":    "",
		"T F Df C": "",
		"- - -":    "",
		"C T Dc -": "measure 2: to coda is not followed: there is no coda behind it|measure 3: da capo " +
			"without fine or coda: the piece is played on to its last measure",
		"F D - G -": "measure 4: dal segno is not followed: there is no segno",
	} {
		_, remarks, err := Unroll(page(t, page0))
		if got := strings.Join(remarks, "|"); err != nil || got != want {
			t.Errorf("%q: %q, %v, want %q", page0, got, err, want)
		}
	}
}

// Jumps that hold in some passes only are taken in those and in no other.
func TestPassesOfJumps(t *testing.T) {
	m := page(t, "- S - G -")
	m[3].Jumps[0].TimeOnly = []int{1, 2}
	if order, _, err := Unroll(m); err != nil || numbers(order) != "1 2 3 4 2 3 4 2 3 4 5" {
		t.Errorf("%s, %v", numbers(order), err)
	}
	m = page(t, "< T > C -")
	m[1].Jumps[0].TimeOnly = []int{2} // out of the repeat, the second time
	if order, _, err := Unroll(m); err != nil || numbers(order) != "1 2 3 1 2 4 5" {
		t.Errorf("%s, %v", numbers(order), err)
	}
}

// Whatever signs a page has, playing ends, stays on the page and is the same twice; what
// has no signs is played as it stands.
func TestAnyPageEnds(t *testing.T) {
	rng := rand.New(rand.NewPCG(5, 8))
	signs := []string{"<", ">", ">3", ">j", "[1", "[2", "[1+2", "]", "S", "C", "T", "F", "D", "Df", "Dc", "Dr", "G",
		"Gf", "Gc", "Gr", "S@a", "G@a", "T@a", "C@a", "-", "-", "-", "-"}
	played := 0
	for range 3000 {
		var words []string
		for range 1 + rng.IntN(9) {
			word := "-"
			for range rng.IntN(3) {
				word += "," + signs[rng.IntN(len(signs))]
			}
			words = append(words, word)
		}
		text := strings.Join(words, " ")
		order, remarks, err := Unroll(page(t, text))
		again, _, err2 := Unroll(page(t, text))
		if fmt.Sprint(err) != fmt.Sprint(err2) || !slices.Equal(order, again) {
			t.Fatalf("%s: %s and %s", text, numbers(order), numbers(again))
		}
		if err != nil {
			continue
		}
		played++
		if len(order) == 0 || len(order) > tempo.MaxMeasures || slices.Min(order) < 0 ||
			slices.Max(order) >= len(words) {
			t.Fatalf("%s: %s", text, numbers(order))
		}
		for _, r := range remarks {
			if !strings.HasPrefix(r, "measure ") {
				t.Fatalf("%s: %q", text, r)
			}
		}
	}
	if played < 2000 {
		t.Errorf("of 3000 pages %d are played", played)
	}
	straight := page(t, strings.Repeat("- ", 50))
	if order, remarks, err := Unroll(straight); err != nil || len(remarks) != 0 || !isStraight(order, 50) {
		t.Errorf("%s, %q, %v", numbers(order), remarks, err)
	}
}

// A page that would be played for ever, or for longer than a piece may be, is refused.
func TestTooManyMeasures(t *testing.T) {
	m := page(t, "<,>")
	m[0].Times = tempo.MaxMeasures + 1
	if order, _, err := Unroll(m); err == nil || !strings.Contains(err.Error(), "measures as played") {
		t.Errorf("%d measures, %v", len(order), err)
	}
	m[0].Times = tempo.MaxMeasures
	if order, _, err := Unroll(m); err != nil || len(order) != tempo.MaxMeasures {
		t.Errorf("%d measures, %v", len(order), err)
	}
	if _, _, err := Unroll(page(t, "[2,] [3,]")); err == nil ||
		!strings.Contains(err.Error(), "endings that are never reached") {
		t.Errorf("%v", err)
	}
}

// An order is told in runs of the page's own numbers, and not at all when the page is
// played as it stands.
func TestOrderInWords(t *testing.T) {
	s := &Score{written: Written{Measures: page(t, "- - - - -")}}
	for order, want := range map[string]string{"0 1 2 3 4": "", "0 1 0 1 2 3 4": "1-2, 1-5", "4": "5",
		"0 0 0": "1, 1, 1", "2 3 0": "3-4, 1", "0 1 2": "1-3"} {
		s.order = nil
		for _, k := range strings.Fields(order) {
			n, err := strconv.Atoi(k)
			if err != nil {
				t.Fatal(err)
			}
			s.order = append(s.order, n)
		}
		if got := s.Order(); got != want {
			t.Errorf("%s is %q, want %q", order, got, want)
		}
	}
	s.written.Measures[3].Number = "3" // a measure that is split keeps its number
	if order, err := s.runs([]tempo.Span{{From: 2, To: 3}, {From: 1, To: 1}}); err != nil ||
		numbers(order) != "2 3 4 1" {
		t.Errorf("%s, %v", numbers(order), err)
	}
	for _, r := range []tempo.Span{{From: 9, To: 9}, {From: 3, To: 2}, {From: 1, To: 9}, {}} {
		if order, err := s.runs([]tempo.Span{r}); err == nil ||
			!strings.Contains(err.Error(), "the score has no measures") {
			t.Errorf("%+v: %v, %v", r, order, err)
		}
	}
	if got := fmt.Sprint(DaCapo, DalSegno, ToCoda, Fine); got != "da capo dal segno to coda fine" {
		t.Errorf("%q", got)
	}
}
