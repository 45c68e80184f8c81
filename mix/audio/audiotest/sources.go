package audiotest

import (
	"math/rand/v2"

	"ripieno/mix/audio"
)

// Failing is a source that gives Err after Left frames.
type Failing struct {
	audio.Source
	Left int
	Err  error
}

// Read reads from the source until the frames are used up.
func (f *Failing) Read(dst audio.Block) (int, error) {
	if f.Left <= 0 {
		return 0, f.Err
	}
	n, err := f.Source.Read(dst.Slice(0, min(dst.Frames(), f.Left)))
	f.Left -= n
	return n, err
}

// Pink returns n samples of seeded noise that falls by 3 dB an octave (Kellet's
// filter of three poles, from memory; its exact slope does not matter here).
// Other streams of one seed are other noise.
func Pink(seed, stream uint64, level float64, n int) []float64 {
	rng := rand.New(rand.NewPCG(seed, stream))
	x := make([]float64, n)
	var a, b, c float64
	for i := range x {
		w := rng.NormFloat64()
		a = 0.99765*a + w*0.0990460
		b = 0.96300*b + w*0.2965164
		c = 0.57000*c + w*1.0526913
		x[i] = level * (a + b + c + w*0.1848)
	}
	return x
}
