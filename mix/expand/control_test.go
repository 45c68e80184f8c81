package expand

import (
	"math"
	"testing"
)

// turnUp is a phone's level control: the louder a recording is over threshold dB, the more it is
// turned down, by half of that; it follows within attack and release seconds.
func turnUp(x []float64, threshold, attack, release float64) {
	const hop = rate / 200
	level, gain := -80.0, 0.0
	for from := 0; from+hop <= len(x); from += hop {
		sum := 1e-12
		for _, v := range x[from : from+hop] {
			sum += v * v / hop
		}
		now, time := 10*math.Log10(sum), release
		if now > level {
			time = attack
		}
		level += (now - level) * (1 - math.Exp(-1/(200*time)))
		last := gain
		gain = math.Min((threshold-level)/2, 14)
		for i := range hop {
			x[from+i] *= math.Pow(10, (last+(gain-last)*float64(i)/hop)/20)
		}
	}
}

// A phone that turns itself up in pauses is told from one that does not, by noise that comes up behind
// the playing; neither a breath nor steps nor noise that changes by itself look like it.
func TestLevelControlIsTold(t *testing.T) {
	told := 0
	for _, noise := range []float64{-60, -56} {
		for seed := range uint64(4) {
			x, _ := take(seed, noise, 150)
			if p := playingOf(t, x, rate); p.TurnedUp != 0 {
				t.Errorf("noise %v: without level control turned up by %.1f dB", noise, p.TurnedUp)
			}
			controlled := append([]float64(nil), x...)
			turnUp(controlled, -20, 0.015, 0.35)
			if p := playingOf(t, controlled, rate); p.TurnedUp > 2.5 && p.TurnedUp < 14 {
				told++
			}
			breath := hiss(seed+100, 26, noise+3)
			for _, at := range []float64{11.9, 12.9, 18.9} { // swelling behind the notes
				for i := int(at * rate); i < int((at+0.8)*rate); i++ {
					x[i] += breath[i] * (float64(i)/rate - at) / 0.8
				}
			}
			thump(x, 13.2, 40, 0.05)
			for i := int(15 * rate); i < len(x); i++ { // from then on a fan runs slower
				x[i] *= 0.8
			}
			if p := playingOf(t, x, rate); p.TurnedUp != 0 {
				t.Errorf("noise %v: breaths turned up by %.1f dB", noise, p.TurnedUp)
			}
		}
	}
	if told < 7 {
		t.Errorf("%d of 8 takes with level control are told", told)
	}
}
