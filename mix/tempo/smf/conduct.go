package smf

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"ripieno/mix/tempo"
)

// conductor writes the tempo track: it follows the clock of a player of the
// file and corrects it against the map.
type conductor struct {
	m     *tempo.Map
	parts int
	begin float64 // quarter of tick 0
	end   int64   // tick of the end
	track stream

	micro   int64   // tempo in force, 0 before the first
	elapsed float64 // what a player's clock shows at the last boundary, seconds
}

// point is a place where the file's clock is made to agree with the map.
type point struct {
	tick    int64
	seconds float64 // of the map; where there is a hold, before it
	hold    bool
	stage   bool // a barline, a hold or the pulse after one: see conduct
}

const (
	// slack is the error in seconds that a step may leave rather than need a
	// tempo event of its own.
	slack = 9e-6
	// exact is how far a click may be from the map, start error included.
	exact = 10e-6
	// bend is how far a step between two pulses may be from straight before
	// it is split. No click lies there, and nobody hears half a millisecond;
	// players that keep time in whole milliseconds lose some at each tempo
	// event, so fewer are better.
	bend = 0.5e-3
	// shortest is the shortest step of a ramp in ticks, 1/16 quarter.
	shortest = division / 16
)

// tick returns the tick nearest to a place in the piece.
func (t *conductor) tick(quarter float64) int64 {
	return int64(math.Round((quarter - t.begin) * division))
}

// seconds returns the map's time at a tick.
func (t *conductor) seconds(tick int64) float64 {
	return t.m.SecondsAt(t.begin + float64(tick)/division)
}

// quartersAtEnd returns the place after the last measure.
func (t *conductor) quartersAtEnd() float64 {
	q, err := t.m.Quarters(tempo.Position{Measure: t.m.Measures() + 1, Beat: 1})
	if err != nil {
		return t.begin // cannot be: every map has this place
	}
	return q
}

// conduct writes the names, time signatures and tempos.
func (t *conductor) conduct(title string) error {
	t.track.name(title)
	if err := t.signatures(); err != nil {
		return err
	}
	points, err := t.points()
	if err != nil {
		return err
	}
	for i := 0; i < len(points)-1; {
		j := i + 1
		for !points[j].stage {
			j++
		}
		if err := t.measure(points[i : j+1]); err != nil {
			return err
		}
		i = j
	}
	return nil
}

// measure goes through one stage: in one step where the tempo is constant, so
// that plain pieces have plain files, else from pulse to pulse.
func (t *conductor) measure(stage []point) error {
	first, last := stage[0], stage[len(stage)-1]
	// A hold is not straight by nature: it is one slow step.
	if first.hold || t.straight(first.tick, last.tick, last.seconds, exact) {
		return t.step(first.tick, last.tick, last.seconds)
	}
	for i, p := range stage[1:] {
		if err := t.walk(stage[i].tick, p.tick, p.seconds); err != nil {
			return err
		}
	}
	return nil
}

// signatures writes a time signature where the guide begins and where the
// meter changes.
func (t *conductor) signatures() error {
	spec := t.m.Spec()
	last := t.m.Meter(1)
	if spec.CountIn.Measures == 0 && t.begin < 0 {
		// The pick-up is a short measure of its own.
		upper := -t.begin * 16
		if upper != math.Trunc(upper) || upper > 64 {
			return fmt.Errorf("a pick-up of %.6g quarter notes has no time signature", -t.begin)
		}
		// Counted in 64ths and reduced as far as quarters.
		lower := int64(64)
		n := int64(upper)
		for ; n%2 == 0 && lower > 4; n, lower = n/2, lower/2 {
		}
		t.signature(0, byte(n), byte(lower), tempo.Unit{Num: 1, Den: int(lower)})
		t.meter(t.tick(0), last)
	} else {
		t.meter(0, last)
	}
	for n := 2; n <= t.m.Measures(); n++ {
		if m := t.m.Meter(n); m != last {
			q, err := t.m.Quarters(tempo.Position{Measure: n, Beat: 1})
			if err != nil {
				return err
			}
			t.meter(t.tick(q), m)
			last = m
		}
	}
	return nil
}

