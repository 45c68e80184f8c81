package loudness

import "math"

// Gate gathers the energies of equally long measuring blocks and answers what
// is loud enough to count. It keeps a histogram with the exact energy sum of
// every bin, so its size does not depend on the length of the programme; only
// blocks within half a bin (0.01 LU) of a gate can fall on the wrong side.
//
// The zero value is ready to use.
type Gate struct {
	bins []bin
}

type bin struct {
	count int64
	sum   float64
}

const (
	absoluteGate = -70.0 // LUFS, BS.1770-4 annex 1 and Tech 3342
	binWidth     = 0.02  // LU
	binCount     = 5500  // up to +40 LUFS; what is louder counts as its own energy in the last bin
)

// Add counts one block with mean weighted energy z. Blocks at or below the
// absolute gate of −70 LUFS are not kept.
func (g *Gate) Add(z float64) {
	l := float64(OfEnergy(z))
	if !(l > absoluteGate) || math.IsInf(l, 1) {
		return
	}
	if g.bins == nil {
		g.bins = make([]bin, binCount)
	}
	b := &g.bins[min(int((l-absoluteGate)/binWidth), binCount-1)]
	b.count++
	b.sum += z
}

// mean returns the average energy of all blocks in bins whose own average is above
// floor, and their number.
func (g *Gate) mean(floor float64) (z float64, count int64) {
	var sum float64
	for _, b := range g.bins {
		if b.count > 0 && b.sum > floor*float64(b.count) {
			sum += b.sum
			count += b.count
		}
	}
	if count == 0 {
		return 0, 0
	}
	return sum / float64(count), count
}

// Integrated returns the gated loudness of all blocks: those above −70 LUFS give a
// mean, those above 10 LU under that mean give the result (BS.1770-4 annex 1).
// −Inf when no block passed.
func (g *Gate) Integrated() LUFS {
	all, n := g.mean(0)
	if n == 0 {
		return Silence
	}
	z, _ := g.mean(all * math.Pow(10, -10.0/10))
	return OfEnergy(z)
}

// Range returns the loudness range of the blocks, which must be 3 s long: the
// distance from the 10th to the 95th percentile of those above −70 LUFS and
// above 20 LU under their mean (EBU Tech 3342 section 3). 0 without blocks.
func (g *Gate) Range() LU {
	all, n := g.mean(0)
	if n == 0 {
		return 0
	}
	floor := all * math.Pow(10, -20.0/10)
	_, n = g.mean(floor)
	return LU(g.percentile(floor, n, 0.95) - g.percentile(floor, n, 0.10))
}

// percentile returns the loudness of the block at rank round((n−1)·p) from below
// among the n blocks above floor, as the reference code of Tech 3342 ranks.
func (g *Gate) percentile(floor float64, n int64, p float64) LUFS {
	rank := int64(math.Round(float64(n-1) * p))
	for _, b := range g.bins {
		if b.count == 0 || b.sum <= floor*float64(b.count) {
			continue
		}
		if rank -= b.count; rank < 0 {
			return OfEnergy(b.sum / float64(b.count))
		}
	}
	return Silence
}
