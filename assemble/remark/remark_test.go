package remark

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"

	"ripieno/assemble/fault"
	"ripieno/mix/tempo"
)

// music is a piece of so many measures of 4/4 at a tempo, behind a count-in.
func music(t *testing.T, countIn, measures int, bpm float64) *tempo.Map {
	t.Helper()
	meter, err := tempo.ParseMeter("4/4")
	if err != nil {
		t.Fatal(err)
	}
	m, err := tempo.New(tempo.Spec{CountIn: tempo.CountIn{Measures: countIn},
		Changes: []tempo.Change{{Measure: 1, Meter: meter, BPM: bpm}}, Measures: measures})
	if err != nil {
		t.Fatal(err)
	}
	return m
}

// hash is a film's.
var hash = strings.Repeat("0123456789abcdef", 4)

// TestPlaces: a moment has the name that the manifest gives its beat, and a remark goes
// with its beat when the tempo or the count-in is another one.
func TestPlaces(t *testing.T) {
	m := music(t, 2, 4, 120) // measure 1 at 4 s, a beat every half second, the end at 12 s
	for at, want := range map[float64]string{0: "m1", 3.9: "m1", 4: "m1", 4.49: "m1", 4.5: "m1.2", 6: "m2", 7.6: "m2.4",
		11.99: "m4.4", 12.5: "m4"} {
		if got := PlaceAt(m, at); got != want {
			t.Errorf("%g s is %s, want %s", at, got, want)
		}
	}
	r := Remark{At: 7.6, Place: "m2.4"}
	for _, c := range []struct {
		what string
		m    *tempo.Map
		want float64
	}{
		{"as it was", m, 7.6},
		{"a longer count-in", music(t, 4, 4, 120), 11.5},
		{"slower", music(t, 2, 4, 60), 15},
	} {
		if got := r.When(c.m); math.Abs(got-c.want) > 1e-9 {
			t.Errorf("%s: at %g s, want %g", c.what, got, c.want)
		}
	}
	for _, place := range []string{"", "x", "m", "m99.1", "m1.99"} {
		if got := (Remark{At: 3, Place: place}).When(music(t, 1, 4, 240)); got != 3 {
			t.Errorf("a remark at %q is at %g s", place, got)
		}
	}
}

// TestClean: what strangers write becomes one bounded line of letters, and stays what it
// says.
func TestClean(t *testing.T) {
	for _, c := range [][2]string{
		{"softer", "softer"}, {"  two\n lines\r\n\tand a tab ", "two lines and a tab"}, {"nul\x00 bell\a", "nul bell"},
		{"\u202egnp.exe", "gnp.exe"}, {"a\u2066b\u2069c\u200bd", "abcd"}, {"bad \xff byte", "bad \ufffd byte"},
		{"<b>&amp;</b>", "<b>&amp;</b>"}, {"👩‍🎤", "👩‍🎤"}, {"é̂", "é̂"}, {"\u2028", ""}, {"", ""},
	} {
		if got := Clean(c[0], 40); got != c[1] {
			t.Errorf("%q became %q, want %q", c[0], got, c[1])
		}
	}
	if got := Clean(strings.Repeat("ä", 50), 10); got != strings.Repeat("ä", 9)+"…" {
		t.Errorf("a long text became %q", got)
	}
}

// TestTheBook: the same words are one remark, settling and removing go by ID, the order
// is that of the music, and an approval replaces the person's earlier one.
func TestTheBook(t *testing.T) {
	b := &Book{}
	late := Remark{At: 9, For: "horn", By: "Cora Lind", Text: "late?"}.Named()
	soft := Remark{At: 2, Text: "softer"}.Named()
	if n := b.Add(late, soft, late, Remark{At: 1, Text: "  "}.Named()); n != 2 {
		t.Errorf("%d were added", n)
	}
	if b.Remarks[0].ID != soft.ID || b.Open() != 2 {
		t.Errorf("the book is %+v", b)
	}
	if !b.Settle(late.ID, true) || b.Open() != 1 || b.Add(late) != 0 || b.Open() != 1 {
		t.Error("settling, or the same again, did not stay")
	}
	if b.Settle("none", true) || b.Remove("none") || !b.Remove(soft.ID) || len(b.Remarks) != 1 {
		t.Errorf("after removing there is %+v", b.Remarks)
	}
	other := late
	other.For = "oboe"
	if other.Named().ID == late.ID {
		t.Error("a remark for another player has the same ID")
	}
	b.Approve(Approval{"Cora Lind", "rough", hash})
	b.Approve(Approval{"Ada Holm", "rough", hash})
	b.Approve(Approval{" Cora\nLind", "rough", strings.Repeat("f", 64)})
	stands := b.Stands(map[string]string{"rough": hash})
	var said []string
	for _, s := range stands {
		said = append(said, s.String())
	}
	if want := []string{"rough is approved by Ada Holm",
		"rough was approved by Cora Lind and has changed since"}; !slices.Equal(said, want) {
		t.Errorf("it says %q, want %q", said, want)
	}
	if !b.Withdraw("Ada Holm", "rough") || b.Withdraw("Ada Holm", "rough") || len(b.Approvals) != 1 {
		t.Errorf("after withdrawing there is %+v", b.Approvals)
	}
	if s := b.Stands(nil); s[0].Current {
		t.Error("a film that is not there is approved")
	}
}

