package expand

import (
	"math"
	"testing"

	"ripieno/mix/audio"
	"ripieno/mix/denoise"
)

// twoStages plays a bar that is struck at 8 s into x: it falls by 30 dB in its first second, then by
// rate dB a second, and is damped never.
func twoStages(x []float64, hz, rateDB float64) {
	for i := 8 * rate; i < len(x); i++ {
		s := float64(i)/rate - 8
		fall := 30 * s
		if s > 1 {
			fall = 30 + rateDB*(s-1)
		}
		x[i] += 0.2 * math.Min(1, s/0.003) * math.Pow(10, -fall/20) * math.Sin(2*math.Pi*hz*s)
	}
}

// A struck bar dies away in two stages. In noise into which it sinks long before, it stays open until
// it is 50 dB under its height, and no longer than until it is 70 dB under it. A click that leaks from
// headphones into its end, from which it falls steeply, hides nothing of it. So much for noise as of a
// room; where no more than the first stage is heard nobody can tell.
func TestSlowEnds(t *testing.T) {
	for _, c := range []struct{ noise, slow float64 }{{-70, 9}, {-50, 9}, {-47, 9}, {-45, 9}, {-60, 14}} {
		for _, click := range []bool{false, true} {
			x := hiss(21, 16, c.noise)
			twoStages(x, 1760, c.slow)
			end := 9 + 20/c.slow // 50 dB under its height
			if click {
				tr, runs := heardRuns(t, x)
				heard := tr.seconds(runs[len(runs)-1].to)
				note{at: heard - 0.09, length: 0.005, hz: 1175, amplitude: 5 * math.Pow(10, c.noise/20),
					dbPerSecond: 900}.add(x)
			}
			curve, p := find(t, x)
			if len(curve) != 1 {
				t.Errorf("%+v, a click %v: phrases %v", c, click, p.Phrases)
				continue
			}
			for s := 8.0; s < end; s += 0.01 {
				if g := curve.DB(audio.FramesAt(s)); g < -1 {
					t.Errorf("%+v, a click %v: taken down by %.1f dB at %.2f s of %.2f", c, click, -g, s, end)
					break
				}
			}
			if far := 9 + 40/c.slow; p.Phrases[0].To > far {
				t.Errorf("%+v, a click %v: open until %.2f s, which is later than %.2f", c, click, p.Phrases[0].To, far)
			}
		}
	}
}

// A note that is held and stops, one that a room lets die away and one that falls evenly by 30 dB a
// second have no slow end; what falls evenly and slowly has its own.
func TestWhatHasASlowEnd(t *testing.T) {
	for _, c := range []struct {
		name       string
		at, length float64
		dies, want float64
	}{{"held", 8, 3, 400, 0}, {"in a room", 8, 3, 60, 0}, {"falls slowly", 8, 0.1, 12, 12},
		{"falls", 8, 0.1, 30, 0}} {
		x := hiss(22, 16, -60)
		note{at: c.at, length: c.length, hz: 440, amplitude: 0.1, dbPerSecond: c.dies}.add(x)
		tr, runs := heardRuns(t, x)
		if len(runs) != 1 {
			t.Errorf("%s: runs %v", c.name, runs)
			continue
		}
		got, slow := tr.fading(runs[0])
		if slow != (c.want > 0) || slow && math.Abs(got-c.want) > 2 {
			t.Errorf("%s: %.1f dB a second, %v; want %v", c.name, got, slow, c.want)
		}
	}
}

// heardRuns follows x, whose piece begins at 8 s.
func heardRuns(t *testing.T, x []float64) (*trace, []run) {
	t.Helper()
	tr, l := newTrace(audio.NewMemory(audio.Block{x}, rate)), denoise.NewListener(rate, int64(7.7*rate))
	if err := tr.follow(audio.NewMemory(audio.Block{x}, rate), l); err != nil {
		t.Fatal(err)
	}
	tr.over(l.Noise())
	return tr, tr.inside(tr.runs(), Piece{From: 8, To: 19})
}

// A slow end is not followed into a tap on the telephone behind it: the gain has 0.45 s to fall before.
func TestSlowEndsStopBeforeATap(t *testing.T) {
	for _, tap := range []float64{0.6, 0.9, 1.2, 1.4} {
		x := hiss(21, 16, -47)
		twoStages(x, 1760, 9)
		tr, runs := heardRuns(t, x)
		end := tr.seconds(runs[0].to)
		note{at: end - 0.09, length: 0.005, hz: 1175, amplitude: 5 * math.Pow(10, -47./20), dbPerSecond: 900}.add(x)
		tr, runs = heardRuns(t, x)
		long := tr.tail(runs[0])
		note{at: end + tap, length: 0.01, hz: 700, amplitude: 0.5, dbPerSecond: 300}.add(x)
		tr, runs = heardRuns(t, x)
		if got := tr.tail(runs[0]); long < 1 || got > max(tap-0.45, 0.3) {
			t.Errorf("a tap %.1f s behind: followed for %.2f s, for %.2f without it", tap, got, long)
		}
	}
}
