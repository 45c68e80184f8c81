package expand

import (
	"math"
	"testing"

	"ripieno/mix/audio"
)

// bell adds a struck bar to x: it falls by 30 dB in its first second, then by 9 dB a second. Its stroke,
// which is 12 dB louder, is gone at once.
func bell(x []float64, at, hz, amplitude float64) {
	for i := int(at * rate); i < len(x); i++ {
		t := float64(i)/rate - at
		db := -30 * t
		if t > 1 {
			db = -30 - 9*(t-1)
		}
		x[i] += amplitude * math.Min(1, t/0.002) * (math.Pow(10, db/20)*math.Sin(2*math.Pi*hz*t) +
			4*math.Pow(10, -8*t)*math.Sin(2*math.Pi*2.76*hz*t))
	}
}

// The tail of a struck bar is open until it has died away by 50 dB, which is 3.2 s behind its stroke,
// also where it has been under the noise for more than a second and a click of the headphones
// sounds meanwhile. In silence or in little noise nothing changes.
func TestWhatRingsIsFollowed(t *testing.T) {
	const struck, gone = 10.0, 1 + 20.0/9
	for _, noise := range []float64{-60, -56} {
		for _, hz := range []float64{950, 1480, 2800} {
			x := hiss(uint64(hz), 16, noise)
			for k := range 4 {
				bell(x, struck-2+float64(k)*0.5, hz*1.5, 0.1)
			}
			bell(x, struck, hz, 0.1)
			for at := struck + 0.3; at < struck+1.8; at += 0.45 { // the headphones
				for i := range 300 {
					x[int(at*rate)+i] += 0.006 * math.Sin(2*math.Pi*1280*float64(i)/rate)
				}
			}
			_, p, err := Hear(audio.NewMemory(audio.Block{x}, rate), 7.7*rate, Piece{8, struck + 1.4})
			if err != nil {
				t.Fatal(err)
			}
			phrases := p.Phrases
			if n := len(phrases); n == 0 || phrases[n-1].To < struck+gone {
				t.Errorf("noise %v, %v Hz: phrases %.2f, want open until %.2f", noise, hz, phrases, struck+gone)
			}
		}
	}
}

// A note that is held and stops is closed as before: noise that is turned up behind it, another's hum and
// a tap on the telephone keep nothing open.
func TestWhatStopsIsNotFollowed(t *testing.T) {
	for _, noise := range []float64{-62, -52, -44} {
		for seed := range uint64(3) {
			x := hiss(seed, 26, noise)
			for k := range 4 {
				note{at: 16 + float64(k), length: 0.9, hz: 330, amplitude: 0.1, dbPerSecond: 120}.add(x)
			}
			for i := range x {
				x[i] += 0.0006 * math.Sin(2*math.Pi*150*float64(i)/rate)
			}
			turnUp(x, -25, 0.015, 0.35)
			thump(x, 21.2, 90, 0.05)
			phrases := playingOf(t, x, rate).Phrases
			if n := len(phrases); n == 0 || phrases[n-1].To > 20.7 {
				t.Errorf("noise %v: phrases %.2f, the last note is gone at 20.4", noise, phrases)
			}
		}
	}
}
