package align

import (
	"cmp"
	"math"
	"ripieno/mix/robust"
	"slices"
)

// findEvents picks the moments at which several bands rise at once, and times
// each of them. It looks twice: over short stretches for sharp sounds and, for
// bowed and sung notes that need a tenth of a second to speak, over long ones.
func findEvents(energy [][]float32, fine []float32, bands []*band, flux []float32) []Event {
	if len(energy) == 0 || len(energy[0]) < 100 {
		return nil
	}
	p := newProfile(energy, bands)
	var out []Event
	taken := make([]bool, p.n)
	for _, stretch := range []int{1, 4} {
		p.look(stretch)
		strength := p.onset()
		apart := int(0.03/hop) * stretch
		for n := 2; n+2 < p.n; n++ {
			s := strength[n]
			if s < minStrength || s < strength[n-1] || s <= strength[n+1] || !isPeak(strength, n, apart) {
				continue
			}
			if slices.Contains(taken[max(0, n-apart):min(p.n, n+apart)], true) {
				continue // found already, and timed better
			}
			taken[n] = true
			out = append(out, p.describe(n, s, strength, fine, stretch > 1))
		}
	}
	out = append(out, p.slurs(flux, taken)...)
	p.look(1)
	slices.SortFunc(out, func(a, b Event) int { return cmp.Compare(a.Time, b.Time) })
	p.hear(out)
	return out
}

// slurs picks the moments at which the pitch changes and no band rose.
func (p *profile) slurs(flux []float32, taken []bool) []Event {
	const near, apart = 7, 25 // frames of the flux and hops: 0.05 s
	p.look(1)
	var out []Event
	for n := 1; n+1 < len(flux); n++ {
		v := flux[n]
		if v < minFlux || v < flux[n-1] || v <= flux[n+1] ||
			v < slices.Max(flux[max(0, n-near):min(len(flux), n+near+1)]) {
			continue
		}
		at := int(float64(n) * fluxHop / hop)
		if at >= p.n || slices.Contains(taken[max(0, at-apart):min(p.n, at+apart)], true) {
			continue
		}
		e := p.surroundings(at)
		e.Pitch, e.Strength = true, 14*float64(v)-1
		e.Time = (float64(n) + parabola(float64(flux[n-1]), float64(v), float64(flux[n+1]))) * fluxHop
		e.Rise, e.Decay = 0.1, 0.6 // timed no better than a slow attack
		e.Time -= e.lag()
		out = append(out, e)
	}
	return out
}

// minFlux is the least share of new sound that counts as another pitch; noise
// alone makes a tenth.
const minFlux = 0.2

// minStrength, in dB, lets noise through now and then (about once in ten
// seconds of white noise); weak events carry little weight later.
const minStrength = 1.6

// isPeak reports whether s[n] is not exceeded by anything within reach of it. Of a flat top
// every value is one.
func isPeak(s []float64, n, reach int) bool {
	for i := max(0, n-reach); i <= min(len(s)-1, n+reach); i++ {
		if s[i] > s[n] {
			return false
		}
	}
	return true
}

// profile holds running sums of the band energies, so that the mean over any
// stretch costs two look-ups.
type profile struct {
	sum   [][]float64 // sum[b][n] = energy of band b before hop n
	floor []float64   // quietest usual energy of each band
	dead  []float64   // rise, dB, that noise alone makes
	width []float64   // of each band, hertz
	base  []int       // hops compared on either side for sharp sounds
	reach []int       // the same now; see look
	n     int
}

// newProfile takes the energy of every band for its own.
func newProfile(energy [][]float32, bands []*band) *profile {
	p := &profile{n: len(energy[0])}
	for b, e := range energy {
		sum := make([]float64, len(e)+1)
		for i, v := range e {
			sum[i+1] = sum[i] + float64(v)
		}
		reach := 8
		if b < 2 {
			reach = 12 // low notes beat at their own pitch: look over several periods
		}
		energy[b] = nil // of long files both together are much
		p.sum = append(p.sum, sum)
		p.base = append(p.base, reach)
		// 2/(π·lag) is the band's width.
		p.width = append(p.width, 2/(math.Pi*bands[b].lag))
		p.floor = append(p.floor, quiet(sum))
	}
	return p
}

