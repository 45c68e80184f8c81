//go:build dev

package align

import (
	"fmt"
	"math"
	"os"
	"slices"
	"testing"

	"ripieno/mix/align/simulate"
)

func TestDevHyps(t *testing.T) {
	level := simulate.Level(envInt("LEVEL", 1))
	n, want := envInt("FROM", 0), envInt("TAKE", 0)
	players, sec := envInt("PLAYERS", 6), envInt("SEC", 60)
	e := simulate.New(uint64(n), simulate.Options{Level: level, Players: players, Seconds: float64(sec)})
	g := newGrid(e.Map)
	var takes []*take
	for i, tk := range e.Takes {
		tt := newTake(&Recording{Name: tk.Name, Take: tk.Player, Features: cached(fmt.Sprintf("f%d-%d-%d-%d-%d", level, n, players, sec, i), tk)})
		tt.search(g)
		takes = append(takes, tt)
	}
	agree(g, takes)
	tt, tr := takes[want], e.Takes[want].Truth
	fmt.Printf("%s beat %.3f cue %.3f start %.3f end %.3f truth %+v %s ppm used %.0f noise %.0f loud %.0f\n", e.Title, g.beats[0].Length, g.cue, g.start, g.end, tr, e.Takes[want].Inst(), tt.ppm, tt.f.NoiseDB, tt.f.LoudDB)
	slices.SortStableFunc(tt.hyps, func(a, b hyp) int {
		if a.p > b.p {
			return -1
		}
		return 1
	})
	for i, h := range tt.hyps {
		d := h.o - tr.MeanOffset()
		if i < 12 || math.Abs(d) < 0.05 {
			rank := 0
			if h.cue >= 0 {
				rank = tt.rank[h.cue]
			}
			fmt.Printf("  d %+.3f (%.2f beats) p %.4f score %.2f ens %.2f r %.3f rank %d terms %+v\n", d, d/g.beats[0].Length, h.p, h.score, h.ens, h.r, rank, h.terms)
		}
	}
	if os.Getenv("EV") != "" {
		for i, ev := range tt.f.Events {
			at := tt.guide(tr.Offset, i)
			s := g.nearest(at)
			fmt.Printf("    g %.3f (to slot %+.0f ms) w %.2f rank %d str %.1f lev %.0f bef %.0f aft %.0f rise %.3f dec %.2f spr %.2f\n", at, 1000*(at-s.at), tt.weight[i], tt.rank[i], ev.Strength, ev.Level, ev.Before, ev.After, ev.Rise, ev.Decay, ev.Spread)
		}
	}
}
