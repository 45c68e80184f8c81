package expand

import (
	"errors"
	"math"
	"math/rand/v2"
	"reflect"
	"testing"

	"ripieno/mix/audio"
	"ripieno/mix/audio/audiotest"
	"ripieno/mix/denoise"
)

const rate = audio.Rate

// hiss returns seconds of white noise of a level in dB of full scale, RMS.
func hiss(seed uint64, seconds, db float64) []float64 {
	rng := rand.New(rand.NewPCG(seed, 11))
	x, gain := make([]float64, int(seconds*rate)), math.Pow(10, db/20)
	for i := range x {
		x[i] = gain * rng.NormFloat64()
	}
	return x
}

// note is one of a take's notes: it sounds with an attack of 10 ms for a time,
// then dies away by dbPerSecond.
type note struct{ at, length, hz, amplitude, dbPerSecond float64 }

// add plays the note into x.
func (n note) add(x []float64) {
	for i := int(n.at * rate); i < len(x); i++ {
		t := float64(i)/rate - n.at
		e := n.amplitude * math.Min(1, t/0.01)
		if t > n.length {
			e *= math.Pow(10, -(t-n.length)*n.dbPerSecond/20)
		}
		if t > n.length && e < 1e-7 {
			break
		}
		for p := 1; p <= 5; p++ {
			x[i] += e / float64(p*p) * math.Sin(2*math.Pi*n.hz*float64(p)*t)
		}
	}
}

// take is a recording of eight notes from 8 s on, with a rest of 3 s behind the
// fourth, over noise; somebody talks, claps and taps before, and talks after.
func take(seed uint64, noise, dies float64) (x []float64, notes []note) {
	x = hiss(seed, 26, noise)
	for k := range 8 {
		n := note{at: 8 + float64(k), length: 0.7, hz: 220 * math.Pow(2, float64(k)/5), amplitude: 0.1,
			dbPerSecond: dies}
		if k >= 4 {
			n.at += 3
		}
		notes = append(notes, n)
		n.add(x)
	}
	for _, other := range []note{
		{at: 2, length: 0.3, hz: 180, amplitude: 0.08, dbPerSecond: 90}, {at: 2.5, length: 0.4, hz: 200,
			amplitude: 0.08, dbPerSecond: 90},
		{at: 5, length: 0.01, hz: 1500, amplitude: 0.5, dbPerSecond: 300},
		{at: 21.5, length: 0.5, hz: 190, amplitude: 0.08, dbPerSecond: 90}, {at: 22.3, length: 0.5, hz: 210,
			amplitude: 0.08, dbPerSecond: 90},
	} {
		other.add(x)
	}
	return x, notes
}

// piece is where take has it.
var piece = Piece{From: 8, To: 19}

// find returns the curve of a recording that begins at guide frame 0.
func find(t *testing.T, x []float64) (Curve, Playing) {
	t.Helper()
	n, err := denoise.Listen(audio.NewMemory(audio.Block{x}, rate), int64((piece.From-0.3)*rate))
	if err != nil {
		t.Fatal(err)
	}
	p, err := Find(audio.NewMemory(audio.Block{x}, rate), n, piece)
	if err != nil {
		t.Fatal(err)
	}
	var c Curve
	for _, ph := range p.Phrases {
		c = append(c, Span{audio.FramesAt(ph.From), audio.FramesAt(ph.To)})
	}
	return c, p
}

