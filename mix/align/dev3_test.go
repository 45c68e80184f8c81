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

// distribution of cueness of true cues and of the best other events
func TestDevCueness(t *testing.T) {
	var yes, no, best []float64
	for _, level := range []simulate.Level{1, 2} {
		for n := range 25 {
			e := simulate.New(uint64(n), simulate.Options{Level: level, Players: 6, Seconds: 60})
			for i, tk := range e.Takes {
				f := cached(fmt.Sprintf("f%d-%d-%d-%d-%d", level, n, 6, 60, i), tk)
				top := 0.0
				for _, ev := range f.Events {
					c := cueLike(ev, f)
					if math.Abs(ev.Time-tk.Truth.Cue) < 0.01 {
						yes = append(yes, c)
						if c < 4 && os.Getenv("V") != "" {
							fmt.Printf("%s %d %s %s %.2f noise %.0f loud %.0f %+v\n", level, n, tk.Name, tk.Truth.Cued, c, f.NoiseDB, f.LoudDB, ev)
						}
					} else {
						no = append(no, c)
						top = max(top, c)
					}
				}
				best = append(best, top)
			}
		}
	}
	for _, v := range [][]float64{yes, no, best} {
		slices.Sort(v)
		fmt.Print(len(v), ": ")
		for _, q := range []float64{0, 0.01, .02, .05, .1, .25, .5, .75, .9, .95, .98, .99, 1} {
			fmt.Printf("%.2f:%.2f ", q, v[int(q*float64(len(v)-1))])
		}
		fmt.Println()
	}
}
