package follow

import (
	"errors"
	"fmt"

	"ripieno/mix/tempo"
)

// closest is how near two beats may be, in seconds: nobody conducts 1200 a minute.
const closest = 0.05

// Bare returns a spec without its tempos and holds, for a piece whose beats are known as
// times. speed is what it says of the tempo it begins with, in quarter notes a minute; 0 for
// nothing. The tempo of the spec that is returned means nothing.
func Bare(spec tempo.Spec) (bare tempo.Spec, speed float64) {
	bare = spec
	bare.Changes, bare.Holds = nil, nil
	for i, c := range spec.Changes {
		if i == 0 {
			unit := c.Beat
			if unit.IsZero() {
				unit = c.Meter.Unit()
			}
			speed = c.BPM * unit.Quarters()
		}
		if c.Meter.IsZero() && i > 0 {
			continue
		}
		bare.Changes = append(bare.Changes, tempo.Change{Measure: c.Measure, Meter: c.Meter})
	}
	if len(bare.Changes) > 0 {
		bare.Changes[0].BPM, bare.Changes[0].Beat = 60, tempo.Unit{Num: 1, Den: 4}
	}
	bare.CountIn.Speed = 0
	return bare, speed
}

// MeasuresOf returns how many whole measures a number of beats fill, the pick-up's among
// them; 0 when they fill none. The meters are those of the spec's changes.
func MeasuresOf(spec tempo.Spec, beats int) int {
	left := beats - int(spec.PickUp)
	var meter tempo.Meter
	n := 0
	for i := 0; n < tempo.MaxMeasures; n++ {
		for ; i < len(spec.Changes) && spec.Changes[i].Measure <= n+1; i++ {
			if m := spec.Changes[i].Meter; !m.IsZero() {
				meter = m
			}
		}
		if left -= meter.Beats(); meter.IsZero() || left < 0 {
			break
		}
	}
	return n
}

// Place is a beat of a piece.
type Place struct {
	tempo.Position
	Quarter float64
}

// Places returns all beats of a piece in order, without its count-in, and its end.
func Places(m *tempo.Map) []Place {
	var list []Place
	for b := range m.Beats() {
		if !b.CountIn {
			q := m.QuartersAt(b.Seconds)
			list = append(list, Place{m.PositionAt(q), q})
		}
	}
	q, _ := m.Quarters(tempo.Position{Measure: m.Measures() + 1, Beat: 1}) // every map has its end
	return append(list, Place{tempo.Position{Measure: m.Measures() + 1, Beat: 1}, q})
}

// Clock returns spec with the tempo that its beats have: times are those of all beats of
// the piece in order, from its first one on, and of its end, which may be missing; more
// are left out. Where the first beat is in guide time follows from the count-in, whose
// tempo is that of the piece's first measure. Too few beats, and beats that do not follow
// one another, are errors.
func Clock(spec tempo.Spec, times []float64) (tempo.Spec, error) {
	out, _ := Bare(spec)
	m, err := tempo.New(out)
	if err != nil {
		return out, err
	}
	places := Places(m)
	if len(times) < max(2, len(places)-1) {
		return out, tooFew(places, len(times))
	}
	times = append([]float64(nil), times[:min(len(times), len(places))]...)
	if n := len(times); n < len(places) { // the last beat is as fast as the one before
		speed := (places[n-1].Quarter - places[n-2].Quarter) / (times[n-1] - times[n-2])
		times = append(times, times[n-1]+(places[n].Quarter-places[n-1].Quarter)/speed)
	}
	meters := out.Changes[1:]
	out.Changes = out.Changes[:1]
	for i, p := range places[:len(places)-1] {
		length := times[i+1] - times[i]
		if !(length >= closest) {
			return out, fmt.Errorf("beat %g of measure %d is at %.3f s and the next at %.3f s", p.Beat, p.Measure,
				times[i],
				times[i+1])
		}
		c := tempo.Change{Measure: p.Measure, At: p.Beat, Beat: tempo.Unit{Num: 1, Den: 4},
			BPM: 60 * (places[i+1].Quarter - p.Quarter) / length}
		for len(meters) > 0 && meters[0].Measure <= p.Measure {
			c.Meter, meters = meters[0].Meter, meters[1:]
		}
		if first := &out.Changes[0]; i == 0 {
			first.BPM = c.BPM // before it there may be part of a beat
			if first.Measure == c.Measure && c.At == 1 {
				continue
			}
		}
		out.Changes = append(out.Changes, c)
	}
	n := min(m.Meter(1).Beats(), len(places)-1)
	out.CountIn.Speed = 60 * (places[n].Quarter - places[0].Quarter) / (times[n] - times[0])
	return out, nil
}

// tooFew says which beats are missing.
func tooFew(places []Place, have int) error {
	if have == 0 {
		return errors.New("there are no beats")
	}
	p := places[min(have, len(places)-1)]
	return fmt.Errorf("there are %d beats, and the piece has %d: from beat %g of measure %d on they are missing", have,
		len(places)-1, p.Beat, p.Measure)
}