// Before every note it is open 20 ms at least, through every note and down every
// tail to 50 dB under its height; in the count-in, in the rest and after the end
// it is closed by 60 dB, whatever is said there. Truth is what was played.
func TestOpensForNotesAndTails(t *testing.T) {
	for _, c := range []struct{ noise, dies float64 }{{-70, 60}, {-60, 60}, {-50, 60}, {-42, 60}, {-60, 25}, {-50, 30},
		{-50, 150}} {
		x, notes := take(3, c.noise, c.dies)
		curve, p := find(t, x)
		// A tail of two seconds fills the rest.
		if len(curve) != 2 && !(c.dies < 40 && len(curve) == 1) {
			t.Errorf("noise %v, dies %v: phrases %v", c.noise, c.dies, p.Phrases)
			continue
		}
		for _, n := range notes {
			for s := n.at - 0.02; s < n.at+n.length; s += 0.01 {
				if g := curve.DB(audio.FramesAt(s)); g < 0 {
					t.Errorf("noise %v: the note at %.2f s is taken down by %.1f dB at %.2f s", c.noise, n.at, -g, s)
					break
				}
			}
		}
		for _, k := range []int{3, 7} { // before the rest, and the last
			end := notes[k].at + notes[k].length
			for s := end; s < end+math.Min(50/c.dies, 1.4); s += 0.01 {
				if g := curve.DB(audio.FramesAt(s)); g < -1 {
					t.Errorf("noise %v, dies %v: the tail at %.1f s is taken down by %.1f dB where it has %.1f "+
						"dB left", c.noise, c.dies, end,
						-g, 50-c.dies*(s-end))
					break
				}
			}
		}
		for _, s := range []float64{1, 2.3, 5, 7.3, 7.85, 21.9, 22.5, 25} {
			if g := curve.DB(audio.FramesAt(s)); g > -55 && !(s > 21 && c.dies < 40) {
				t.Errorf("noise %v, dies %v: open by %.1f dB at %.1f s, where nobody plays", c.noise, c.dies, g, s)
			}
		}
		if g := curve.DB(audio.FramesAt(14.8)); g > -35 && c.dies > 40 {
			t.Errorf("noise %v: open by %.1f dB at the end of the rest", c.noise, g)
		}
	}
}

// Ten decibels more noise bring the playing ten decibels nearer to it.
func TestDistanceFollowsTheNoise(t *testing.T) {
	last := 0.0
	for i, noise := range []float64{-70, -60, -50, -40} {
		x, _ := take(4, noise, 60)
		_, p := find(t, x)
		if !(p.Distance > 5) || i > 0 && math.Abs(last-p.Distance-10) > 1.5 {
			t.Errorf("10 dB more noise changes the distance from %.1f to %.1f dB", last, p.Distance)
		}
		last = p.Distance
	}
}

// IEC 61672-1 table 2: A-weighting against 1 kHz (from memory, as everywhere
// printed).
func TestAWeights(t *testing.T) {
	w := aWeights(48000)
	at := func(hz float64) float64 { return 10 * math.Log10(w[int(math.Round(hz/(48000./denoise.Size)))]) }
	for _, c := range []struct{ hz, db float64 }{{93.75, -20.1}, {187.5, -11.8}, {492.1875, -3.35}, {3984.375, 1.0},
		{7992.1875, -1.1}} {
		if got := at(c.hz) - at(1000); math.Abs(got-c.db) > 0.3 {
			t.Errorf("%.0f Hz: %.2f dB, want %.1f", c.hz, got, c.db)
		}
	}
}

// Where the noise is not known nothing is closed between the first note and the
// last; where nothing is played there is no phrase at all.
func TestAGuessClosesNothing(t *testing.T) {
	x, notes := take(5, -60, 60)
	late := x[int(7.9*rate):] // begins with the piece
	piece := Piece{From: 0.1, To: 11.1}
	n, err := denoise.Listen(audio.NewMemory(audio.Block{late}, rate), int64(-0.2*rate))
	if err != nil {
		t.Fatal(err)
	}
	p, err := Find(audio.NewMemory(audio.Block{late}, rate), n, piece)
	if err != nil || len(p.Phrases) != 1 || p.Phrases[0].From > notes[0].at-7.9-0.02 ||
		p.Phrases[0].To < notes[7].at+0.7-7.9 {
		t.Errorf("phrases %v, %v", p.Phrases, err)
	}
	quiet := hiss(6, 20, -50)
	if c, p := find(t, quiet); len(c) != 0 || !math.IsNaN(p.Distance) {
		t.Errorf("phrases %v, distance %v in noise", c, p.Distance)
	}
}

