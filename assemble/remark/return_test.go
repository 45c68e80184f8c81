package remark

import (
	"encoding/json"
	"errors"
	"fmt"
	"slices"
	"strings"
	"testing"

	"ripieno/assemble/fault"
)

// back returns a file as the page for review saves it, changed in one thing.
func back(change func(map[string]any)) []byte {
	v := map[string]any{"ripieno_remarks": 1, "title": "The Lamplighter's Round", "film": "rough", "sha256": hash,
		"by": "Cora Lind", "approved": false, "remarks": []any{map[string]any{"at": 7.6, "text": "softer"}}}
	if change != nil {
		change(v)
	}
	data, err := json.Marshal(v)
	if err != nil {
		panic(err) // plain values
	}
	return data
}

// TestStrangersFiles: whatever is no file of remarks is refused whole, with what is wrong
// and what to do, and nothing in it is large, endless or a path.
func TestStrangersFiles(t *testing.T) {
	set := func(key string, value any) []byte { return back(func(v map[string]any) { v[key] = value }) }
	many := make([]any, MostReturned+1)
	for i := range many {
		many[i] = map[string]any{"at": i, "text": "x"}
	}
	for name, data := range map[string][]byte{
		"nothing": nil, "a page": []byte("<html>"), "another format": set("ripieno_remarks", 2),
		"no format": []byte(`{"remarks": []}`), "a field more": set("file", "/etc/passwd"), "too large": make([]byte,
			MostReturnBytes+1),
		"two values": append(back(nil), back(nil)...), "a list": []byte(`[]`), "deep": []byte(strings.Repeat("[", 1e5)),
		"no film": set("film", ""), "a path": set("film", "../final"), "no hash": set("sha256", "abc"),
		"too many":    set("remarks", many),
		"no moment":   set("remarks", []any{map[string]any{"at": 1e12, "text": "x"}}),
		"not a time":  set("remarks", []any{map[string]any{"at": "NaN", "text": "x"}}),
		"no name":     back(func(v map[string]any) { v["by"], v["approved"] = " \u200b", true }),
		"not a text":  []byte("\xff\xfe{}"),
		"wrong types": set("by", []int{1}),
	} {
		_, err := ParseReturn("cora.json", data)
		var f *fault.Fault
		if !errors.As(err, &f) || f.Kind != fault.Manifest || f.Hint == "" || len(f.What) > 400 ||
			strings.ContainsAny(f.What, "\n\x00") {
			t.Errorf("%s: %v", name, err)
		}
	}
	if r, err := ParseReturn("cora.json", back(nil)); err != nil || len(r.Remarks) != 1 {
		t.Errorf("the page's own file was refused: %v", err) // or the table would prove nothing
	}
}

// TestTaking: what a conductor says is kept once, cleaned, at moments that the film has;
// somebody who is no take here makes it a remark for all, and that is told.
func TestTaking(t *testing.T) {
	m := music(t, 2, 4, 120)
	r, err := ParseReturn("f", back(func(v map[string]any) {
		v["approved"] = true
		v["remarks"] = []any{map[string]any{"at": 7.6, "for": "horn", "text": "late\n<i>?</i>"},
			map[string]any{"at": -5, "text": "a"},
			map[string]any{"at": 1e5, "text": "b"}, map[string]any{"at": 5, "for": "tuba", "text": "c"},
			map[string]any{"at": 6, "text": " "}}
	}))
	if err != nil {
		t.Fatal(err)
	}
	b := &Book{}
	taken, err := b.Take(r, m, "The Lamplighter's Round", []string{"horn", "oboe"})
	if err != nil || taken.Added != 4 || taken.Known != 0 || !taken.Approved || len(taken.Notes) != 1 ||
		!strings.Contains(taken.Notes[0], `"tuba"`) {
		t.Errorf("taken: %+v, %v", taken, err)
	}
	var lines []string
	for _, s := range b.Remarks {
		lines = append(lines, fmt.Sprintf("%g %s %s|%s|%s|%s", s.At, s.Place, s.For, s.By, s.Text, s.Of))
	}
	of := hash[:ShortHash]
	if want := []string{"0 m1 |Cora Lind|a|" + of, "5 m1.3 |Cora Lind|c|" + of,
		"7.6 m2.4 horn|Cora Lind|late <i>?</i>|" + of,
		"612 m4 |Cora Lind|b|" + of}; !slices.Equal(lines, want) {
		t.Errorf("kept are %q, want %q", lines, want)
	}
	if taken, err = b.Take(r, m, "", nil); err != nil || taken.Added != 1 || taken.Known != 3 {
		t.Errorf("taken again: %+v, %v", taken, err) // for all now, where horn is no take
	}
	if len(b.Approvals) != 1 || b.Approvals[0].Hash != hash {
		t.Errorf("approvals are %+v", b.Approvals)
	}
	if _, err := b.Take(r, m, "Another Piece", nil); err == nil || !strings.Contains(err.Error(), "Another Piece") {
		t.Errorf("remarks on another piece were taken: %v", err)
	}
}

// TestAFullBook: a book has an end.
func TestAFullBook(t *testing.T) {
	b := &Book{}
	for i := range MostRemarks {
		b.Remarks = append(b.Remarks, Remark{ID: fmt.Sprint(i), At: float64(i), Text: "x"})
	}
	r, err := ParseReturn("f", back(nil))
	if err != nil {
		t.Fatal(err)
	}
	if _, err := b.Take(r, music(t, 2, 4, 120), "", nil); err == nil || !strings.Contains(fault.Format(err),
		"settled") {
		t.Errorf("a full book took more: %v", err)
	}
}

// FuzzReturn: whatever bytes come, what is kept of them can be written and read again.
func FuzzReturn(f *testing.F) {
	f.Add(back(nil))
	f.Add([]byte(`{"ripieno_remarks":1,"film":"a","sha256":"` + hash + `","remarks":[{"at":1,"text":"\u202e\ud800"}]}`))
	f.Fuzz(func(t *testing.T, data []byte) {
		r, err := ParseReturn("f", data)
		if err != nil {
			return
		}
		b := &Book{}
		if _, err := b.Take(r, music(t, 1, 4, 120), "", []string{"horn"}); err != nil {
			return
		}
		text := b.Format()
		again, err := Parse("f", text)
		if err != nil || string(again.Format()) != string(text) {
			t.Errorf("%q was kept as\n%s\nand read again as %+v, %v", data, text, again, err)
		}
	})
}
