package direct

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"ripieno/layout/shot"
)

// band has four who play in the measures given, of a piece of 32 measures of 2 s.
func band(plays ...string) (players []Player, starts []float64) {
	for i := range 33 {
		starts = append(starts, 8+2*float64(i))
	}
	for i, text := range plays {
		x := Player{Take: fmt.Sprint("take-", i+1), Section: []string{"high", "high", "low", "low"}[i%4], Shown: true,
			Plays: make([]bool, 32), Leads: make([]float64, 32)}
		for m, c := range strings.ReplaceAll(text, " ", "") {
			x.Plays[m] = c != '.'
			if c == 'M' {
				x.Leads[m] = 1
			}
		}
		players = append(players, x)
	}
	return players, starts
}

func say(list []Shot) string {
	var lines []string
	for _, s := range list {
		lines = append(lines, s.String())
	}
	return strings.Join(lines, "\n")
}

// Each phrase shows who plays it, and who has the melody.
func TestProposeFollowsTheMusic(t *testing.T) {
	players, starts := band(
		"xxxx MMMM .... .... MMMM MMMM MMMM xxxx",
		"xxxx xxxx .... xxxx xxxx xxxx xxxx xxxx",
		"xxxx xxxx xxxx .... xxxx xxxx xxxx xxxx",
		"xxxx xxxx xxxx .... xxxx xxxx xxxx xxxx")
	got := say(Propose(players, starts))
	want := `m1 to m5: tutti  (everybody)
m5 to m9: solo take-1 (has the melody)
m9 to m13: pair take-3, take-4 (nobody else plays)
m13 to m17: solo take-2 (plays alone)
m17 to m21: tutti  (everybody)
m21 to m25: solo take-1 (has the melody)
m25 to m33: tutti  (everybody)`
	if got != want {
		t.Errorf("proposed\n%s\nwant\n%s", got, want)
	}
	players[1].Shown = false // has released the sound only
	if got := say(Propose(players, starts)); strings.Contains(got, "take-2") {
		t.Errorf("somebody without a picture is shown:\n%s", got)
	}
	four, starts := band("xxxx .... xxxx xxxx", "xxxx .... xxxx xxxx", "xxxx xxxx xxxx xxxx", "xxxx xxxx xxxx xxxx")
	four = append(four, four[2])
	four[4].Take = "take-5"
	if got := say(Propose(four, starts[:17])); !strings.Contains(got, "m5 to m9: soli low (only this section plays)") {
		t.Errorf("a section that plays by itself:\n%s", got)
	}
}

// A phrase ends where many begin, and short pieces have no list.
func TestPhrasesEndWherePlayersChange(t *testing.T) {
	players, starts := band(
		"xxxx xxxx xxxx xxxx", "xxxx xx.. xxxx xxxx", "xxxx xx.. xxxx xxxx", "xxxx xx.. xxxx xxxx")
	got := say(Propose(players, starts[:17]))
	if !strings.Contains(got, "m7 to m9: solo take-1 (plays alone)") {
		t.Errorf("proposed\n%s", got)
	}
	if got := Propose(players, starts[:4]); got != nil {
		t.Errorf("three measures have %d shots", len(got))
	}
}

// Whatever is played: the list covers the piece without a gap, begins and ends with
// everybody, shows nobody who may not be shown, changes no faster than every 4 seconds,
// and after two soloists shows everybody.
func TestProposeKeepsItsPromises(t *testing.T) {
	r := rand.New(rand.NewPCG(18, 4))
	for range 400 {
		n := 1 + r.IntN(12)
		starts := []float64{r.Float64() * 10}
		for range 8 + r.IntN(80) {
			starts = append(starts, starts[len(starts)-1]+1+2*r.Float64())
		}
		var players []Player
		shown := map[string]bool{}
		for i := range n {
			x := Player{Take: fmt.Sprint("take-", i), Section: []string{"", "a", "b"}[r.IntN(3)], Shown: r.IntN(6) > 0}
			density := r.Float64()
			for range len(starts) - 1 {
				x.Plays, x.Leads = append(x.Plays, r.Float64() < density), append(x.Leads, r.Float64())
			}
			shown[x.Take] = x.Shown
			players = append(players, x)
		}
		list := Propose(players, starts)
		if list == nil {
			continue
		}
		if !slices.EqualFunc(list, Propose(players, starts), func(a, b Shot) bool { return a == b }) {
			t.Fatal("another list for the same piece")
		}
		next, features := 1, 0
		for _, s := range list {
			if s.From != next || s.To <= s.From {
				t.Fatalf("a gap before %s", s)
			}
			next = s.To
			if seconds := starts[s.To-1] - starts[s.From-1]; seconds < changeSeconds && len(starts) > 4 && s.To < len(starts) {
				t.Fatalf("%s lasts %.1f s", s, seconds)
			}
			if s.Take != "" && !shown[s.Take] || s.Other != "" && !shown[s.Other] {
				t.Fatalf("%s shows somebody without a picture", s)
			}
			if features++; s.Show == shot.Tutti {
				features = 0
			}
			if s.Around() && features > featuresInARow {
				t.Fatalf("%s is soloist %d in a row", s, features)
			}
		}
		if last := list[len(list)-1]; next != len(starts) || list[0].Show != shot.Tutti || last.Show != shot.Tutti {
			t.Fatalf("begins with %s and ends with %s of %d measures", list[0], last, len(starts)-1)
		}
	}
}

// The melody is where the highest notes are: in the second part, but for the measure in
// which the first goes above it. Drums have none of it.
func TestMelodyIsTheSkyline(t *testing.T) {
	var high, low, drum []Note
	for i := range 12 { // three measures of four beats
		at := float64(i) / 2
		pitch := 72 + float64(i%3)
		if i/4 == 1 {
			pitch = 50
		}
		low = append(low, Note{at + 0.01, 60})
		high = append(high, Note{at, pitch})
		drum = append(drum, Note{at, -1}, Note{at + 0.25, math.NaN()})
	}
	got := Melody([][]Note{low, high, drum}, []float64{0, 2, 4, 6})
	want := [][]float64{{0, 1, 0}, {1, 0, 1}, {0, 0, 0}}
	for i := range want {
		if !slices.Equal(got[i], want[i]) {
			t.Errorf("part %d leads %v, want %v", i+1, got[i], want[i])
		}
	}
}
