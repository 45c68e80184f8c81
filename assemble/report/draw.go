package report

import (
	"fmt"
	"math"
	"strconv"
	"strings"
)

// A staff is drawn on a canvas of staffWide by staffHigh units that is
// stretched to the page. Everything of one kind is one path, so that a page of
// two hundred takes has few elements.
const (
	staffWide = 960
	staffHigh = 40
	waveBase  = 28 // the line on which the loudness stands
	heatBase  = 40 // the line on which the strip of timing stands
)

// heatSteps are the limits in milliseconds between the steps of the strip:
// 20 to 30 ms is what ensembles notice, and players of trios lie 27 to 49 ms
// apart (R. Rasch, "Synchronization in performed ensemble music", 1979).
var heatSteps = [...]float64{15, 25, 40}

// staff is the drawing of one take.
type staff struct {
	Wave   string
	Heat   [len(heatSteps) + 1]string // paths, from calm to wide
	Missed string
}

// x returns the place of a guide time, in tenths of a unit.
func (r Review) x(at float64) float64 {
	share := (at - r.Span[0]) / (r.Span[1] - r.Span[0])
	return math.Round(share*staffWide*10) / 10
}

// staff returns the drawing of a take on its staff: loudness, how closely it is
// played, and measures in which it is missed.
func (r Review) staff(t Reviewed) staff {
	var s staff
	s.Wave = wave(t.Wave)
	if t.Playing == nil {
		return s
	}
	var heat [len(heatSteps) + 1]strings.Builder
	for k, off := range t.Playing.Measures {
		if k+1 >= len(r.Bars) || math.IsNaN(off) {
			continue
		}
		level := heatLevel(off)
		high := 3 + 2*level
		from, to := r.x(r.Bars[k]), r.x(r.Bars[k+1])
		fmt.Fprintf(&heat[level], "M%s %dh%sv-%dH%sz", shortNumber(from+0.5), heatBase,
			shortNumber(max(0.5, to-from-1)), high, shortNumber(from+0.5))
	}
	for i := range heat {
		s.Heat[i] = heat[i].String()
	}
	var missed strings.Builder
	for _, g := range t.Playing.Missed {
		if g.From < 1 || g.To >= len(r.Bars) {
			continue
		}
		from, to := r.x(r.Bars[g.From-1]), r.x(r.Bars[g.To])
		fmt.Fprintf(&missed, "M%s 4H%sV%dH%sz", shortNumber(from+1), shortNumber(to-1), heatBase-1, shortNumber(from+1))
	}
	s.Missed = missed.String()
	return s
}

// heatLevel returns the step of a measure.
func heatLevel(off float64) int {
	level := 0
	for _, limit := range heatSteps {
		if off >= limit {
			level++
		}
	}
	return level
}

// wave returns the outline of the loudness, standing on its line: one contour for
// each stretch that was recorded.
func wave(values []float64) string {
	var b strings.Builder
	if len(values) == 0 {
		return ""
	}
	wide := float64(staffWide) / float64(len(values))
	inside := false
	last := 0
	for i, v := range values {
		if v < 0 || math.IsNaN(v) {
			if inside {
				fmt.Fprintf(&b, "V%dz", waveBase)
			}
			inside = false
			continue
		}
		high := 1 + int(math.Round(min(v, 1)*(waveBase-3)))
		if !inside {
			fmt.Fprintf(&b, "M%s %dv-%d", shortNumber(float64(i)*wide), waveBase, high)
		} else if high != last {
			fmt.Fprintf(&b, "v%d", last-high)
		}
		fmt.Fprintf(&b, "h%s", shortNumber(wide))
		inside, last = true, high
	}
	if inside {
		fmt.Fprintf(&b, "V%dz", waveBase)
	}
	return b.String()
}

// shortNumber returns a number without what it does not need.
func shortNumber(v float64) string { return strconv.FormatFloat(math.Round(v*10)/10, 'f', -1, 64) }

// maxBars is how many lines a staff is ruled with at most, and maxMarks how
// many measures are named.
const (
	maxBars  = 160
	maxMarks = 16
)

// ruling returns the path of the bar lines.
func (r Review) ruling() string {
	var b strings.Builder
	step := 1
	for (len(r.Bars)-1)/step > maxBars {
		step *= 2
	}
	for i := 0; i < len(r.Bars); i += step {
		fmt.Fprintf(&b, "M%s 0V%d", shortNumber(r.x(r.Bars[i])), staffHigh)
	}
	return b.String()
}

// mark is a measure that is named, with its place as a share of the staff and
// its time in the film.
type mark struct {
	Measure int
	Name    string // what it is called
	Share   string // "12.5%"
	At      string // seconds of the film; "" when it is not in it
}

// marks names measures at a round distance, the first always.
func (r Review) marks() []mark {
	n := len(r.Bars) - 1
	step := 1
	for _, next := range []int{2, 4, 8, 10, 16, 20, 32, 40, 50, 64, 100, 200, 500, 1000} {
		if n/step <= maxMarks {
			break
		}
		step = next
	}
	var all []mark
	for m := 1; m <= n; m++ {
		if (m-1)%step != 0 {
			continue
		}
		share := (r.Bars[m-1] - r.Span[0]) / (r.Span[1] - r.Span[0])
		k := mark{Measure: m, Name: r.name(m), Share: shortNumber(100*share) + "%"}
		if r.Film != nil && r.Bars[m-1] >= r.Film.AtZero {
			k.At = strconv.FormatFloat(r.Bars[m-1]-r.Film.AtZero, 'f', 3, 64)
		}
		all = append(all, k)
	}
	return all
}