// A click from headphones in a rest opens nothing; a soft note does.
func TestClicksInARest(t *testing.T) {
	x, _ := take(7, -60, 60)
	for _, at := range []float64{12.6, 13.2, 13.8} {
		note{at: at, length: 0.005, hz: 1175, amplitude: 0.008, dbPerSecond: 900}.add(x)
	}
	if c, p := find(t, x); len(c) != 2 {
		t.Errorf("clicks: phrases %v", p.Phrases)
	}
	note{at: 13.4, length: 0.4, hz: 330, amplitude: 0.006, dbPerSecond: 80}.add(x)
	c, p := find(t, x)
	if g := c.DB(audio.FramesAt(13.5)); g != 0 {
		t.Errorf("a soft note is taken down by %.1f dB: phrases %v", -g, p.Phrases)
	}
}

// The gain never falls faster than Fall, is 0 dB in the spans, and does not
// depend on how the frames are cut into blocks.
func TestCurve(t *testing.T) {
	c := Curve{{1 * rate, 2 * rate}, {2*rate + rate/2, 3 * rate}, {9 * rate, 10 * rate}}
	last := c.DB(0)
	for f := audio.Frames(1); f < 12*rate; f++ {
		g := c.DB(f)
		if last-g > Fall/rate+1e-9 {
			t.Fatalf("frame %d: the gain falls by %.1f dB a second", f, (last-g)*rate)
		}
		if g > 0 || g < -float64(Depth) {
			t.Fatalf("frame %d: a gain of %v dB", f, g)
		}
		last = g
	}
	for _, s := range c {
		if c.DB(s.From) != 0 || c.DB(s.To-1) != 0 || c.DB(s.From-1) > -1e-9 || c.DB(s.To) > -1e-9 {
			t.Errorf("%v: gains at its edges %v %v %v %v", s, c.DB(s.From-1), c.DB(s.From), c.DB(s.To-1), c.DB(s.To))
		}
	}
	if c.Open(0, 12*rate) != 5*rate/2 || c.Open(rate+rate/2, 2*rate) != rate/2 || c.Open(4*rate, 5*rate) != 0 {
		t.Errorf("open for %d frames", c.Open(0, 12*rate))
	}
	ones := func() audio.Block {
		b := audio.NewBlock(1, 12*rate)
		for i := range b[0] {
			b[0][i] = 1
		}
		return b
	}
	whole, cut := ones(), ones()
	c.Apply(whole, -rate/3)
	for at := 0; at < 12*rate; {
		n := min(1+at%4097, 12*rate-at)
		c.Apply(cut.Slice(at, at+n), audio.Frames(at)-rate/3)
		at += n
	}
	for i := range whole[0] {
		if whole[0][i] != cut[0][i] || math.Abs(20*math.Log10(whole[0][i])-c.DB(audio.Frames(i)-rate/3)) > 1e-9 {
			t.Fatalf("frame %d: %v and %v", i, whole[0][i], cut[0][i])
		}
	}
}

// Hearing in one reading is learning the noise and then finding the playing, to the bit:
// every other frame is one that learning takes.
func TestHearIsListenAndFind(t *testing.T) {
	x, _ := take(8, -55, 60)
	for _, b := range []audio.Block{{x[:20*rate]}, {x[:15*rate+777], x[:15*rate+777]}} {
		src := func() audio.Source { return audio.NewMemory(b, rate) }
		from := int64((piece.From - 0.3) * rate)
		noise, err := denoise.Listen(src(), from)
		if err != nil {
			t.Fatal(err)
		}
		want, err := Find(src(), noise, piece)
		if err != nil {
			t.Fatal(err)
		}
		heard, got, err := Hear(src(), from, piece)
		if err != nil || !reflect.DeepEqual(heard, noise) || !reflect.DeepEqual(got, want) || len(got.Phrases) == 0 {
			t.Errorf("%d channels: %+v, want %+v, %v; the same noise: %v", len(b), got, want, err,
				reflect.DeepEqual(heard, noise))
		}
	}
	broken := errors.New("cut off")
	src := &audiotest.Failing{Source: audio.NewMemory(audio.Block{x}, rate), Left: 90_000, Err: broken}
	if _, _, err := Hear(src, 0, piece); !errors.Is(err, broken) {
		t.Errorf("%v", err)
	}
}
