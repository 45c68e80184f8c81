package align

import (
	"math"
	"math/cmplx"
	"math/rand/v2"
	"testing"
)

// heardLow are the cross spectra of a player who talks first and then plays low notes, with line l
// between the two devices, and where each stretch by itself would lie: of all frequencies for eight
// seconds and in one second of six after that, of a few low ones in the others. One microphone lacks
// the lows: two poles at 130 Hz, above which its phase leads by about √2·130/f. Phases scatter by
// spread; sign is −1 where it is wired the other way round.
func heardLow(r *rand.Rand, l line, sign, spread float64) (s turns, x, y []float64) {
	const bin = 1.0 // hertz
	s.unit = 2 * math.Pi * bin
	for at := 0.5; at < 40; at++ {
		hertz := []float64{1000, 6000}
		if at > 8 && int(at)%6 > 0 {
			hertz = []float64{150, 500}
		}
		s.at, s.from = append(s.at, at), append(s.from, len(s.bin))
		var sum, square float64
		for f := hertz[0]; f < hertz[1]; f += 3 {
			phase := 2*math.Pi*f*l.value(at) + math.Sqrt2*130/f + spread*r.NormFloat64()
			s.bin, s.turn = append(s.bin, int32(f)), append(s.turn, complex64(complex(sign, 0)*cmplx.Rect(1, phase)))
			sum, square = sum+f*(phase-2*math.Pi*f*l.value(at)), square+f*f
		}
		x, y = append(x, at), append(y, l.value(at)+sum/square/(2*math.Pi))
	}
	s.from = append(s.from, len(s.bin))
	return s, x, y
}

// What tells a moment better counts for more: stretches of low notes, which a microphone moves by a
// tenth of a millisecond, may not tilt the line of the others.
func TestPhasesOfLowNotes(t *testing.T) {
	want := line{at: 40e-6, slope: -1.5e-6}
	for seed := range uint64(5) {
		for _, sign := range []float64{1, -1} {
			s, x, y := heardLow(rand.New(rand.NewPCG(15, seed)), want, sign, 0.3)
			got, ok := s.line()
			each := fitLine(x, y, nil, 2e-5)
			for _, at := range []float64{0, 40} {
				if off := got.value(at) - want.value(at); !ok || math.Abs(off) > 0.02e-3 {
					t.Errorf("sign %g: %.1f microseconds off at %g s", sign, 1e6*off, at)
				}
			}
			if off := each.value(40) - want.value(40); math.Abs(off) < 0.05e-3 {
				t.Errorf("each stretch alike is %.1f microseconds off only: nothing is shown here", 1e6*off)
			}
		}
	}
}

// Nothing, and what lies at one moment, gives no line.
func TestTurnsWithoutALine(t *testing.T) {
	none := turns{from: []int{0}, unit: 1}
	if l, ok := none.line(); ok {
		t.Errorf("of nothing: %+v", l)
	}
	once := turns{at: []float64{3, 3, 3, 3}, from: []int{0, 1, 2, 3, 4}, bin: []int32{9, 9, 9, 9},
		turn: []complex64{1, 1, 1, 1}, unit: 6}
	if l, ok := once.line(); ok {
		t.Errorf("of one moment: %+v", l)
	}
}
