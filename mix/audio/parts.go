package audio

import "math"

// Part is a stretch of a recording that is one piece of time. File seconds From to To
// are whole seconds From+Shift to To+Shift.
type Part struct {
	From, To float64 // seconds of the file; To is +Inf for one that goes to its end
	Shift    float64 // seconds
}

// Parts tie a recording's own time to whole time, that of a recording as it would be
// had nothing been lost or put in: what lies in no part is left out, and what no part
// has is missing. No parts at all stand for a recording that is one piece of time. They
// are in order and do not overlap, neither in the file nor in whole time.
type Parts []Part

// Break returns the two parts of a file that is broken at a second of it, where whole
// time runs on by jump seconds. Negative: from there on the file has so much too much.
func Break(at, jump float64) Parts {
	return Parts{{From: 0, To: at}, {From: at + math.Max(0, -jump), To: math.Inf(1), Shift: jump}}
}

// LeastPart is how long a part of a recording is at least, in seconds: its fades at both
// ends, and as much between them.
const LeastPart = 3 * Crossfade

// BreakAt returns p with one more break at a second of its whole time, as [Break]; length
// is that of the file in seconds. It reports false, and returns p, where that would leave
// a part shorter than [LeastPart], none of a part, or a part beyond the file.
func (p Parts) BreakAt(at, jump, length float64) (Parts, bool) {
	broken := p.Apply(Break(at, jump))
	if math.IsNaN(at+jump) || math.IsInf(at+jump, 0) || len(broken) != max(1, len(p))+1 {
		return p, false
	}
	end := math.Inf(-1)
	for _, x := range broken {
		// Whole time has begun at 0 and goes on; what a part has before is cut off.
		from := max(x.From, end-x.Shift, -x.Shift)
		end = min(x.To, length) + x.Shift
		if !(end-x.Shift-from >= LeastPart) {
			return p, false
		}
	}
	return broken, true
}

// Whole returns the whole time at file time t. Between two parts it is the end of the
// first.
func (p Parts) Whole(t float64) float64 {
	if len(p) == 0 {
		return t
	}
	whole := t + p[0].Shift
	for _, x := range p {
		if t < x.From {
			break
		}
		whole = math.Min(t, x.To) + x.Shift
	}
	return whole
}

// File returns the file time at whole time u. Where nothing was recorded it is the end
// of the part before.
func (p Parts) File(u float64) float64 {
	if len(p) == 0 {
		return u
	}
	file := u - p[0].Shift
	for _, x := range p {
		if u < x.From+x.Shift {
			break
		}
		file = math.Min(u-x.Shift, x.To)
	}
	return file
}

// Missing returns how many seconds of whole time lie between the parts and were not
// recorded.
func (p Parts) Missing() float64 {
	var sum float64
	for i := 1; i < len(p); i++ {
		sum += p[i].From + p[i].Shift - p[i-1].To - p[i-1].Shift
	}
	return sum
}

// Apply returns the parts of a recording that has parts p after its own break into
// parts q in the whole time of p: as if each had been found after the other.
func (p Parts) Apply(q Parts) Parts {
	if len(p) == 0 {
		return q
	}
	var out Parts
	for _, x := range p {
		for _, y := range q {
			from, to := math.Max(x.From, y.From-x.Shift), math.Min(x.To, y.To-x.Shift)
			if to > from {
				out = append(out, Part{From: from, To: to, Shift: x.Shift + y.Shift})
			}
		}
	}
	return out
}
