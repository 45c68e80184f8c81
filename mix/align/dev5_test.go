//go:build dev

package align

import (
	"fmt"
	"math"
	"testing"

	"ripieno/mix/align/simulate"
)

func TestDevBias(t *testing.T) {
	by := map[string][][4]float64{}
	for _, level := range []simulate.Level{0, 1, 2} {
		for n := range envInt("N", 25) {
			e := simulate.New(uint64(n), simulate.Options{Level: level, Players: 6, Seconds: 60})
			g := newGrid(e.Map)
			for i, tk := range e.Takes {
				tt := newTake(&Recording{Name: tk.Name, Take: tk.Player, Features: cached(fmt.Sprintf("f%d-%d-%d-%d-%d", level, n, 6, 60, i), tk)})
				if math.Abs(tk.Truth.DriftPPM) > 200 || tk.Truth.Notes < 12 {
					continue
				}
				tt.ppm = tk.Truth.DriftPPM
				fit := tt.refine(g, tk.Truth.MeanOffset())
				if fit.n < 4 {
					fit.mu = 0
				}
				by[tk.Inst()] = append(by[tk.Inst()], [4]float64{fit.mu * 1000, fit.rise * 1000, fit.err * 1000, float64(fit.n) / float64(tk.Truth.Notes)})
			}
		}
	}
	for k, v := range by {
		var m, s, r, e, f float64
		for _, x := range v {
			m += x[0] / float64(len(v))
			r += x[1] / float64(len(v))
			e += x[2] / float64(len(v))
			f += x[3] / float64(len(v))
		}
		for _, x := range v {
			s += (x[0] - m) * (x[0] - m) / float64(len(v))
		}
		fmt.Printf("%-16s n %d bias %.1f sd %.1f rise %.0f err %.1f found %.2f\n", k, len(v), m, math.Sqrt(s), r, e, f)
	}
}