// meter writes a meter as a time signature, whose click is the beat that is counted.
func (t *conductor) meter(tick int64, m tempo.Meter) {
	upper, lower := m.Fraction()
	t.signature(tick, byte(upper), byte(lower), m.Unit())
}

// signature writes FF 58 04 nn dd cc bb: upper number, exponent of the lower one,
// MIDI clocks (24 in a quarter) per click, 32nd notes in a quarter.
func (t *conductor) signature(tick int64, upper, lower byte, beat tempo.Unit) {
	exponent := byte(0)
	for l := lower; l > 1; l /= 2 {
		exponent++
	}
	clocks := byte(min(max(math.Round(beat.Quarters()*24), 1), 255))
	t.track.add(tick, 0xff, 0x58, 0x04, upper, exponent, clocks, 8)
}

// points lists the pulses and, for each hold, its place and that of the next
// pulse.
func (t *conductor) points() ([]point, error) {
	points := []point{{stage: true}, {tick: t.end, seconds: t.seconds(t.end), stage: true}}
	for b := range t.m.Pulses(math.Inf(-1), math.Inf(1), t.parts) {
		points = append(points, point{tick: t.tick(t.m.QuartersAt(b.Seconds)), seconds: b.Seconds, stage: b.Downbeat})
	}
	for _, h := range t.m.Spec().Holds {
		at, err := t.m.Seconds(h.At)
		if err != nil {
			return nil, err
		}
		tick := t.tick(t.m.QuartersAt(at))
		if tick >= t.end {
			continue // nothing follows it
		}
		points = append(points, point{tick, at, true, true})
		for b := range t.m.Pulses(at+h.Seconds, math.Inf(1), t.parts) {
			if next := t.tick(t.m.QuartersAt(b.Seconds)); next > tick {
				points = append(points, point{tick: next, seconds: b.Seconds, stage: true})
				break
			}
		}
	}
	// Of points at one tick that of a hold stays, else one that is a stage.
	rank := func(p point) int64 {
		switch {
		case p.hold:
			return 0
		case p.stage:
			return 1
		}
		return 2
	}
	slices.SortStableFunc(points, func(a, b point) int {
		if a.tick == b.tick {
			return cmp.Compare(rank(a), rank(b))
		}
		return cmp.Compare(a.tick, b.tick)
	})
	return slices.CompactFunc(points, func(a, b point) bool { return a.tick == b.tick }), nil
}

// walk goes from one tick to another, at which the map shows target, in as
// few steps as keep to the map on the way.
func (t *conductor) walk(from, to int64, target float64) error {
	if to-from > shortest && !t.straight(from, to, target, bend) {
		middle := (from + to) / 2
		if err := t.walk(from, middle, t.seconds(middle)); err != nil {
			return err
		}
		return t.walk(middle, to, target)
	}
	return t.step(from, to, target)
}

// straight reports whether the map stays within some seconds of a constant
// tempo between two ticks.
func (t *conductor) straight(from, to int64, target, within float64) bool {
	begin := t.elapsed
	for i := int64(1); i < 8; i++ {
		tick := from + (to-from)*i/8
		line := begin + (target-begin)*float64(tick-from)/float64(to-from)
		if math.Abs(t.seconds(tick)-line) > within {
			return false
		}
	}
	return true
}

// step goes to the target in one tempo: the one in force if that ends near enough. It fails
// where no tempo of a MIDI file is slow enough.
func (t *conductor) step(from, to int64, target float64) error {
	quarters := float64(to-from) / division
	if end := t.elapsed + quarters*float64(t.micro)*1e-6; t.micro == 0 || math.Abs(end-target) > slack {
		micro := math.Round((target - t.elapsed) / quarters * 1e6)
		if micro > 0xffffff {
			p := t.m.PositionAt(t.begin + float64(from)/division)
			return fmt.Errorf("%v: a quarter note of %.1f s is longer than a MIDI file can say (16.7 s)", p, micro*1e-6)
		}
		t.micro = int64(max(micro, 1))
		t.track.add(from, 0xff, 0x51, 0x03, byte(t.micro>>16), byte(t.micro>>8), byte(t.micro))
	}
	t.elapsed += quarters * float64(t.micro) * 1e-6
	return nil
}
