package align

import "math"

// hear sets when every event, in order of time, is heard to begin.
func (p *profile) hear(events []Event) {
	for i := range events {
		e := &events[i]
		n := int(e.Time / hop)
		until := n + ms(300)
		for _, next := range events[i+1:] {
			// What follows at once belongs to the same sound.
			if k := int(next.Time/hop) - ms(10); next.Time-e.Time > 0.06 && next.Strength > 0.4*e.Strength {
				until = min(until, k)
				break
			}
		}
		e.Heard = e.Time
		if e.Rise > 0.008 || e.Slow || e.Pitch {
			e.Heard = math.Max(e.Time, p.heard(n, max(until, n+ms(50))))
		}
	}
}

// heardBelow is how far below its peak a note's envelope is when the ear takes
// the note to begin, in dB: between 6 and 15 in Vos and Rasch (1981, "The
// perceptual onset of musical tones"), second hand.
const heardBelow = 10

// heard is the time, in seconds of the file, at which the bands that rise at hop n
// pass heardBelow on their way to the peak that they reach before hop until.
func (p *profile) heard(n, until int) float64 {
	const w, back = 3, 20
	env := make([]float64, until-n+back)
	for b := range p.sum {
		base := p.mean(b, n-2*p.reach[b], n-p.reach[b]/2)
		var peak float64
		for i := range env {
			peak = math.Max(peak, p.mean(b, n-back+i, n-back+i+w))
		}
		if peak < 4*base+p.floor[b] {
			continue // rings on from before
		}
		for i := range env {
			env[i] += math.Max(0, p.mean(b, n-back+i, n-back+i+w)-base)
		}
	}
	top := 0
	for i, v := range env {
		if v > env[top] {
			top = i
		}
	}
	if env[top] <= 0 {
		return float64(n) * hop
	}
	want := env[top] * math.Pow(10, -heardBelow/10.0)
	for i := top; i > 0; i-- {
		if env[i-1] < want {
			return (float64(n-back+i-1) + (want-env[i-1])/(env[i]-env[i-1]) + w/2.0) * hop
		}
	}
	return float64(n) * hop
}
