package simulate

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"ripieno/mix/audio"
)

// A room's tail falls by 60 dB in the time asked for, a church's too, and has the
// energy asked for: the decay is read between 5 and 35 dB below the beginning, as
// ISO 3382-2 reads T30, by Schroeder's backward integration.
func TestRoomDecays(t *testing.T) {
	const rate = 16000
	for _, m := range []room{{0.3, 6, 5000}, {0.8, 0, 8000}, {4, -2, 6000}} {
		x := make([]float64, int((m.rt60+0.3)*rate))
		x[0] = 1
		m.apply(rand.New(rand.NewPCG(1, 1)), x, rate)
		if x[0] != 1 {
			t.Errorf("the direct sound is %g", x[0])
		}
		left, sum := make([]float64, len(x)), 0.0
		for i := len(x) - 1; i > rate*4/100; i-- {
			sum += x[i] * x[i]
			left[i] = 10 * math.Log10(sum+1e-30)
		}
		begin := left[rate*4/100+1]
		at := func(db float64) float64 {
			for i := rate*4/100 + 1; i < len(x); i++ {
				if left[i] < begin+db {
					return float64(i) / rate
				}
			}
			return math.NaN()
		}
		// Half of what walls return is dull: the tail as a whole falls faster than
		// its low notes, to which the time asked for belongs.
		if got := 2 * (at(-35) - at(-5)); !(got > 0.45*m.rt60 && got < 1.1*m.rt60) {
			t.Errorf("the tail of %g s falls by 60 dB in %.2f s", m.rt60, got)
		}
	}
}

// The moment at which a note is heard is where its envelope passes 10 dB below its
// peak, whatever the note.
func TestHeardIsTenBelowThePeak(t *testing.T) {
	r := rand.New(rand.NewPCG(2, 1))
	for _, in := range instruments {
		for range 5 {
			s := sound{pitch: in.centre + r.IntN(12) - 6, length: 0.3 + r.Float64(), loud: r.Float64()}
			note := in.vary(r, s)
			env := make([]float64, int(s.length*1e4))
			note.envelope(env, 0, 1e-4, s.length)
			top := 0.0
			for _, a := range env {
				top = math.Max(top, a)
			}
			at := 0
			for env[at] < heardAt*top {
				at++
			}
			if got := note.heard(s.length, heardAt); math.Abs(got-float64(at)*1e-4) > 0.002 {
				t.Errorf("%s: heard after %.1f ms, its envelope says %.1f", in.name, 1000*got, float64(at)/10)
			}
		}
	}
}

// Ears go by 10 dB below the peak of a note, more or less; one that goes by less of it hears
// every note sooner, and what is struck at once either way.
func TestEarsDiffer(t *testing.T) {
	r := rand.New(rand.NewPCG(4, 1))
	below := make([]float64, 400)
	for i := range below {
		below[i] = -20 * math.Log10(newEar(r))
		if math.Abs(below[i]-10) > earMost+1e-9 {
			t.Fatalf("an ear goes by %.1f dB below the peak", below[i])
		}
	}
	slices.Sort(below)
	if m := middle(below); math.Abs(m-10) > 0.2 || below[300]-below[100] < earScatter {
		t.Errorf("half the ears go by less than %.2f dB, the middle half by %.1f to %.1f", m, below[100], below[300])
	}
	keen, dull := math.Pow(10, -12.0/20), math.Pow(10, -8.0/20)
	for _, in := range instruments {
		early, late := in.heard(0.5, keen), in.heard(0.5, dull)
		if !(early < late) || late-early > 0.1 || !in.held() && late-early > 0.002 {
			t.Errorf("%s: heard after %.1f and %.1f ms", in.name, 1e3*early, 1e3*late)
		}
	}
}

// Players anticipate: half of what they play is heard no earlier and no later than they mean,
// though bows take some 50 ms to speak; but where a part lies in registers that speak otherwise
// than most, all of it is heard early or late, by what sampled bows are, at most.
func TestPlayersAnticipate(t *testing.T) {
	var players []float64
	for number := range uint64(12) {
		for _, k := range New(number, Options{Level: Typical, Players: 3, Seconds: 40, Rate: 8000}).Takes {
			var late []float64
			spread := 0.0
			for _, n := range k.Notes() {
				late = append(late, n.Played-n.Meant)
				spread = math.Max(spread, math.Abs(n.Played-n.Meant))
			}
			got, most := middle(late), 0.002 // struck and plucked
			switch {
			case k.Truth.Slow():
				most = 0.09 // what a long one needs
			case k.p.inst.held():
				most = 0.02
			}
			if math.Abs(got) > most {
				t.Errorf("%d %s: half the notes are heard %.1f ms late", number, k.Instrument(), 1000*got)
			}
			players = append(players, got)
			if k.Truth.Slow() && spread < 0.01 {
				t.Errorf("%d %s: all notes speak alike", number, k.Instrument())
			}
		}
	}
	slices.Sort(players)
	if got := middle(players); math.Abs(got) > 0.005 || math.Abs(players[len(players)/8]) < 0.005 {
		t.Errorf("half the players are heard %.1f ms late; they are %.4f s", 1000*got, players)
	}
}

