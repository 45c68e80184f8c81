package align

import "math"

// chromaFrames is how many frames of a file's harmony are looked at: of a long file not
// all.
const chromaFrames = 1200

// mostShift is the largest displacement in steps of [ChromaHop] whose harmony is compared:
// a part may be displaced from another base by as much again.
const mostShift = int(2 * breakReach / ChromaHop)

// breakHarmony returns how many nats a frame of a file speaks for a displacement when its
// harmony agrees wholly with that of the others there and not at all at the base place.
// Frames that are near each other say the same: the farther apart two displacements are,
// the longer they differ or agree together. It is 2*mean/variance of windows of 5 s, of
// 400 sampled files at their true places against displaced ones, with a tenth off.
func breakHarmony(displaced float64) float64 {
	return breakHarmonyFar + 0.25*math.Exp(-math.Abs(displaced)/0.3)
}

// breakHarmonyFar is [breakHarmony] of a part that is nowhere near.
const breakHarmonyFar = 0.15

// others returns what the harmony of the others says for a split, in nats: for one piece at the
// base place, and for the split against that.
func (s *breakScan) others(x split) float64 {
	if s.c.voices == 0 {
		return 0
	}
	return s.hear(x.first).with(s.hear(x.last), s.hear(0), s.frames(s.extraFrom(x)), s.frames(x.edge)) * s.weight()
}

// harmonyAt is the running sum of how well a displaced file agrees with the others, and what an
// agreement there is worth.
type harmonyAt struct {
	sum  []float64
	nats float64
}

// hear returns how well the file, displaced by so many seconds, agrees with the others.
func (s *breakScan) hear(by float64) harmonyAt { return harmonyAt{s.agreeing(by), breakHarmony(by)} }

// with returns what a split says whose first part lies as h up to frame cut, and whose second
// lies as last from frame edge on, where none is the file at its base place.
func (h harmonyAt) with(last, none harmonyAt, cut, edge int) float64 {
	far := breakHarmonyFar
	end := len(none.sum) - 1
	return far*none.sum[end] + h.nats*(h.sum[cut]-none.sum[cut]) + far*(none.sum[cut]-none.sum[edge]) +
		last.nats*(last.sum[end]-last.sum[edge]-none.sum[end]+none.sum[edge])
}

// weight turns sums of agreeing frames into those of all frames, of unit vectors; few
// others count less.
func (s *breakScan) weight() float64 {
	step := 1 + len(s.t.f.Chroma)/chromaFrames
	return float64(step) / 100 * float64(s.c.voices) / float64(s.c.voices+1)
}

// frames returns how many of the frames that are looked at come before a guide time of the
// base place.
func (s *breakScan) frames(guide float64) int {
	f := s.t.f
	step := 1 + len(f.Chroma)/chromaFrames
	n := (len(f.Chroma) + step - 1) / step
	file := (guide - s.o) / s.t.ratio()
	return int(math.Max(0, math.Min(float64(n), math.Ceil(file/ChromaHop/float64(step)))))
}

// agreeing returns the running sum of how well the file's harmony, displaced by d, goes with
// that of the others: of every frame that is looked at, of displacements in whole frames.
func (s *breakScan) agreeing(d float64) []float64 {
	shift := max(-mostShift, min(mostShift, int(math.Round(d/ChromaHop))))
	if sum := s.agreed[shift+mostShift]; sum != nil {
		return sum
	}
	unit, f, clock := s.c.units(), s.t.f, s.t.ratio()
	step := 1 + len(f.Chroma)/chromaFrames
	sum := make([]float64, 1, (len(f.Chroma)+step-1)/step+1)
	for i := 0; i < len(f.Chroma); i += step {
		v := sum[len(sum)-1]
		k := int(math.Round((s.o+float64(i)*ChromaHop*clock-s.g.start)/ChromaHop)) + shift
		if k >= 0 && k < len(unit) {
			u, c := &unit[k], &f.Chroma[i]
			for p := range u {
				v += u[p] * float64(c[p])
			}
		}
		sum = append(sum, v)
	}
	s.agreed[shift+mostShift] = sum
	return sum
}