// TestTheFile: what is written is read again, and every line that is no remark is
// refused by its number.
func TestTheFile(t *testing.T) {
	b := &Book{}
	b.Add(Remark{At: 7.6004, Place: "m2.4", For: "horn-2", By: "Cora <Lind>", Text: `a "quote", a \ and ü`,
		Of: hash[:12]}.Named(),
		Remark{At: -0.5, Text: "the title is too short"}.Named())
	b.Settle(b.Remarks[0].ID, true)
	b.Approve(Approval{"Cora Lind", "final", hash})
	text := string(b.Format())
	if lines := strings.Count(text, "\n  - {"); lines != 3 || !strings.Contains(text, `"by":"Cora <Lind>"`) {
		t.Errorf("it is written as\n%s", text)
	}
	again, err := Parse("remarks.yaml", []byte(text))
	if err != nil || string(again.Format()) != text || fmt.Sprint(again) != fmt.Sprint(b) {
		t.Errorf("it was read as %+v, %v", again, err)
	}
	byHand := "# ours\nversion: 1\nremarks:\n  - {\"at\": 1, \"place\": \"m1\", \"text\": \"written " +
		"by hand\"}  \r\n\napprovals:\n"
	if hand, err := Parse("r", []byte(byHand)); err != nil || len(hand.Remarks) != 1 || hand.Remarks[0].ID == "" {
		t.Errorf("written by hand it was read as %+v, %v", hand, err)
	}
	if empty, err := Parse("r", nil); err != nil || len(empty.Remarks)+len(empty.Approvals) != 0 {
		t.Errorf("no file was read as %+v, %v", empty, err)
	}
	for _, c := range [][2]string{
		{"version: 2\n", "no remark"}, {"remarks:\n  - softer\n", "cannot be read"}, {"  - {}\n", "no remark"},
		{"remarks:\n  - {\"at\": 1}\n", "says nothing"}, {"remarks:\n  - {\"at\": 1e9, \"text\": \"x\"}\n",
			"no moment"},
		{"remarks:\n  - {\"at\": 1, \"text\": \"x\"} {}\n", "follows"}, {"remarks:\n  - {\"file\": \"x\"}\n",
			"unknown field"},
		{"remarks:\n  - {\"at\": 1, \"text\": \"x\", \"place\": \"../x\"}\n", "no beat"},
		{"remarks:\n  - {\"at\": 1, \"text\": \"\xff\"}\n", "no text"}, {"approvals:\n  - {\"by\": \"x\"}\n",
			"the hash"},
		{"approvals:\n  - {\"film\": \"a\", \"sha256\": \"" + hash + "\"}\n", "a name"},
		{"approvals:\n  - {\"by\": \"x\", \"film\": \"../a\", \"sha256\": \"" + hash + "\"}\n", "name of the film"},
	} {
		_, err := Parse("remarks.yaml", []byte(c[0]))
		var f *fault.Fault
		if !errors.As(err, &f) || f.Kind != fault.Manifest || !strings.Contains(f.What, c[1]) || f.Hint == "" ||
			!strings.HasPrefix(f.Error(), "remarks.yaml:") {
			t.Errorf("%q was read: %v", c[0], err)
		}
	}
	many := "remarks:\n" + strings.Repeat("  - {\"at\": 1, \"text\": \"x\"}\n", 10)
	if b, err := Parse("r", []byte(many)); err != nil || len(b.Remarks) != 1 {
		t.Errorf("the same line ten times is %d remarks, %v", len(b.Remarks), err)
	}
	if _, err := Parse("r", make([]byte, MostBytes+1)); err == nil {
		t.Error("a file without end was read")
	}
}

// TestBeside: remarks stand in the order of the music as it is now.
func TestBeside(t *testing.T) {
	b := &Book{}
	b.Add(Remark{At: 4, Place: "m9", Text: "now later"}.Named(), Remark{At: 6, Place: "m2", Text: "stays"}.Named())
	b.Settle(b.Remarks[1].ID, true)
	m := music(t, 2, 10, 120)
	all := b.Beside(m, All)
	if len(all) != 2 || all[0].Text != "stays" || all[0].Measure != 2 || all[1].Measure != 9 || all[1].Time != 20 {
		t.Errorf("they stand as %+v", all)
	}
	if open := b.Beside(m, IsOpen); len(open) != 1 || open[0].Text != "now later" {
		t.Errorf("open are %+v", open)
	}
}
