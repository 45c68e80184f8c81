package simulate

import (
	"math"
	"math/rand/v2"
)

// room is what walls add to a sound: a few early reflections and a tail.
type room struct {
	rt60   float64 // seconds in which the tail falls by 60 dB
	direct float64 // energy of the direct sound over that of the tail, dB
	dull   float64 // hertz from which the tail falls faster
}

// newRoom draws a room of the level: dry and small, a living room, a bare
// room, a church now and then.
func newRoom(r *rand.Rand, l Level) room {
	m := room{rt60: 0.2 + 0.1*r.Float64(), direct: 8 + 4*r.Float64(), dull: 3000 + 3000*r.Float64()}
	wide, near, church := r.Float64(), r.Float64(), r.Float64()
	switch {
	case l == Typical:
		m.rt60, m.direct = 0.2+0.5*wide, 2+8*near
	case l == Hard && church < 0.02:
		m.rt60, m.direct = 4, -3+6*near
	case l == Hard:
		m.rt60, m.direct = 0.3+0.5*wide, -1+8*near
	}
	return m
}

// lines is how many delays feed each other in the tail. A feedback delay
// network that exchanges them by an orthogonal matrix loses no energy but what
// the delays take (J.-M. Jot and A. Chaigne, AES 90th convention, 1991).
const lines = 8

// tail is the network.
type tail struct {
	line [lines][]float64
	at   [lines]int
	gain [lines]float64
	low  [lines]float64 // memory of the walls' low passes
	dull float64
}

// newTail returns the tail of a room at rate hertz, which dies away by 60 dB in m.rt60 seconds.
func newTail(r *rand.Rand, m room, rate int) *tail {
	t := &tail{dull: 1 - math.Exp(-2*math.Pi*m.dull/float64(rate))}
	for k := range t.line {
		// Paths of 3 to 15 m, no two alike.
		seconds := 0.009 * math.Pow(5, (float64(k)+0.6*r.Float64())/lines)
		t.line[k] = make([]float64, int(seconds*float64(rate))+1)
		t.gain[k] = math.Pow(10, -3*seconds/m.rt60)
	}
	return t
}

// next returns the tail's next sample after v came in.
func (t *tail) next(v float64) float64 {
	var out, sum float64
	var y [lines]float64
	for k := range t.line {
		s := t.line[k][t.at[k]]
		// Half of what the walls return is dull.
		t.low[k] += t.dull * (s - t.low[k])
		y[k] = t.gain[k] * (0.4*s + 0.6*t.low[k])
		sum += y[k]
		if k%2 == 0 {
			out += s
		} else {
			out -= s
		}
	}
	sum *= 2.0 / lines
	for k := range t.line {
		t.line[k][t.at[k]] = v + y[k] - sum // the Householder matrix
		if t.at[k]++; t.at[k] == len(t.line[k]) {
			t.at[k] = 0
		}
	}
	return out
}

// energy returns that of the tail's answer to one sample.
func (t *tail) energy(seconds float64, rate int) float64 {
	var e float64
	for i := range int(seconds * float64(rate)) {
		v := 0.0
		if i == 0 {
			v = 1
		}
		v = t.next(v)
		e += v * v
	}
	return e
}

// apply adds the room to x: a few single echoes from near walls, and the tail, as loud against
// the direct sound as m says.
func (m room) apply(r *rand.Rand, x []float64, rate int) {
	shape := r.Uint64()
	build := func() *tail { return newTail(rand.New(rand.NewPCG(shape, 1)), m, rate) }
	wet := math.Sqrt(math.Pow(10, -m.direct/10) / math.Max(1e-12, build().energy(m.rt60, rate)))
	type echo struct {
		delay int
		gain  float64
	}
	echoes := make([]echo, 4+r.IntN(5))
	reach := 1
	for k := range echoes {
		e := echo{1 + int((0.002+0.028*r.Float64())*float64(rate)), math.Pow(10, (-22+13*r.Float64())/20)}
		if r.IntN(2) == 0 {
			e.gain = -e.gain
		}
		echoes[k], reach = e, max(reach, e.delay)
	}
	past := make([]float64, reach+1)
	t, at := build(), 0
	for i, v := range x {
		past[at] = v
		y := v + wet*t.next(v)
		for _, e := range echoes {
			k := at - e.delay
			if k < 0 {
				k += len(past)
			}
			y += e.gain * past[k]
		}
		x[i] = y
		if at++; at == len(past) {
			at = 0
		}
	}
}