// look sets how much of the sound before and after a moment is compared:
// stretch times what suits sharp sounds.
func (p *profile) look(stretch int) {
	p.reach, p.dead = nil, nil
	for b, base := range p.base {
		p.reach = append(p.reach, base*stretch)
		// The mean of squared narrow-band noise over a time scatters by
		// 4.34/√(bandwidth·time) dB.
		p.dead = append(p.dead, 1+1.5*4.34*math.Sqrt2/math.Sqrt(p.width[b]*float64(base*stretch)*hop))
	}
	for b := range p.dead {
		p.dead[b] = math.Min(p.dead[b], p.restless(b))
	}
}

// restless returns the rise that band b of this file makes all the time while
// there is sound: less than noise would for tones, whose levels are steady.
func (p *profile) restless(b int) float64 {
	rises := make([]float64, 0, p.n/7+1)
	r := p.reach[b]
	for n := r; n+r < p.n; n += 7 {
		if p.mean(b, n-r, n+r) > 4*p.floor[b] {
			rises = append(rises, math.Abs(p.rise(b, n)))
		}
	}
	if len(rises) < 100 {
		return math.Inf(1)
	}
	return 1 + 2.5*robust.Median(rises)
}

// quiet returns the energy that nine tenths of the 40 ms stretches exceed.
func quiet(sum []float64) float64 {
	const w = int(0.04 / hop)
	var v []float64
	for i := 0; i+w < len(sum); i += w {
		v = append(v, (sum[i+w]-sum[i])/float64(w))
	}
	slices.Sort(v)
	if len(v) == 0 {
		return 1e-11
	}
	return v[len(v)/10] + 1e-11
}

// mean returns the mean energy of band b over hops [from, to), clipped to the file.
func (p *profile) mean(b, from, to int) float64 {
	from, to = max(0, from), min(p.n, to)
	if to <= from {
		return 0
	}
	return (p.sum[b][to] - p.sum[b][from]) / float64(to-from)
}

// total returns the mean energy over all bands.
func (p *profile) total(from, to int) float64 {
	var s float64
	for b := range p.sum {
		s += p.mean(b, from, to)
	}
	return s
}

// rise returns how much louder band b is after hop n than before, dB.
func (p *profile) rise(b, n int) float64 {
	r := p.reach[b]
	before, after := p.mean(b, n-r, n), p.mean(b, n, n+r)
	// Comparing logarithms finds the beginning of a slow rise, not its
	// steepest part, as long as something lies between note and floor.
	return 10 * math.Log10((after+p.floor[b])/(before+p.floor[b]))
}

// onset returns the mean over the bands of their rise beyond what noise makes.
func (p *profile) onset() []float64 {
	out := make([]float64, p.n)
	for n := range out {
		var s float64
		for b := range p.sum {
			if d := p.rise(b, n) - p.dead[b]; d > 0 {
				s += math.Min(d, 20)
			}
		}
		out[n] = s / float64(len(p.sum))
	}
	return out
}

func decibels(energy float64) float64 { return 10 * math.Log10(energy+1e-12) }

// surroundings describes how an event at hop n stands in what is round it.
func (p *profile) surroundings(n int) Event {
	var e Event
	e.Level = decibels(p.total(n, n+ms(60)))
	e.Before, e.After = -120, -120
	for i := range 10 {
		to := n - 2 - ms(80)*i
		e.Before = math.Max(e.Before, decibels(p.total(to-ms(80), to)))
	}
	for i := range 8 {
		from := n + ms(320) + ms(80)*i
		e.After = math.Max(e.After, decibels(p.total(from, from+ms(80))))
	}
	var bright, all float64
	for b := range p.sum {
		if p.rise(b, n) > 9 {
			e.Spread += 1 / float64(len(p.sum))
		}
		fresh := math.Max(0, p.mean(b, n, n+ms(30))-p.mean(b, n-ms(30), n))
		all += fresh
		if b >= 5 {
			bright += fresh
		}
	}
	if all > 0 {
		e.Bright = bright / all
	}
	return e
}

// ms returns a whole number of milliseconds in hops.
func ms(m int) int { return m / int(hop*1000) }

