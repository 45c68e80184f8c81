package align

import (
	"cmp"
	"math"
	"slices"
)

// windows compares up to count stretches of the overlap that l predicts. Each
// gives a moment of b and by how much l is wrong there, in seconds.
func windows(a, b *device, l line, size int, reach float64, count int) (x, y []float64, total int) {
	p := newPHAT(size, a.work)
	r := int(reach * a.work)
	eachWindow(a, b, l, size, count, func(at float64, wa, wb []float32, na, nb func(float64) float64) {
		d, peak := p.delay(wa, wb, na, nb, a.work, r)
		if peak == 0 {
			return // nothing but noise
		}
		total++
		if peak < windowPeak {
			return
		}
		// b's sound comes d samples later than predicted in window wb, so
		// the same moment of b lies d samples earlier on a's line.
		x, y = append(x, at), append(y, -d/a.work)
	})
	return x, y, total
}

// eachWindow calls use for up to count stretches of the overlap that l predicts: with the
// moment of b in its middle, the sound of both there, and the noise of both.
func eachWindow(a, b *device, l line, size, count int,
	use func(at float64, wa, wb []float32, na, nb func(hertz float64) float64),
) {
	wa, wb := make([]float32, size), make([]float32, size)
	length := float64(size) / a.work
	ratio := 1 + l.slope
	na, nb := a.noise(size), b.noise(size)
	for _, t := range worthwhile(a, b, l, length, count) {
		k := int(t * a.work)
		if k < 0 || k+size > len(a.x) {
			continue
		}
		copy(wa, a.x[k:k+size])
		start := float64(k) / a.work // of the window, on a's line
		warp(wb, b.x, (start-l.at)/ratio*b.work, b.work/a.work/ratio)
		use((start+length/2-l.at)/ratio, wa, wb, na, nb)
	}
}

// worthwhile returns the moments of a at which stretches of length begin that tell most: half of
// them the liveliest of equal parts of the overlap, for leverage on the clock, the others the
// liveliest of all. A player who rests for most of the piece is heard in a few seconds only.
func worthwhile(a, b *device, l line, length float64, count int) []float64 {
	from := math.Max(0, l.at)
	to := math.Min(a.seconds(), l.at+b.seconds()*(1+l.slope)) - length
	type stretch struct {
		at, life float64
		part     int
	}
	var all []stretch
	for t := from; t <= to; t += length / 2 {
		life := math.Sqrt(a.life(t, length) * b.life((t-l.at)/(1+l.slope), length))
		all = append(all, stretch{t, life, int((t - from) / (to - from + 1e-9) * float64(count/2))})
	}
	slices.SortStableFunc(all, func(p, q stretch) int { return cmp.Compare(q.life, p.life) })
	taken := make([]bool, count)
	var out []float64
	rest := count / 2
	for _, s := range all {
		switch {
		case !taken[s.part]:
			taken[s.part] = true
		case rest > 0:
			rest--
		default:
			continue
		}
		out = append(out, s.at)
	}
	slices.Sort(out)
	return out
}

// life returns how much the levels of the bands move within length seconds from t.
func (d *device) life(t, length float64) float64 {
	n := len(d.moved) - 1
	from := max(0, min(n, int(t/changeHop)))
	return d.moved[max(from, min(n, int((t+length)/changeHop)))] - d.moved[from]
}
