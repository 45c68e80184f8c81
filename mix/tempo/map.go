package tempo

import (
	"fmt"
	"math"
	"slices"
	"sort"
	"strconv"
)

// snap is the distance in quarters within which a time counts as being on a
// beat. It is some 10,000 times less than a sample at any tempo and larger
// than the rounding of the closed forms.
const snap = 1e-9

// Map converts between positions and guide time. It is immutable.
type Map struct {
	spec     Spec
	first    Meter   // of measure 1, the count-in and the pick-up
	pickUp   float64 // quarters
	begin    float64 // quarter where guide time is 0, at most 0
	end      float64 // quarter after the last measure
	runs     []run
	segments []segment
	cue      float64 // seconds, NaN without a count-in
}

// run is a stretch of measures in one meter.
type run struct {
	measure int
	quarter float64
	meter   Meter
}

// segment is a stretch of constant or linearly changing tempo. The last one
// has no end.
type segment struct {
	quarter float64 // where it begins
	seconds float64 // guide time there, after any hold
	speed   float64 // quarters a minute there
	slope   float64 // quarters a minute gained per quarter; 0: constant
	hold    float64 // seconds that pass at the beginning, before seconds
}

// after returns the time in seconds that r quarters from the beginning take.
func (s segment) after(r float64) float64 {
	x := s.slope * r / s.speed
	if math.Abs(x) < 1e-9 {
		// log1p(x)/x = 1 − x/2 + O(x²): x² is below the resolution here.
		return 60 * r / s.speed * (1 - x/2)
	}
	return 60 * r / s.speed * math.Log1p(x) / x
}

// quartersAfter returns the inverse of after.
func (s segment) quartersAfter(t float64) float64 {
	y := s.slope * t / 60
	if math.Abs(y) < 1e-9 {
		return s.speed * t / 60 * (1 + y/2)
	}
	return s.speed * t / 60 * math.Expm1(y) / y
}

// Seconds returns the guide time of p. The place after the last measure, beat 1 of
// measure Measures()+1, is End. A position outside the piece and its count-in
// or past the last beat of its measure is an error that names the measure.
func (m *Map) Seconds(p Position) (float64, error) {
	q, err := m.Quarters(p)
	if err != nil {
		return math.NaN(), err
	}
	return m.SecondsAt(q), nil
}

// SecondsAt returns the guide time of a place in quarter notes from the downbeat
// of measure 1. Tempo goes on unchanged before the beginning and after the
// end. NaN gives NaN.
func (m *Map) SecondsAt(quarter float64) float64 {
	// The segment must begin strictly before the place: a place with a hold
	// keeps its time and only what follows it is late.
	i := sort.Search(len(m.segments), func(i int) bool { return m.segments[i].quarter >= quarter })
	s := m.segments[max(i-1, 0)]
	return s.seconds + s.after(quarter-s.quarter)
}

// SpeedAt returns the tempo in quarter notes a minute just after a place in quarter
// notes from the downbeat of measure 1, holds aside.
func (m *Map) SpeedAt(quarter float64) float64 {
	i := sort.Search(len(m.segments), func(i int) bool { return m.segments[i].quarter > quarter })
	s := m.segments[max(i-1, 0)]
	return s.speed + s.slope*(quarter-s.quarter)
}

// QuartersAt returns the inverse of [Map.SecondsAt]: the place that sounds at that
// guide time. During a hold it is the place of the hold.
func (m *Map) QuartersAt(seconds float64) float64 {
	i := sort.Search(len(m.segments), func(i int) bool { return m.segments[i].seconds > seconds })
	if i < len(m.segments) && i > 0 && seconds >= m.segments[i].seconds-m.segments[i].hold {
		return m.segments[i].quarter
	}
	s := m.segments[max(i-1, 0)]
	return s.quarter + s.quartersAfter(seconds-s.seconds)
}

// Quarters returns the place of p in quarter notes from the downbeat of measure 1,
// with the errors of [Map.Seconds].
func (m *Map) Quarters(p Position) (float64, error) {
	countIn, last := m.spec.CountIn.Measures, m.spec.Measures
	switch {
	case p.Measure == last+1 && p.Beat == 1:
		return m.end, nil
	case p.Measure > last:
		return 0, fmt.Errorf("measure %d is past the end: the piece has %d measures", p.Measure, last)
	case p.Measure < -countIn:
		return 0, fmt.Errorf("measure %d is before the beginning", p.Measure)
	case p.Measure == 0 && m.pickUp == 0:
		return 0, fmt.Errorf("measure 0: the piece has no pick-up, its first measure is 1")
	case !(p.Beat >= 1):
		return 0, fmt.Errorf("measure %d: beat %.6g is not 1 or later", p.Measure, p.Beat)
	}
	if p.Measure == 0 {
		q := m.pickUpOffset(p.Beat) - m.pickUp
		if q >= 0 {
			return 0, fmt.Errorf("measure 0: beat %.6g is past the pick-up of %.6g beats", p.Beat, m.spec.PickUp)
		}
		return q, nil
	}
	start, meter := m.measure(p.Measure)
	if p.Beat >= float64(meter.Beats()+1) {
		return 0, fmt.Errorf("measure %d: beat %.6g is past the measure, which has %d beats", p.Measure, p.Beat,
			meter.Beats())
	}
	return start + meter.offset(p.Beat), nil
}

// pickUpOffset returns the distance in quarters from the pick-up's beginning to a
// beat counted from there. The pick-up is the end of a measure of the first
// meter, which matters when its beats are unequal.
func (m *Map) pickUpOffset(beat float64) float64 {
	skipped := float64(m.first.Beats()) - m.spec.PickUp
	return m.first.offset(beat+skipped) - m.first.offset(1+skipped)
}

