package align

import (
	"cmp"
	"math"
	"slices"
)

// splice is a moment at which a sound jumps as nothing in a room makes it jump: what comes
// cannot be foretold from what was, for less than a millisecond, and neither before nor
// after it is anything unusual. Where samples are missing, or were put in, two pieces that
// do not belong together meet. A clap, a stroke and a click of the guide go on sounding, in
// the room at least.
type splice struct {
	at   float64 // seconds of the file
	over float64 // dB by which what cannot be foretold is over what it is round it
}

// Bounds of the search for splices. Nothing in 52 whole files of sampled instruments, claps
// and doors among them, is over 7 dB; of cuts through their playing most are.
const (
	spliceOrder = 16     // samples from which the next is foretold
	spliceBlock = 0.043  // seconds for which one prediction is made, of twice as much
	spliceStep  = 0.0005 // seconds; two of them are looked at together
	spliceFew   = 8      // samples of a step at least, of which the chance grows when they are few
	spliceNear  = 2e-3   // seconds on each side that belong to neither what was before nor after
	spliceSide  = 11e-3  // seconds of before and after
	spliceOver  = 5.0    // dB from which it is one
	spliceMost  = 7.0    // dB from which it is no clearer
	spliceClear = 9.0    // dB from which a person is asked, whatever the playing says
	spliceApart = 0.02   // seconds between two, of which the clearer counts
	mostSplices = 64     // the clearest
	spliceFloor = 1e-11  // mean square below which nothing is heard
	spliceWhite = 1e-6   // share of white noise that keeps the prediction stable
)

// spliceFinder predicts every sample of a stream from those before it and keeps how much
// of each step it could not.
type spliceFinder struct {
	rate, block, step int
	window            []float64
	buf               []float64 // from half a block before the next one
	wide              []float64
	left              []float32 // mean square of what was not foretold, of every step
}

// newSpliceFinder returns a finder for sound at rate hertz. Its window is a Hann window of
// two blocks, so that each block is predicted from what surrounds it.
func newSpliceFinder(rate int) *spliceFinder {
	s := &spliceFinder{rate: rate, step: max(spliceFew, int(spliceStep*float64(rate)))}
	s.block = s.step * max(4, int(spliceBlock*float64(rate))/s.step)
	s.window, s.wide = make([]float64, 2*s.block), make([]float64, 2*s.block)
	for i := range s.window {
		s.window[i] = 0.5 - 0.5*math.Cos(2*math.Pi*(float64(i)+0.5)/float64(len(s.window)))
	}
	s.buf = make([]float64, s.block/2)
	return s
}

// write takes samples of one channel.
func (s *spliceFinder) write(x []float64) {
	s.buf = append(s.buf, x...)
	done := 0
	for len(s.buf)-done >= 2*s.block {
		s.predict(s.buf[done : done+2*s.block])
		done += s.block
	}
	s.buf = s.buf[:copy(s.buf, s.buf[done:])]
}

// predict takes the block in the middle of x, which has half a block on both sides.
func (s *spliceFinder) predict(x []float64) {
	for i, v := range x {
		s.wide[i] = v * s.window[i]
	}
	a := predictor(s.wide)
	half := s.block / 2
	sum := 0.0
	var back [spliceOrder]float64 // the oldest sample's first
	for k, c := range a {
		back[spliceOrder-1-k] = c
	}
	for i := half; i < half+s.block; i++ {
		var one, two, three, four float64
		was := x[i-spliceOrder : i]
		for k := 0; k+3 < spliceOrder; k += 4 {
			one += back[k] * was[k]
			two += back[k+1] * was[k+1]
			three += back[k+2] * was[k+2]
			four += back[k+3] * was[k+3]
		}
		e := x[i] - (one + two) - (three + four)
		sum += e * e
		if (i-half+1)%s.step == 0 {
			s.left = append(s.left, float32(sum/float64(s.step)))
			sum = 0
		}
	}
}

