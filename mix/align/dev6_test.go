//go:build dev

package align

import (
	"fmt"
	"math"
	"slices"
	"testing"

	"gonum.org/v1/gonum/mat"

	"ripieno/mix/align/simulate"
)

func evx(ev Event, f *Features) []float64 {
	a, b := ramp(ev.Level-ev.Before, 0, 45), ramp(ev.Level-ev.After, 0, 40)
	return []float64{1, a, b, ev.Strength / 20, ev.Spread, ev.Decay / 0.6, ev.Rise / 0.15, ev.Bright,
		ramp(ev.Level, f.NoiseDB, f.NoiseDB+40), ramp(ev.Level, f.LoudDB-35, f.LoudDB+10), a * a, b * b, a * b}
}

func TestDevLogit(t *testing.T) {
	type row struct {
		x []float64
		y float64
	}
	var rows []row
	for _, level := range []simulate.Level{0, 1, 2} {
		for n := range 25 {
			e := simulate.New(uint64(n), simulate.Options{Level: level, Players: 6, Seconds: 60})
			for i, tk := range e.Takes {
				f := cached(fmt.Sprintf("f%d-%d-%d-%d-%d", level, n, 6, 60, i), tk)
				for _, ev := range f.Events {
					y := 0.0
					if math.Abs(ev.Time-tk.Truth.Cue) < 0.012 && (!ev.Slow || tk.Truth.Cued == "note") {
						y = 1
					}
					rows = append(rows, row{evx(ev, f), y})
				}
			}
		}
	}
	k := len(rows[0].x)
	w := make([]float64, k)
	for range 12 {
		H := mat.NewSymDense(k, nil)
		g := mat.NewVecDense(k, nil)
		ll := 0.0
		for _, r := range rows {
			z := dot(w, r.x)
			p := 1 / (1 + math.Exp(-z))
			for j := range k {
				g.SetVec(j, g.AtVec(j)+(r.y-p)*r.x[j])
				for l := j; l < k; l++ {
					H.SetSym(j, l, H.At(j, l)+p*(1-p)*r.x[j]*r.x[l])
				}
			}
			if r.y > 0 {
				ll += math.Log(p)
			} else {
				ll += math.Log(1 - p)
			}
		}
		for j := range k {
			g.SetVec(j, g.AtVec(j)-0.3*w[j])
			H.SetSym(j, j, H.At(j, j)+0.3)
		}
		var d mat.VecDense
		d.SolveVec(H, g)
		for j := range k {
			w[j] += d.AtVec(j)
		}
		fmt.Println(ll)
	}
	fmt.Printf("%.2f\n", w)
	var yes, no []float64
	for _, r := range rows {
		z := dot(w, r.x)
		if r.y > 0 {
			yes = append(yes, z)
		} else {
			no = append(no, z)
		}
	}
	for _, v := range [][]float64{yes, no} {
		slices.Sort(v)
		fmt.Print(len(v), ": ")
		for _, q := range []float64{0, 0.01, .02, .05, .1, .25, .5, .75, .9, .95, .98, .99, 1} {
			fmt.Printf("%.2f:%.2f ", q, v[int(q*float64(len(v)-1))])
		}
		fmt.Println()
	}
}