// describe makes the event at hop n, where the onset strength is s.
func (p *profile) describe(n int, s float64, strength []float64, fine []float32, slow bool) Event {
	e := p.surroundings(n)
	e.Strength = s
	peak, at := 0.0, n
	for i := n; i < n+ms(60); i++ {
		if v := p.total(i, i+2); v > peak {
			peak, at = v, i
		}
	}
	e.Decay = 0.6
	for i := at; i < at+ms(600); i += 5 {
		if p.total(i, i+5) < peak/16 {
			e.Decay = float64(i-at) * hop
			break
		}
	}
	rise, begin := p.riseTime(n)
	e.Rise = rise
	e.Time = float64(n)*hop + parabola(strength[n-1], s, strength[n+1])*hop
	if e.Slow = slow; slow {
		e.Time = (float64(n) + math.Max(-40, math.Min(10, begin))) * hop
	} else if e.Rise < 0.02 {
		if t, ok := sharpTime(fine, float64(n)*hop); ok {
			e.Time = t
			return e
		}
	}
	e.Time -= e.lag()
	return e
}

// lag returns how long after its beginning a note that rises slowly is found, in
// seconds, measured on simulated notes with straight and bent rises of 15 to
// 120 ms: a note out of silence shows at once, one that follows another
// when it has outgrown it.
func (e Event) lag() float64 {
	switch {
	case e.Pitch:
		return 0 // 18 ms early where the pitch jumps, as late where it glides
	case e.Slow:
		return 0.014
	}
	return math.Min(0.18*e.Rise, 0.0135) * (1 - ramp(e.Level-e.Before, 15, 40))
}

// riseTime returns how long the bands that rise at n take to their full level
// within 150 ms, and when they begin to, in hops from n: the straight line
// through 15 % and 75 % of the amplitude, prolonged to nothing.
func (p *profile) riseTime(n int) (seconds, begin float64) {
	const w, back, span = 3, 45, 75
	var env [back + span]float64
	for b := range p.sum {
		if p.rise(b, n) < p.dead[b]+1 {
			continue
		}
		base := p.mean(b, n-p.reach[b], n-p.reach[b]/3)
		for i := range env {
			env[i] += math.Max(0, p.mean(b, n-back+i, n-back+i+w)-base)
		}
	}
	peak, top := 0.0, 0
	for i, v := range env {
		if v > peak {
			peak, top = v, i
		}
	}
	if peak == 0 {
		return 0, 0
	}
	// Walk back from the peak: what was before belongs to another note.
	full, first := top, top
	for ; full > 0 && env[full] > 0.5625*peak; full-- {
	}
	for first = full; first > 0 && env[first] > 0.0225*peak; first-- {
	}
	slope := 0.6 / math.Max(1, float64(full-first))
	return math.Min(0.15, hop/slope), float64(first-back) - 0.15/slope + float64(w)/2
}

// sharpTime finds the first moment of a sudden sound near at from the fine
// envelope: where it crosses a level 20 dB below its peak or 8 dB above what
// was before, whichever is higher. A clap's own rise takes under a millisecond.
// What rings on from a click just before it is before it too.
func sharpTime(fine []float32, at float64) (float64, bool) {
	c := int(at / fineHop)
	lo, hi := c-int(0.02/fineHop), c+int(0.025/fineHop)
	if lo < 200 || hi+4 > len(fine) {
		return 0, false
	}
	smooth := func(i int) float64 { return (float64(fine[i]) + float64(fine[i+1]) + float64(fine[i+2])) / 3 }
	peak, top := 0.0, lo
	for i := lo; i < hi; i++ {
		if v := smooth(i); v > peak {
			peak, top = v, i
		}
	}
	var before float64
	for i := lo - 160; i < lo; i++ {
		before += float64(fine[i]) / 160
	}
	var ringing float64
	for i := lo; i < lo+20; i++ {
		ringing = math.Max(ringing, smooth(i))
	}
	if ringing < peak*0.1 { // else the sound itself has begun there
		before = math.Max(before, ringing)
	}
	level := math.Max(peak*0.01, before*6.3)
	if level > peak*0.5 {
		return 0, false // hardly above its surroundings: the bands know better
	}
	for i := lo; i <= top; i++ {
		if v := smooth(i); v >= level {
			prev := smooth(i - 1)
			frac := 0.0
			if v > prev {
				frac = (level - prev) / (v - prev)
			}
			// smooth(i) covers i..i+2: it crosses about when its last
			// quarter reaches the sound.
			return (float64(i-1) + frac + 2) * fineHop, true
		}
	}
	return 0, false
}

// parabola returns the place of the maximum between -1 and 1 of a parabola through
// three points of which the middle one is the largest.
func parabola(a, b, c float64) float64 {
	d := a - 2*b + c
	if d >= 0 {
		return 0
	}
	return math.Max(-0.5, math.Min(0.5, 0.5*(a-c)/d))
}
