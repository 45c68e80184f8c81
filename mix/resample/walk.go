package resample

import (
	"math"

	"ripieno/mix/audio"
)

// walk gives the place of every output frame in the source and the filter to
// read it with.
type walk interface {
	// reach is the filter's length and how much of it lies before a position.
	reach() (taps, left int)
	// exact is the source position of output frame n.
	exact(n int64) float64
	// frame is its whole part.
	frame(n int64) int64
	// run computes output frames n, n+1, … into dst while there is room and
	// x, whose first frame is source frame start, reaches far enough, and
	// returns how many. Positions at or beyond limit are not computed.
	run(dst, x audio.Block, start, n int64, limit float64) int
}

// drifting walks in steps that no small fraction describes: the filter's
// coefficients lie on a straight line between two rows of a table.
type drifting struct {
	table       *table
	first, step float64
	spots       []spot
}

// reach returns how many input frames an output frame needs, and how many of them
// lie before its place.
func (d *drifting) reach() (taps, left int) { return d.table.taps, d.table.left() }

// exact returns the place of output frame n in the input, in frames.
func (d *drifting) exact(n int64) float64 { return d.first + float64(n)*d.step }

// frame returns the input frame at or before the place of output frame n.
func (d *drifting) frame(n int64) int64 { return int64(math.Floor(d.exact(n))) }

// run fills dst from output frame n on as far as x, which begins at input frame
// start, reaches.
func (d *drifting) run(dst, x audio.Block, start, n int64, limit float64) int {
	t := d.table
	offset := int64(t.left()) + start
	have, room := x.Frames(), dst.Frames()
	d.spots = d.spots[:0]
	for k := range room {
		p := d.exact(n + int64(k))
		if p >= limit {
			break
		}
		whole := math.Floor(p)
		i := int(int64(whole) - offset)
		if i+t.taps > have {
			break
		}
		place := (p - whole) * float64(t.phases)
		at := min(int(place), t.phases-1)
		d.spots = append(d.spots, spot{i, at * t.taps, place - float64(at)})
	}
	for c := range x {
		pick(dst[c], x[c], t.rows, d.spots, t.taps)
	}
	return len(d.spots)
}

// fixed walks in steps of a small fraction m/l of a source sample: only l
// phases ever occur, each has its own exact row, and integers count the
// position.
type fixed struct {
	kernel
	m, l  int64
	whole int64   // frame of output 0
	part  float64 // and what lies beyond it
	carry []int64 // by phase: 1 where part + phase/l reaches the next frame
	rows  []float64
	same  bool // rates equal, no fraction: samples are copied
}

// A fixed walk is made up to these sizes; 44.1 to 48 kHz needs 160 phases,
// 11.025 to 192 kHz 2560. Odder pairs of rates are walked as if drifting.
const (
	mostPhases       = 2560
	mostCoefficients = 1 << 19
)

// newFixed returns nil when the two rates need too many phases.
func newFixed(from, to int, first float64) *fixed {
	g := audio.GCD(from, to)
	f := &fixed{kernel: direct(from, to), m: int64(from / g), l: int64(to / g)}
	f.taps = (f.taps + 7) / 8 * 8
	if f.l > mostPhases || f.l*int64(f.taps) > mostCoefficients {
		return nil
	}
	if near := math.Round(first); math.Abs(first-near) < edge {
		first = near
	}
	f.whole = int64(math.Floor(first))
	f.part = first - math.Floor(first)
	if f.m == f.l && f.part == 0 {
		f.same = true
		f.taps = 2
		return f
	}
	f.carry = make([]int64, f.l)
	f.rows = make([]float64, int(f.l)*f.taps)
	for r := range f.l {
		p := f.part + float64(r)/float64(f.l)
		if p >= 1 {
			f.carry[r] = 1
			p--
		}
		f.row(f.rows[int(r)*f.taps:(int(r)+1)*f.taps], p)
	}
	return f
}

// reach returns how many input frames an output frame needs, and how many of them
// lie before its place.
func (f *fixed) reach() (taps, left int) { return f.taps, f.left() }

// exact returns the place of output frame n in the input, in frames. Whole numbers
// keep it exact.
func (f *fixed) exact(n int64) float64 {
	q := n * f.m
	return float64(f.whole+q/f.l) + (f.part + float64(q%f.l)/float64(f.l))
}

// frame returns the input frame at or before the place of output frame n.
func (f *fixed) frame(n int64) int64 {
	q := n * f.m
	if f.same {
		return f.whole + n
	}
	return f.whole + q/f.l + f.carry[q%f.l]
}

// run fills dst from output frame n on as far as x, which begins at input frame
// start, reaches.
func (f *fixed) run(dst, x audio.Block, start, n int64, limit float64) int {
	have, room := x.Frames(), dst.Frames()
	if f.same {
		return f.copy(dst, x, start, n, limit)
	}
	for k := range room {
		at := n + int64(k)
		i := int(f.frame(at) - int64(f.left()) - start)
		if i+f.taps > have || f.exact(at) >= limit {
			return k
		}
		r := int(at * f.m % f.l)
		row := f.rows[r*f.taps : (r+1)*f.taps]
		for c := range x {
			dst[c][k] = dot(x[c][i:i+f.taps], row)
		}
	}
	return room
}

// copy returns run where every output frame is a source frame.
func (f *fixed) copy(dst, x audio.Block, start, n int64, limit float64) int {
	i := int(f.frame(n) - int64(f.left()) - start)
	k := min(dst.Frames(), x.Frames()-f.taps-i+1)
	if left := math.Ceil(limit - f.exact(n)); left < float64(k) {
		k = int(left)
	}
	if k <= 0 {
		return 0
	}
	for c := range x {
		copy(dst[c][:k], x[c][i:i+k])
	}
	return k
}
