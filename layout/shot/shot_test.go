package shot

import (
	"errors"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"
)

var seats = []Seat{{"flute-1", "winds"}, {"oboe-1", "winds"}, {"violin-1", "strings"}, {"cello-1", "strings"},
	{"narrator", ""}}

func resolve(t *testing.T, total int, wanted ...Want) []Shot {
	t.Helper()
	got, err := Resolve(total, seats, wanted, true)
	if err != nil {
		t.Fatal(err)
	}
	return got
}

func TestResolveNothingWanted(t *testing.T) {
	got := resolve(t, 900)
	if len(got) != 1 || got[0].From != 0 || got[0].To != 900 || got[0].Show != Tutti || len(got[0].Takes) != 5 ||
		got[0].Want != -1 || !got[0].Labels {
		t.Errorf("%+v", got)
	}
}

// TestResolveFilm is a whole shot list: open ends, gaps, out of order.
func TestResolveFilm(t *testing.T) {
	got := resolve(t, 1000,
		Want{From: 700, To: 800, Show: Pair, Take: "cello-1", Other: "flute-1"},
		Want{From: 0, To: UntilNext, Show: Card, Text: "title"},
		Want{From: 400, To: 500, Show: Solo, Take: "oboe-1", Labels: true},
		Want{From: 90, To: UntilNext, Show: Tutti},
		Want{From: 500, To: 600, Show: Soli, Section: "strings"},
		Want{From: 950, To: UntilNext, Show: Card, Text: "credits"},
	)
	want := []struct {
		from, to int
		show     Kind
		takes    string
		index    int
		labels   bool
	}{
		{0, 90, Card, "", 1, false},
		{90, 400, Tutti, "flute-1 oboe-1 violin-1 cello-1 narrator", 3, false},
		{400, 500, Solo, "oboe-1", 2, true},
		{500, 600, Soli, "violin-1 cello-1", 4, false},
		{600, 700, Tutti, "flute-1 oboe-1 violin-1 cello-1 narrator", -1, true},
		{700, 800, Pair, "cello-1 flute-1", 0, false},
		{800, 950, Tutti, "flute-1 oboe-1 violin-1 cello-1 narrator", -1, true},
		{950, 1000, Card, "", 5, false},
	}
	if len(got) != len(want) {
		t.Fatalf("%d shots, want %d: %+v", len(got), len(want), got)
	}
	for i, w := range want {
		g := got[i]
		if g.From != w.from || g.To != w.to || g.Show != w.show || strings.Join(g.Takes, " ") != w.takes ||
			g.Want != w.index || g.Labels != w.labels {
			t.Errorf("shot %d: %+v, want %+v", i, g, w)
		}
	}
	if got[0].Text != "title" || got[7].Text != "credits" || got[3].Section != "strings" {
		t.Errorf("text or section lost: %+v", got)
	}
}

// TestResolveRefuses gives every fault its want's number, all at once.
func TestResolveRefuses(t *testing.T) {
	tests := []struct {
		name   string
		wanted []Want
		want   []string
	}{
		{"take", []Want{{0, 10, Solo, "", "tuba", "", "", false, false}}, []string{`shot 1: unknown take: "tuba"`}},
		{"section", []Want{{0, 10, Soli, "brass", "", "", "", false, false}},
			[]string{`shot 1: no take in this section: "brass"`}},
		{"no section", []Want{{0, 10, Soli, "", "", "", "", false, false}},
			[]string{`shot 1: no take in this section: ""`}},
		{"kind", []Want{{0, 10, "panorama", "", "", "", "", false, false}},
			[]string{`shot 1: unknown kind of shot: "panorama"`}},
		{"pair", []Want{{0, 10, Pair, "", "oboe-1", "oboe-1", "", false, false}},
			[]string{`shot 1: both takes are the same: "oboe-1"`}},
		{"pair take", []Want{{0, 10, Pair, "", "oboe-1", "tuba", "", false, false}},
			[]string{`shot 1: unknown take: "tuba"`}},
		{"empty", []Want{{10, 10, Tutti, "", "", "", "", false, false}},
			[]string{`shot 1: ends before it begins: frames 10 to 10 of 100`}},
		{"backwards", []Want{{10, 5, Tutti, "", "", "", "", false, false}},
			[]string{`shot 1: ends before it begins: frames 10 to 5 of 100`}},
		{"before", []Want{{-5, 5, Tutti, "", "", "", "", false, false}},
			[]string{`shot 1: outside the film: frames -5 to 5 of 100`}},
		{"beyond", []Want{{90, 101, Tutti, "", "", "", "", false, false}},
			[]string{`shot 1: outside the film: frames 90 to 101 of 100`}},
		{"at the end", []Want{{100, UntilNext, Tutti, "", "", "", "", false, false}},
			[]string{`shot 1: outside the film: frames 100 to 100 of 100`}},
		{"overlap", []Want{{50, 60, Tutti, "", "", "", "", false, false}, {10, 51, Tutti, "", "", "", "", false,
			false}}, []string{`shot 1: overlaps another shot, number 2: frames 50 to 60 of 100`}},
		{"overlap past a short one", []Want{{0, 90, Tutti, "", "", "", "", false, false},
			{10, 20, Tutti, "", "", "", "", false, false}, {30, 40, Tutti, "", "", "", "", false, false}},
			[]string{`shot 2: overlaps another shot, number 1: frames 10 to 20 of 100`,
				`shot 3: overlaps another shot, number 1: frames 30 to 40 of 100`}},
		{"same beginning", []Want{{10, UntilNext, Tutti, "", "", "", "", false, false}, {10, 20, Card, "", "", "", "x",
			false, false}}, []string{`shot 1: ends before it begins: frames 10 to 10 of 100`}},
		{"several", []Want{{0, 10, Solo, "", "tuba", "", "", false, false},
			{20, 15, "wide", "", "", "", "", false, false}},
			[]string{`shot 1: unknown take: "tuba"`, `shot 2: unknown kind of shot: "wide"`,
				`shot 2: ends before it begins: frames 20 to 15 of 100`}},
	}
	for _, tt := range tests {
		_, err := Resolve(100, seats, tt.wanted, false)
		if err == nil || err.Error() != strings.Join(tt.want, "\n") {
			t.Errorf("%s: %v, want %q", tt.name, err, tt.want)
		}
		var w *WantError
		if !errors.As(err, &w) {
			t.Errorf("%s: no WantError in %v", tt.name, err)
		}
	}
	if _, err := Resolve(0, seats, nil, false); err != ErrFilm {
		t.Errorf("no frames: %v", err)
	}
	for _, bad := range [][]Seat{{{"a", ""}, {"a", "winds"}}, {{"", ""}}} {
		if _, err := Resolve(10, bad, nil, false); err != ErrSeats {
			t.Errorf("seats %v: %v", bad, err)
		}
	}
}

