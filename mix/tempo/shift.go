package tempo

import "math"

// Shift returns the guide time that is a number of beats behind another, or before it when
// the number is negative; both may lie between beats. Before the first beat of the
// count-in and behind the last of the piece, beats are as long as those.
func (m *Map) Shift(at, beats float64) float64 {
	times := m.beatTimes(true)
	if len(times) < 2 {
		return at
	}
	place := func(i float64) float64 { // guide time of beat i, which may be a fraction
		k := min(max(int(i), 0), len(times)-2)
		return times[k] + (i-float64(k))*(times[k+1]-times[k])
	}
	index := 0
	for index < len(times)-2 && times[index+1] <= at {
		index++
	}
	i := float64(index) + (at-times[index])/(times[index+1]-times[index])
	return place(i + beats)
}

// NearestBeat returns the beat of the piece, or its end, that is nearest to a guide time.
// Before the first and behind the end, the time stays as it is.
func (m *Map) NearestBeat(at float64) float64 {
	times := m.beatTimes(false)
	if len(times) == 0 || at < times[0] || at > times[len(times)-1] {
		return at
	}
	best := times[0]
	for _, t := range times {
		if math.Abs(t-at) < math.Abs(best-at) {
			best = t
		}
	}
	return best
}

// beatTimes returns the beats in order, and the end of the last.
func (m *Map) beatTimes(countIn bool) (times []float64) {
	end := 0.0
	for b := range m.Beats() {
		if countIn || !b.CountIn {
			times, end = append(times, b.Seconds), b.Seconds+b.Length
		}
	}
	if len(times) > 0 {
		times = append(times, end)
	}
	return times
}
