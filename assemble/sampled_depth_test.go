package assemble

import (
	"math"
	"slices"
	"testing"

	"ripieno/mix"
	"ripieno/mix/audio"
	"ripieno/mix/fourier"
)

// Frames of a voice in which depth is measured.
const (
	depthSize = 2048
	depthHop  = depthSize / 2
)

// sounds are the mean power of every line of three voices where notes are played.
type sounds struct {
	dry, noise, left, wrong []float64 // the notes, what is added to them, what is left of both, and how far that is off
	weight                  []float64 // A-weighting of power
}

// soundsOf measures the frames of some seconds in which the notes are louder than a level, dB.
func soundsOf(got, noisy, dry []float64, from, to, loud float64) sounds {
	tr := fourier.New(depthSize, nil)
	window := make([]float64, depthSize)
	for i := range window {
		window[i] = 0.5 - 0.5*math.Cos(2*math.Pi*float64(i)/depthSize)
	}
	lines := func() []float64 { return make([]float64, tr.Lines()) }
	s := sounds{lines(), lines(), lines(), lines(), lines()}
	for k := range s.weight { // IEC 61672-1, annex E
		f2 := math.Pow(float64(k)*audio.Rate/depthSize, 2)
		a := 12194 * 12194 * f2 * f2 / ((f2 + 20.6*20.6) * math.Sqrt((f2+107.7*107.7)*(f2+737.9*737.9)) * (f2 + 12194*12194))
		s.weight[k] = a * a
	}
	level := levels(dry, depthHop)
	re, im, frame := lines(), lines(), make([]float64, depthSize)
	add := func(sum []float64, at int, value func(i int) float64) {
		for i := range frame {
			frame[i] = window[i] * value(at+i)
		}
		tr.Forward(re, im, frame)
		fourier.AddPower(sum, re, im)
	}
	for k := int(from * audio.Rate / depthHop); k < int(to*audio.Rate/depthHop); k++ {
		if level[k] < loud || level[k+1] < loud {
			continue
		}
		add(s.dry, k*depthHop, func(i int) float64 { return dry[i] })
		add(s.noise, k*depthHop, func(i int) float64 { return noisy[i] - dry[i] })
		add(s.left, k*depthHop, func(i int) float64 { return got[i] })
		add(s.wrong, k*depthHop, func(i int) float64 { return got[i] - dry[i] })
	}
	return s
}

// weighted returns how far the sum of x, A-weighted, lies over that of y, dB.
func (s sounds) weighted(x, y []float64) float64 {
	a, b := 0.0, 0.0
	for k, w := range s.weight {
		a, b = a+w*x[k], b+w*y[k]
	}
	return 10 * math.Log10(a/b)
}

// reduced returns by how much the noise is softer where it is alone under the notes: in lines from
// 300 Hz to 10 kHz in which they lie 20 dB under it, at least fifty.
func (s sounds) reduced() (db float64, ok bool) {
	was, is, n := 0.0, 0.0, 0
	for k := 300 * depthSize / audio.Rate; k < 10000*depthSize/audio.Rate; k++ {
		if s.dry[k] < 0.01*s.noise[k] {
			was, is, n = was+s.noise[k], is+s.left[k], n+1
		}
	}
	return 10 * math.Log10(was/is), n >= 50
}

// expectDepth checks by the notes and the noise themselves how far the one is heard over the other, how
// deep the reduction is chosen, by how much the noise is softer under the playing, and by how much
// the whole is nearer to the notes. A reduction that is too weak leaves noise; one that is too strong
// goes below its floor, or takes from the notes what it wins on the noise.
func expectDepth(t *testing.T, name string, h mix.Heard, got, noisy, dry []float64) {
	t.Helper()
	s := soundsOf(got, noisy, dry, sampledFrom, sampledTo, slices.Max(levels(dry, depthHop))-30)
	depth := float64(h.Depth())
	// In more noise than this the notes alone are not what is heard as playing.
	if over := s.weighted(s.dry, s.noise); over >= 8 {
		if math.Abs(h.Playing.Distance-over) > 1 {
			t.Errorf("%s: heard %.1f dB over its noise, is %.1f dB over it", name, h.Playing.Distance, over)
		}
		// A decibel and a half for each that is missing to 26 dB, 16 at most: the README of mix.
		if want := min(max(1.5*(26-over), 0), 16); math.Abs(depth-want) > 1.5 {
			t.Errorf("%s: %.1f dB over its noise the depth is %.1f dB, want %.1f", name, over, depth, want)
		}
	}
	// Frames with an onset, and lines beside a note's, keep theirs: some decibels of the mean.
	if db, ok := s.reduced(); ok && (db < 0.55*depth || db > depth+0.5) {
		t.Errorf("%s: the noise is %.1f dB softer under the playing, at a depth of %.1f dB", name, db, depth)
	}
	// Before the first note nothing else sounds, and most of the depth is reached.
	before := soundsOf(got, noisy, dry, 2, sampledFrom-1, math.Inf(-1))
	if db, _ := before.reduced(); db < 0.75*depth || db > depth+0.5 {
		t.Errorf("%s: the noise is %.1f dB softer where nobody plays, at a depth of %.1f dB", name, db, depth)
	}
	if nearer := s.weighted(s.noise, s.wrong); nearer < 0.2*depth {
		t.Errorf("%s: reduced by %.1f dB it is only %.1f dB nearer to its notes", name, depth, nearer)
	}
}
