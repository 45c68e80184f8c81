//go:build dev

package align

import (
	"fmt"
	"math"
	"testing"

	"ripieno/mix/align/simulate"
)

// conditional logit fit
func TestDevFit(t *testing.T) {
	type sample struct {
		x    [][termCount + 1]float64
		true int
	}
	var all []sample
	lost := 0
	for _, level := range []simulate.Level{0, 1, 2} {
		for n := envInt("FROM", 0); n < envInt("FROM", 0)+envInt("N", 25); n++ {
			e := simulate.New(uint64(n), simulate.Options{Level: level, Players: 6, Seconds: 60})
			g := newGrid(e.Map)
			var takes []*take
			for i, tk := range e.Takes {
				tt := newTake(&Recording{Name: tk.Name, Take: tk.Player, Features: cached(fmt.Sprintf("f%d-%d-%d-%d-%d", level, n, 6, 60, i), tk)})
				tt.search(g)
				takes = append(takes, tt)
			}
			agree(g, takes)
			for i, tt := range takes {
				s := sample{true: -1}
				bd := 0.045
				for j, h := range tt.hyps {
					var v [termCount + 1]float64
					copy(v[:], h.terms[:])
					v[termCount] = h.ens / ensWeight
					s.x = append(s.x, v)
					T := (g.end+g.start)/2 - e.Takes[i].Truth.Offset
					if d := math.Abs(h.o + T*(tt.ppm-e.Takes[i].Truth.DriftPPM)*1e-6 - e.Takes[i].Truth.MeanOffset()); d < bd {
						bd, s.true = d, j
					}
				}
				if s.true < 0 {
					lost++
					fmt.Println("lost", level, n, tt.rec.Name, e.Takes[i].Truth, e.Title, e.Takes[i].Inst(), len(tt.hyps), tt.ppm)
					continue
				}
				all = append(all, s)
			}
		}
	}
	var w, w0 [termCount + 1]float64
	copy(w[:], weights[:])
	w[termCount] = ensWeight
	w0 = w
	eval := func(w [termCount + 1]float64) (ll float64, right int, grad [termCount + 1]float64, wrongSure int, sure int) {
		for _, s := range all {
			z := make([]float64, len(s.x))
			top, at := math.Inf(-1), 0
			for j, x := range s.x {
				for k := range x {
					z[j] += w[k] * x[k]
				}
				if z[j] > top {
					top, at = z[j], j
				}
			}
			var sum float64
			for j := range z {
				z[j] = math.Exp(z[j] - top)
				sum += z[j]
			}
			if at == s.true {
				right++
			}
			if z[at]/sum > 0.98 {
				sure++
				if at != s.true {
					wrongSure++
				}
			}
			ll += math.Log(z[s.true]/sum + 1e-300)
			for k := range w {
				m := 0.0
				for j, x := range s.x {
					m += z[j] / sum * x[k]
				}
				grad[k] += s.x[s.true][k] - m
			}
		}
		for k := range w {
			d := (w[k] - w0[k]) / (math.Abs(w0[k])*1 + 0.05)
			ll -= d * d / 2
			grad[k] -= d / (math.Abs(w0[k])*1 + 0.05)
		}
		return
	}
	ll, right, _, ws, su := eval(w)
	fmt.Println("samples", len(all), "lost", lost, "ll", ll, "right", right, "sure", su, "wrongsure", ws)
	var g2 [termCount + 1]float64
	for it := range 2500 {
		_, _, grad, _, _ := eval(w)
		for k := range w {
			g2[k] += grad[k] * grad[k]
			w[k] += 0.3 * grad[k] / (math.Sqrt(g2[k]) + 1e-9) * (math.Abs(w0[k]) + 0.05)
		}
		if it%500 == 499 {
			ll, right, _, ws, su := eval(w)
			fmt.Println(it, "ll", ll, "right", right, "sure", su, "wrongsure", ws)
		}
	}
	names := []string{"cueRank", "cueQuality", "cueMissing", "gridFit", "gridShare", "gridShift", "quietBreak", "quietEarly", "rivals", "bleed", "downbeats", "phrases", "afterEnd", "entry", "lastNote", "coverLate", "coverEnd", "empty", "ens"}
	for k := range w {
		fmt.Printf("%s: %.3f (was %.2f)\n", names[k], w[k], w0[k])
	}
}
