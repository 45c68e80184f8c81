package denoise

import "math"

// wide is a number four times: vectors read it as it lies.
type wide [4]float64

// times4 returns v in all four lanes of a vector.
func times4(v float64) wide { return wide{v, v, v, v} }

// weighing is what the gains of a frame are found with. The assembly knows the order of
// the fields.
type weighing struct {
	sound, sure       wide // see the constants of these names
	_                 wide
	trust, rest       wide // of the last frame's estimate, and what is left for this frame's
	atStart, restThen wide // the same at an attack
	least             wide // leastPrior
	one               wide
	lowest, highest   wide // of the table of lift
	below             wide // the largest number under highest
	euler, tiny       wide // of lift below the table
	bits              [4]uint64
	mantissa, exact   [4]uint64 // the bits behind a step, and 2^52
	back              wide      // 2^52
	step              wide      // of the table
}

// newWeighing returns what finds gains.
func newWeighing() *weighing {
	times := func(v uint64) [4]uint64 { return [4]uint64{v, v, v, v} }
	whole, part := trust, trustStart
	const lowest, highest = 1.0 / (1 << -liftLow), 1 << liftHigh
	return &weighing{
		trust: times4(whole), rest: times4(1 - whole), atStart: times4(part),
		restThen: times4(1 - part), least: times4(leastPrior), one: times4(1), lowest: times4(lowest),
		highest: times4(highest), below: times4(math.Nextafter(highest, 0)), euler: times4(liftEuler),
		tiny: times4(1e-300), bits: times(liftBits), mantissa: times(1<<liftShift - 1),
		exact: times(math.Float64bits(1 << 52)), back: times4(1 << 52), step: times4(1.0 / (1 << liftShift)),
	}
}

// weighGo finds the gain of every line from its power over the noise in the frame, the one
// behind it and the one behind that, which is never less than its floor. past, the estimates
// of the frame before, becomes those of this one. No product is fused into a sum.
func weighGo(gains, past, ratios, coming, later, floors []float64, w *weighing) {
	gains, past, coming, later = gains[:len(ratios)], past[:len(ratios)], coming[:len(ratios)], later[:len(ratios)]
	floors = floors[:len(ratios)]
	sound, sure := w.sound[0], w.sure[0]
	for k, after := range ratios {
		over, weight, rest := after-1, w.trust[0], w.rest[0]
		if over < 0 {
			over = 0
		}
		next := coming[k]
		if after > sound && next > sound {
			weight, rest = w.atStart[0], w.restThen[0]
		}
		prior := float64(weight*past[k]) + float64(rest*over)
		if prior < leastPrior {
			prior = leastPrior
		}
		g := Gain(prior, after)
		past[k] = g * g * after
		if most := max(next, later[k]); most > sure {
			if ahead := (most - 1) / most; ahead > g {
				g = ahead // the gain of Wiener's filter there
			}
		}
		if g < floors[k] {
			g = floors[k]
		}
		gains[k] = g
	}
}

// stillGo smooths the power of every line and keeps the least that it was.
func stillGo(smooth, least, power []float64) {
	smooth, least = smooth[:len(power)], least[:len(power)]
	for k, p := range power {
		s := float64(smoothing*smooth[k]) + float64((1-smoothing)*p)
		smooth[k] = s
		if s < least[k] {
			least[k] = s
		}
	}
}

// overGo writes the power of every line over that of the noise, mostRatio at most.
func overGo(ratios, power, inverse []float64) {
	ratios, inverse = ratios[:len(power)], inverse[:len(power)]
	for k, p := range power {
		r := p * inverse[k]
		if r > mostRatio {
			r = mostRatio
		}
		ratios[k] = r
	}
}

// lowGo lowers every value of a to that of b.
func lowGo(a, b []float64) {
	b = b[:len(a)]
	for k, v := range b {
		if v < a[k] {
			a[k] = v
		}
	}
}
