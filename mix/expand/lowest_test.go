package expand

import (
	"math"
	"testing"

	"ripieno/mix/audio"
)

// thump is a step on a floor, a sine at hz that dies away by 174 dB a second.
func thump(x []float64, at, hz, amplitude float64) {
	for i := int(at * rate); i < len(x); i++ {
		t := float64(i)/rate - at
		e := amplitude * math.Exp(-t/0.05) * (1 - math.Exp(-t/0.003))
		if t > 0.05 && e < 1e-7 {
			return
		}
		x[i] += e * math.Sin(2*math.Pi*hz*t)
	}
}

// playingOf hears a recording whose piece lies from 8 to 20 s.
func playingOf(t *testing.T, x []float64, hz int) Playing {
	t.Helper()
	_, p, err := Hear(audio.NewMemory(audio.Block{x}, hz), int64(7.7*float64(hz)), Piece{8, 20})
	if err != nil {
		t.Fatal(err)
	}
	return p
}

// The lowest note is never told higher than it is by more than a hundredth, and not lower than
// by half of what two lines of a frame lie apart and a hundredth; what is struck beside the
// notes, a step, does not lower it.
func TestLowestNote(t *testing.T) {
	const line = 48000.0 / 2048
	for _, hz := range []float64{52, 65.4, 98, 116.5, 196, 233} {
		for _, steps := range []bool{false, true} {
			x := hiss(3, 22, -60)
			for k := range 12 {
				note{at: 8 + float64(k), length: 0.7, hz: hz * math.Pow(2, float64(k*5%12)/12), amplitude: 0.1,
					dbPerSecond: 60}.add(x)
				if steps {
					thump(x, 8.2+float64(k), 38, 0.03)
				}
			}
			p := playingOf(t, x, rate)
			if least := hz*0.99 - 1.5*line; p.Lowest > hz*1.01 || p.Lowest < least {
				t.Errorf("lowest note of %.1f Hz, steps %v: %.1f Hz, want from %.1f on", hz, steps, p.Lowest, least)
			}
		}
	}
}

// Who plays nothing that low counts as the top of what is looked at. Nothing is told of who does
// not play, nor of a drum, whose lows are struck and as strong as all it plays.
func TestLowestOfOthers(t *testing.T) {
	high, drum := hiss(4, 22, -60), hiss(5, 22, -60)
	for k := range 12 {
		note{at: 8 + float64(k), length: 0.7, hz: 880, amplitude: 0.1, dbPerSecond: 60}.add(high)
		thump(drum, 8+float64(k), 60, 0.3)
	}
	if p := playingOf(t, high, rate); p.Lowest != lowestTop {
		t.Errorf("a piccolo: %v Hz, want %v", p.Lowest, lowestTop)
	}
	if p := playingOf(t, drum, rate); p.Lowest != 0 {
		t.Errorf("a drum: %v Hz, want 0", p.Lowest)
	}
	if p := playingOf(t, hiss(6, 22, -60), rate); p.Lowest != 0 {
		t.Errorf("nobody plays: %v Hz, want 0", p.Lowest)
	}
}

// What lies below the notes before the piece counts with its direct current: a tone of 0.1 over a
// current of 0.0001 is 54 dB, as a spectrum shows half of a tone and all of a current
// (10·log10((0.1²/4)/0.0001²)), and 120 over nothing at all.
func TestSilenceBelowNotes(t *testing.T) {
	for _, c := range []struct{ current, least, most float64 }{{0, 115, 120}, {0.0001, 53, 55}, {0.001, 33, 35}} {
		x := make([]float64, 22*rate)
		note{at: 8, length: 12, hz: 440, amplitude: 0.1, dbPerSecond: 60}.add(x)
		for i := range x {
			x[i] += c.current
		}
		if p := playingOf(t, x, rate); !(p.Below >= c.least && p.Below <= c.most) {
			t.Errorf("direct current of %v: %.1f dB under the playing, want %v to %v",
				c.current, p.Below, c.least, c.most)
		}
	}
}

// How far the noise below the lowest note lies under the playing: known from how both were made.
// White noise has the share of its power that its part of the band is.
func TestRumbleUnderPlaying(t *testing.T) {
	x := hiss(7, 22, -50)
	note{at: 8, length: 12, hz: 440, amplitude: 0.1, dbPerSecond: 60}.add(x)
	playing := 0.0
	for p := 1; p <= 5; p++ {
		playing += 0.1 * 0.1 / 2 / math.Pow(float64(p), 4)
	}
	lines := math.Floor(belowNotes*lowestTop/(48000.0/2048)) - 1
	want := 10*math.Log10(playing) + 50 - 10*math.Log10(lines/1024)
	if p := playingOf(t, x, rate); math.Abs(p.Rumble-want) > 0.7 {
		t.Errorf("noise below the notes lies %.1f dB under the playing, want %.1f", p.Rumble, want)
	}
}