// measure returns where a measure begins, in quarters, and its meter. Negative
// measures are those of the count-in.
func (m *Map) measure(number int) (float64, Meter) {
	if number <= 0 {
		return float64(number) * m.first.Quarters(), m.first
	}
	i := sort.Search(len(m.runs), func(i int) bool { return m.runs[i].measure > number })
	r := m.runs[max(i-1, 0)]
	return r.quarter + float64(number-r.measure)*r.meter.Quarters(), r.meter
}

// Position returns the place that sounds at that guide time. A time before the
// guide gives its first place, one past the end beat 1 of measure
// Measures()+1, and NaN a beat of NaN. Times within 1e-9 quarters of a beat
// give that beat, so that a whole beat comes back whole.
func (m *Map) Position(seconds float64) Position {
	return m.PositionAt(m.QuartersAt(seconds))
}

// PositionAt does what [Map.Position] does for a place in quarter notes.
func (m *Map) PositionAt(quarter float64) Position {
	if math.IsNaN(quarter) {
		return Position{Beat: math.NaN()}
	}
	if quarter >= m.end-snap {
		return Position{Measure: m.spec.Measures + 1, Beat: 1}
	}
	q := max(quarter, m.begin)
	if q < -snap {
		if m.pickUp > 0 && q >= -m.pickUp-snap {
			full := m.first.beat(q + m.first.Quarters())
			return Position{Measure: 0, Beat: whole(full-float64(m.first.Beats())+m.spec.PickUp, m.spec.PickUp)}
		}
		n := int(math.Floor((q + snap) / m.first.Quarters()))
		return Position{Measure: n, Beat: whole(m.first.beat(q-float64(n)*m.first.Quarters()),
			float64(m.first.Beats()))}
	}
	i := sort.Search(len(m.runs), func(i int) bool { return m.runs[i].quarter > q+snap })
	r := m.runs[max(i-1, 0)]
	n := int(math.Floor((q - r.quarter + snap) / r.meter.Quarters()))
	into := q - r.quarter - float64(n)*r.meter.Quarters()
	return Position{Measure: r.measure + n, Beat: whole(r.meter.beat(into), float64(r.meter.Beats()))}
}

// whole returns the whole beat that b is within snap of, else b, kept inside a
// measure of that many beats.
func whole(b, beats float64) float64 {
	if r := math.Round(b); math.Abs(b-r) < snap {
		b = r
	}
	return min(max(b, 1), math.Nextafter(beats+1, 0))
}

// Start returns the guide time of the first place of the piece: the pick-up when
// there is one, else measure 1.
func (m *Map) Start() float64 { return m.SecondsAt(-m.pickUp) }

// End returns the guide time at the end of the last measure, holds included.
func (m *Map) End() float64 {
	end := m.SecondsAt(m.end)
	// A hold at the very end is the last note's and belongs to the piece.
	if s := m.segments[len(m.segments)-1]; s.quarter == m.end {
		end = s.seconds
	}
	return end
}

// Cue returns the guide time of the cue; NaN without a count-in.
func (m *Map) Cue() float64 { return m.cue }

// Measures returns the number of measures, without count-in and pick-up.
func (m *Map) Measures() int { return m.spec.Measures }

// Meter returns the meter of a measure; the count-in and the pick-up have that of
// measure 1.
func (m *Map) Meter(measure int) Meter {
	_, meter := m.measure(measure)
	return meter
}

// SteadyBPM returns how many beats a minute the piece has from its beginning to its
// end, 0 when that changes or the beat is held.
func (m *Map) SteadyBPM() float64 {
	length, last := 0.0, math.NaN()
	for b := range m.Beats() {
		if length == 0 {
			length = b.Length
		}
		if math.Abs(b.Length-length) > 1e-6 || math.Abs(b.Seconds-last-length) > 1e-6 {
			return 0
		}
		last = b.Seconds
	}
	if length == 0 {
		return 0
	}
	return 60 / length
}

// Spec returns a copy of what the map was made from.
func (m *Map) Spec() Spec {
	s := m.spec
	s.Changes = append([]Change(nil), s.Changes...)
	s.Holds = append([]Hold(nil), s.Holds...)
	s.Paper = append([]Place(nil), s.Paper...)
	return s
}

// Paper returns where the page has a measure that is played, and false when the
// page has all measures as they are played, or has not this one.
func (m *Map) Paper(measure int) (Place, bool) {
	if measure < 1 || measure > len(m.spec.Paper) {
		return Place{}, false
	}
	return m.spec.Paper[measure-1], true
}

// Elsewhere returns where the page has a measure when that is another number or not
// the first time of it, and "" else.
func (m *Map) Elsewhere(measure int) string {
	p, ok := m.Paper(measure)
	if !ok || p == (Place{strconv.Itoa(measure), 1}) {
		return ""
	}
	return p.String()
}

// Played returns which measure is played where the page has p. ok is false when the
// page has no such measure or it is not played as often.
func (m *Map) Played(p Place) (measure int, ok bool) {
	if len(m.spec.Paper) == 0 {
		n, err := strconv.Atoi(p.Number)
		return n, err == nil && p.Pass == 1 && n >= 1 && n <= m.spec.Measures
	}
	i := slices.Index(m.spec.Paper, p)
	return i + 1, i >= 0
}

// Label names a measure for people who have the page before them: "17", or
// "21 (17/2)" where the page has it elsewhere.
func (m *Map) Label(measure int) string {
	if page := m.Elsewhere(measure); page != "" {
		return fmt.Sprintf("%d (%s)", measure, page)
	}
	return strconv.Itoa(measure)
}
