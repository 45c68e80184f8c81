package align

import (
	"math"
	"slices"
)

// hinted returns the splits of a break that something else shows.
func (s *breakScan) hinted(h Hint) []split {
	if math.IsNaN(h.At) {
		return s.somewhere(h)
	}
	edge := s.o + (h.At+math.Max(0, -h.Jump))*s.t.ratio()
	if edge < s.from-breakSide || edge > s.to+breakSide {
		return nil
	}
	out := []split{{edge: edge, last: h.Jump, by: h.By, at: h.At}, {edge: edge, first: -h.Jump, by: h.By, at: h.At}}
	if h.By == "device" {
		out = append(out, s.nearBy(h)...)
	}
	for i := range out {
		switch h.By {
		case "picture": // whose frames tell it to a twentieth of a second
			out[i] = s.tuned(out[i])
		case "silence":
			out[i] = s.rounded(out[i])
		default:
			out[i].v = s.weighed(out[i])
		}
	}
	return out
}

// holeBeside is how far from a hole of the picture a break lies that is none beside it, in seconds.
const holeBeside = 1.0

// deniesHole reports whether a split has another jump where the picture has no frames for as long
// as the sound lacks: of two such holes the playing may show the sum at the first.
func (s *breakScan) deniesHole(x split, hints []Hint) bool {
	at := (s.extraFrom(x) - s.o) / s.t.ratio()
	return x.by != "picture" && slices.ContainsFunc(hints, func(h Hint) bool {
		return h.By == "picture" && math.Abs(at-h.At) < holeBeside && math.Abs(x.jump()-h.Jump) > breakApart
	})
}

// mayBeASum reports whether the jump of a split may be that of two breaks together: the picture
// without a hole tells how long it is, and between the player's two devices there is another one.
func (x split) mayBeASum(hints []Hint) bool {
	return x.by == "picture" && math.IsNaN(x.at) && slices.ContainsFunc(hints, func(h Hint) bool {
		return h.By == "device" && math.Abs(x.jump()-h.Jump) > breakApart
	})
}

// nearBy returns the splits of a step between two devices, whose place they tell to some
// seconds, at the splices there and at a silence that is as long.
func (s *breakScan) nearBy(h Hint) []split {
	var out []split
	add := func(edge, over float64) {
		out = append(out, split{edge: edge, last: h.Jump, by: h.By, at: h.At, over: over},
			split{edge: edge, first: -h.Jump, by: h.By, at: h.At, over: over})
	}
	for _, x := range s.splices {
		if math.Abs(x.at-h.At) > stepNear {
			continue
		}
		if add(s.edgeAt(x.at), x.over); h.Jump < 0 {
			add(s.edgeAt(x.at)-h.Jump, x.over)
		}
	}
	for _, x := range s.silences() {
		if math.Abs(x.At-h.At) < stepNear && math.Abs(x.Jump-h.Jump) < 2*levelHop {
			add(s.edgeAt(x.At)-h.Jump, spliceMost)
		}
	}
	return out
}

// rounded returns the split of a silence, whose length is known to a step of the level, with
// the length round it that fits best.
func (s *breakScan) rounded(x split) split {
	x.v = s.weighed(x)
	best := x
	for _, d := range [...]float64{-levelHop, -levelHop / 2, levelHop / 2, levelHop} {
		y := x
		if y.first == 0 {
			y.last += d
		} else {
			y.first -= d
		}
		if y.v = s.weighed(y); y.v > best.v {
			best = y
		}
	}
	return best
}

// somewhere returns the likeliest split of a jump that is known, but not where it is: at a
// splice, if that is likely.
func (s *breakScan) somewhere(h Hint) []split {
	best := split{v: math.Inf(-1)}
	try := func(edge, over float64) {
		for _, x := range [...]split{{edge: edge, last: h.Jump}, {edge: edge, first: -h.Jump}} {
			x.by, x.at, x.over = h.By, h.At, over
			if x.v = s.weighed(x); x.v+spliceNats(over) > best.v+spliceNats(best.over) {
				best = x
			}
		}
	}
	for _, edge := range s.edges() {
		try(edge, 0)
	}
	for _, x := range s.splices {
		try(s.edgeAt(x.at), x.over)
	}
	if math.IsInf(best.v, -1) {
		return nil
	}
	return []split{s.tuned(best)}
}

// silences returns the sections inside the file that are digitally silent, as breaks:
// what a recorder writes when it has nothing to write.
func (s *breakScan) silences() []Hint {
	f := s.t.f
	most := s.silenceBelow()
	var out []Hint
	from := -1
	for i := range f.Level {
		if float64(f.Level[i])/2-120 <= most {
			if from < 0 {
				from = i
			}
			continue
		}
		if from > 0 {
			// The steps at both ends are silent in part.
			out = append(out, Hint{
				At: (float64(from) - 0.5) * levelHop, Jump: -float64(i-from+1) * levelHop, By: "silence",
			})
		}
		from = -1
	}
	if len(out) > mostSilences {
		return nil // a gate
	}
	return out
}