// TestResolveCovers draws shot lists at random: whatever is accepted covers
// every frame once, and what is refused has a fault that can be pointed at.
func TestResolveCovers(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 8))
	accepted := 0
	for range 5000 {
		total := 1 + r.IntN(200)
		var wanted []Want
		at := 0
		for range r.IntN(6) {
			at += r.IntN(40)
			w := Want{From: at, To: at + 1 + r.IntN(30), Show: Tutti}
			if r.IntN(4) == 0 {
				w.To = UntilNext
			} else {
				at = w.To - r.IntN(2)*r.IntN(2)
			}
			wanted = append(wanted, w)
		}
		r.Shuffle(len(wanted), func(i, k int) { wanted[i], wanted[k] = wanted[k], wanted[i] })
		shots, err := Resolve(total, seats, wanted, false)
		if err != nil {
			continue
		}
		accepted++
		at = 0
		var seen []int
		for _, s := range shots {
			if s.From != at || s.Frames() <= 0 {
				t.Fatalf("%d frames, %+v: gap or overlap at %d: %+v", total, wanted, at, shots)
			}
			at = s.To
			if s.Want >= 0 {
				seen = append(seen, s.Want)
				if s.From != wanted[s.Want].From {
					t.Fatalf("shot %+v does not begin where %+v wants it", s, wanted[s.Want])
				}
			}
		}
		slices.Sort(seen)
		if at != total || len(slices.Compact(seen)) != len(wanted) {
			t.Fatalf("%d frames, %+v: covers %d with wants %v", total, wanted, at, seen)
		}
	}
	if accepted < 1000 {
		t.Errorf("only %d of 5000 lists accepted; the draw tests too little", accepted)
	}
}

func TestRate(t *testing.T) {
	ntsc := Rate{30000, 1001}
	for _, n := range []int{0, 1, 29, 30, 17982, 107892, -7} {
		if got := ntsc.Frame(ntsc.Seconds(n)); got != n {
			t.Errorf("frame %d begins at %v s, which is frame %d", n, ntsc.Seconds(n), got)
		}
	}
	// One hour of 29.97 is 107892.1 frames (SMPTE 12M drop frame counts
	// 107892).
	if got := ntsc.Frame(3600); got != 107892 {
		t.Errorf("an hour is %d frames", got)
	}
	if ntsc.String() != "30000/1001" || (Rate{25, 1}).String() != "25" {
		t.Errorf("%v, %v", ntsc, Rate{25, 1})
	}
}

// BenchmarkResolve is a long shot list for a large ensemble.
func BenchmarkResolve(b *testing.B) {
	var many []Seat
	for i := range 500 {
		many = append(many, Seat{string(rune('a'+i%26)) + strings.Repeat("x", i/26), []string{"winds", "strings"}[i%2]})
	}
	var wanted []Want
	for i := range 40 {
		wanted = append(wanted, Want{From: i * 100, To: UntilNext, Show: Soli, Section: "winds"})
	}
	for b.Loop() {
		if _, err := Resolve(5000, many, wanted, true); err != nil {
			b.Fatal(err)
		}
	}
}

// TestSoloWithOthers: the soloist comes first, then everybody else by seat.
func TestSoloWithOthers(t *testing.T) {
	seats := []Seat{{"a", ""}, {"b", ""}, {"c", ""}}
	got, err := Resolve(20, seats, []Want{{From: 0, To: 10, Show: Solo, Take: "b", Others: true},
		{From: 10, To: 20, Show: Solo, Take: "b"}}, true)
	if err != nil {
		t.Fatal(err)
	}
	if strings.Join(got[0].Takes, " ") != "b a c" || strings.Join(got[1].Takes, " ") != "b" {
		t.Errorf("with the others %v, alone %v", got[0].Takes, got[1].Takes)
	}
}