// predictor returns the weights with which the last samples, the newest first, foretell the
// next one best in x: linear prediction by its autocorrelation (Makhoul 1975, from memory).
func predictor(x []float64) [spliceOrder]float64 {
	var r [spliceOrder + 1]float64
	for lag := range r {
		r[lag] = dot(x[:len(x)-lag], x[lag:])
	}
	var a [spliceOrder]float64
	left := r[0]*(1+spliceWhite) + spliceFloor
	// Levinson and Durbin's recursion.
	for k := range a {
		v := r[k+1]
		for j := range k {
			v -= a[j] * r[k-j]
		}
		v /= left
		for i, j := 0, k-1; i <= j; i, j = i+1, j-1 {
			a[i], a[j] = a[i]-v*a[j], a[j]-v*a[i]
		}
		a[k] = v
		left *= 1 - v*v
	}
	return a
}

// finish returns the splices of all that was written, in order of time, as [Features] keeps
// them.
func (s *spliceFinder) finish() []Event {
	for range 2 { // what waits for its other half
		s.write(make([]float64, s.block))
	}
	sum := make([]float64, len(s.left)+1)
	for i, v := range s.left {
		sum[i+1] = sum[i] + float64(v)
	}
	step := float64(s.step) / float64(s.rate)
	near, side := max(1, int(spliceNear/step)), int(spliceSide/step)
	var all []Event
	for i := near + side; i+2+near+side <= len(s.left); i++ {
		here := (sum[i+2] - sum[i]) / 2
		round := math.Max(sum[i-near]-sum[i-near-side], sum[i+2+near+side]-sum[i+2+near]) / float64(side)
		over := 10 * math.Log10(here/(round+spliceFloor)+1e-9)
		if over >= spliceOver {
			all = append(all, Event{Time: float64(i+1) * step, Strength: over})
		}
	}
	slices.SortStableFunc(all, func(a, b Event) int { return cmp.Compare(b.Strength, a.Strength) })
	var out []Event
	for _, x := range all {
		if len(out) == mostSplices {
			break
		}
		if !slices.ContainsFunc(out, func(y Event) bool { return math.Abs(x.Time-y.Time) < spliceApart }) {
			out = append(out, x)
		}
	}
	slices.SortFunc(out, func(a, b Event) int { return cmp.Compare(a.Time, b.Time) })
	return out
}

// spliceNats returns how much a splice so clear speaks for a break there, in nats, 0 for none.
// It is the part of cuts that show, three in five after a coder, over that of whole files in
// which anything is as clear, one in five at 6 dB and none of 52 at 7, with room for what
// recorders do that no simulated one does: crackle without losing time.
func spliceNats(over float64) float64 {
	return math.Max(0, 2+2*(math.Min(over, spliceMost)-spliceOver))
}

// ofThePiece returns the splices in the part of the file where breaks are looked for; none
// where there are so many that they are a habit of the recorder.
func (s *breakScan) ofThePiece(all []Event) []splice {
	var out []splice
	for _, x := range all {
		if at := s.edgeAt(x.Time); at > s.from && at < s.to && !s.besideSilence(x.Time) {
			out = append(out, splice{x.Time, x.Strength})
		}
	}
	if len(out) > usualSplices {
		return nil
	}
	return out
}

// besideSilence reports whether a second of the file is where a digital silence begins or
// ends: that it does is no second sign of what the silence shows.
func (s *breakScan) besideSilence(file float64) bool {
	const near = 3 // steps of the level
	i := int(file / levelHop)
	return s.silent(s.edgeAt(float64(i-near)*levelHop), s.edgeAt(float64(i+near+1)*levelHop)) > 0
}

// edgeAt returns the guide time, at the base place, of a second of the file.
func (s *breakScan) edgeAt(file float64) float64 { return s.o + file*s.t.ratio() }

// usualSplices is how many splices in the piece are the most of which each may be a break.
const usualSplices = 10