// Notes of another synthesiser are put where they belong, on the file's clock and at
// the file's rate: a click at every event comes out there.
func TestRecordPutsNotesInPlace(t *testing.T) {
	k := New(3, Options{Level: Easy, Players: 1, Seconds: 20, Rate: 16000}).Takes[0]
	const rate, from = 22050, -2.0
	dry := make([]float64, int((k.p.m.End()+3-from)*rate))
	for _, n := range k.Notes() {
		dry[int(math.Round((n.Meant-from)*rate))] = 1
	}
	k.room, k.dev.low, k.codec = room{0.2, 60, 5000}, 1, codec{}
	src, err := k.Record(audio.NewMemory(audio.Block{dry}, rate), from)
	if err != nil {
		t.Fatal(err)
	}
	b, err := audio.ReadAll(src)
	if err != nil {
		t.Fatal(err)
	}
	for _, n := range k.Notes() {
		want := k.file(n.Meant) * 16000
		best, top := 0, 0.0
		for i := max(0, int(want)-400); i < int(want)+400; i++ {
			if v := math.Abs(b[0][i]); v > top {
				best, top = i, v
			}
		}
		if math.Abs(float64(best)-want) > 8 {
			t.Errorf("the note at %.3f s lies %.1f ms off", n.Meant, (float64(best)-want)/16)
		}
	}
	if len(k.Events()) < len(k.Notes()) {
		t.Errorf("%d events of %d notes", len(k.Events()), len(k.Notes()))
	}
}

// A leak as loud as asked for: clicks 6 dB over the music's peak are the loudest
// there is, and one that is not asked for is nowhere.
func TestLeakIsAsLoudAsAskedFor(t *testing.T) {
	loud, none := 6.0, math.NaN()
	for _, leak := range []*float64{&loud, &none} {
		k := New(5, Options{Level: Easy, Players: 1, Seconds: 10, Rate: 16000, Leak: leak}).Takes[0]
		x := make([]float64, k.frames)
		k.leak(x, 0.1)
		want := 0.0
		if leak == &loud {
			want = 0.2
		}
		if got := peak(x); math.Abs(got-want) > 0.03 {
			t.Errorf("a leak of %g dB over 0.1 peaks at %g", *leak, got)
		}
	}
}

// The noise of a device is as loud as it says: at 48 kHz half of its power is pink and a quarter
// white, and pink noise has unit power whatever the rate.
func TestNoiseIsAsLoudAsItSays(t *testing.T) {
	for _, rate := range []int{16000, 48000} {
		r, p := rand.New(rand.NewPCG(1, 2)), newPink(rate)
		var sum float64
		n := 20 * rate
		for range n {
			v := p.next(math.Sqrt(3) * (2*r.Float64() - 1))
			sum += v * v
		}
		if db := 10 * math.Log10(sum/float64(n)); math.Abs(db) > 0.5 {
			t.Errorf("%d Hz: pink noise of %.1f dB, want 0", rate, db)
		}
		x := make([]float64, n)
		device{noise: -50, high: 1e9}.apply(r, x, rate)
		want := -50 + 10*math.Log10(0.49+0.25*float64(rate)/48000)
		if db := 10 * math.Log10(power(x)); math.Abs(db-want) > 0.5 {
			t.Errorf("%d Hz: noise of %.1f dBFS, want %.1f", rate, db, want)
		}
	}
}

// A note for a cue is at its peak before it ends and is 12 dB down some 0.19 s after it began, as
// sampled violas' are (0.16 to 0.29 s; half of them under 0.19). Notes of the part swell and
// ring longer.
func TestShortNotesAreShort(t *testing.T) {
	const step, length = 0.001, 0.16
	for _, in := range instruments {
		env := make([]float64, 600)
		in.short(length).envelope(env, 0, step, length)
		top := slices.Index(env, slices.Max(env))
		down := top
		for down < len(env)-1 && env[down] > env[top]*math.Pow(10, -12.0/20) {
			down++
		}
		if top > 110 || in.held() && (down < 160 || down > 215) {
			t.Errorf("%s: at its peak after %d ms, 12 dB down after %d", in.name, top, down)
		}
	}
}
