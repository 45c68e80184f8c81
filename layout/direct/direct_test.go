package direct

import (
	"fmt"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"ripieno/layout/shot"
)

// band has players who play (x) in the measures given, or have the tune (M), of a piece of
// 32 measures of 2 s.
func band(plays ...string) (players []Player, starts []float64) {
	for i := range 33 {
		starts = append(starts, 8+2*float64(i))
	}
	for i, text := range plays {
		x := Player{Take: fmt.Sprint("take-", i+1), Section: []string{"high", "high", "low", "low"}[i%4], Shown: true,
			Plays: make([]bool, 32)}
		for m, c := range strings.ReplaceAll(text, " ", "") {
			x.Plays[m] = c != '.'
			at := starts[m]
			switch c {
			case 'M': // a tune goes by steps
				for k := range 4 {
					x.Notes = append(x.Notes, Note{at + float64(k)/2, 72 + float64((m*3+k)%6), -20})
				}
			case 'x': // long notes, deeper
				x.Notes = append(x.Notes, Note{at, 48 + float64(m%2), -20})
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
	lists, soloists := 0, 0
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
				x.Plays = append(x.Plays, r.Float64() < density)
			}
			for at, k := starts[0], 0.0; at < starts[len(starts)-1]; at += 0.2 + r.Float64() {
				k += r.NormFloat64()
				x.Notes = append(x.Notes, Note{at, 60 + 3*float64(i) + k, -20 + 3*r.NormFloat64()})
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
		lists++
		next, features := 1, 0
		for _, s := range list {
			if s.From != next || s.To <= s.From {
				t.Fatalf("a gap before %s", s)
			}
			next = s.To
			if seconds := starts[s.To-1] - starts[s.From-1]; seconds < changeSeconds && len(starts) > 4 &&
				s.To < len(starts) {
				t.Fatalf("%s lasts %.1f s", s, seconds)
			}
			if s.Take != "" && !shown[s.Take] || s.Other != "" && !shown[s.Other] {
				t.Fatalf("%s shows somebody without a picture", s)
			}
			if features++; s.Show == shot.Tutti {
				features = 0
			}
			if s.Around() {
				soloists++
			}
			if s.Around() && features > featuresInARow {
				t.Fatalf("%s is soloist %d in a row", s, features)
			}
		}
		if last := list[len(list)-1]; next != len(starts) || list[0].Show != shot.Tutti || last.Show != shot.Tutti {
			t.Fatalf("begins with %s and ends with %s of %d measures", list[0], last, len(starts)-1)
		}
	}
	if lists < 200 || soloists < 100 {
		t.Errorf("%d lists with %d soloists: do these pieces prove anything?", lists, soloists)
	}
}
