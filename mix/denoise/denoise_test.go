package denoise

import (
	"math"
	"math/rand/v2"
	"testing"

	"ripieno/mix/audio"
	"ripieno/mix/audio/audiotest"
)

const rate = audio.Rate

// hiss returns n samples of white noise of a level in dB of full scale, RMS.
func hiss(seed uint64, n int, db float64) []float64 {
	rng := rand.New(rand.NewPCG(seed, 7))
	x, gain := make([]float64, n), math.Pow(10, db/20)
	for i := range x {
		x[i] = gain * rng.NormFloat64()
	}
	return x
}

// addNote adds a plucked note: eight partials that die away.
func addNote(x []float64, at int, hz, amplitude, decay float64) {
	for p := 1; p <= 8; p++ {
		for i := at; i < len(x); i++ {
			t := float64(i-at) / rate
			x[i] += amplitude / float64(p) * math.Exp(-t*decay) * math.Sin(2*math.Pi*hz*float64(p)*t)
		}
	}
}

// level returns the RMS of x in dB.
func level(x []float64) float64 {
	sum := 0.0
	for _, v := range x {
		sum += v * v
	}
	return 10 * math.Log10(sum/float64(len(x))+1e-30)
}

// reduce returns x with its noise reduced.
func reduce(t *testing.T, x []float64, from int64, depth audio.Decibels) []float64 {
	t.Helper()
	noise, err := Listen(audio.NewMemory(audio.Block{x}, rate), from)
	if err != nil {
		t.Fatal(err)
	}
	src, err := New(audio.NewMemory(audio.Block{x}, rate), noise, depth)
	if err != nil {
		t.Fatal(err)
	}
	out, err := audio.ReadAll(src)
	if err != nil || out.Frames() != len(x) {
		t.Fatalf("%d frames of %d, %v", out.Frames(), len(x), err)
	}
	return out[0]
}

// The noise of a count-in is learned within a decibel in every third of an
// octave, in spite of a clap and of speech over half of it; the measure is the
// power of white noise under the window, n·σ²/2.
func TestListenLearnsTheNoise(t *testing.T) {
	x := hiss(1, 12*rate, -50)
	for i := rate; i < 4*rate; i++ { // somebody talks
		x[i] += 0.1 * math.Sin(float64(i)*0.03) * math.Max(0, math.Sin(float64(i)*4e-4))
	}
	addNote(x, 5*rate, 900, 0.5, 60) // a clap
	addNote(x, 8*rate, 300, 0.3, 1)
	noise, err := Listen(audio.NewMemory(audio.Block{x}, rate), 7*rate)
	if err != nil || !noise.Known || noise.Rate != rate {
		t.Fatalf("%v, known %v", err, noise != nil && noise.Known)
	}
	want := 10*math.Log10(Size/2) - 50
	for low := 8; low < Lines-1; low = low * 5 / 4 {
		high := min(low*5/4+1, Lines)
		got := 10 * math.Log10(sum(noise.Power[low:high])/float64(high-low))
		if math.Abs(got-want) > 1.2 {
			t.Errorf("lines %d to %d: %.2f dB, want %.2f", low, high, got, want)
		}
	}
}

// A recording that begins in the middle of the playing has no count-in: what is
// taken for its noise is not known.
func TestListenKnowsWhenItDoesNot(t *testing.T) {
	x := hiss(2, 6*rate, -50)
	addNote(x, 0, 300, 0.3, 0.2)
	for _, from := range []int64{0, -5 * rate, rate / 4} {
		if n, err := Listen(audio.NewMemory(audio.Block{x}, rate), from); err != nil || n.Known {
			t.Errorf("from %d: known %v, %v", from, n.Known, err)
		}
	}
	// Somebody who plays through the count-in does not become the noise.
	busy := hiss(3, 12*rate, -50)
	addNote(busy, 0, 300, 0.3, 0.01)
	for i := 8 * rate; i < 9*rate; i++ {
		busy[i] = x[i-8*rate] - busy[i]*0
	}
	copy(busy[8*rate:9*rate], hiss(4, rate, -50))
	if n, err := Listen(audio.NewMemory(audio.Block{busy}, rate), 7*rate); err != nil || n.Known {
		t.Errorf("playing through the count-in: known %v, %v", n.Known, err)
	}
}

// above returns x without what lies under some 600 Hz, by two filters of the first order.
func above(x []float64) []float64 {
	keep, y := math.Exp(-2*math.Pi*600/rate), make([]float64, len(x))
	var last, once, twice float64
	for i, v := range x {
		high := keep * (once + v - last)
		twice = keep * (twice + high - once)
		last, once, y[i] = v, high, twice
	}
	return y
}

// Below 100 Hz nothing is reduced, above 200 Hz by the depth.
func TestLowsKeepTheirNoise(t *testing.T) {
	for _, hz := range []int{44100, 48000, 96000} {
		for k, g := range floorsOf(12, hz) {
			f, db := float64(k)*float64(hz)/Size, 20*math.Log10(g)
			if f <= 100 && db != 0 || f >= 200 && math.Abs(db+12) > 1e-9 || db > 0 || db < -12-1e-9 {
				t.Errorf("at %d Hz of rate, the floor at %.0f Hz is %.2f dB", hz, f, db)
			}
		}
	}
	x := hiss(6, 10*rate, -40)
	rest := func(x []float64) float64 { // what lies under some 40 Hz
		low, sum := 0.0, 0.0
		for i, v := range x {
			if low += (v - low) * 2 * math.Pi * 40 / rate; i > rate {
				sum += low * low
			}
		}
		return 10 * math.Log10(sum)
	}
	if d := rest(reduce(t, x, 10*rate, 16)) - rest(x); d < -2 || d > 0.5 {
		t.Errorf("the lows of noise change by %.2f dB", d)
	}
}

// Noise alone becomes softer by the depth, and what is left has no tones of its
// own: no line of a long spectrum stands farther out of its neighbours than one
// of the noise itself does.
func TestNoiseAloneStaysNoise(t *testing.T) {
	x := hiss(5, 20*rate, -40)
	for _, depth := range []audio.Decibels{6, 12, 16} {
		y := reduce(t, x, 20*rate, depth)
		quiet := y[2*rate : 18*rate]
		if got := level(above(quiet)) - level(above(x[2*rate:18*rate])); got > -0.85*float64(depth) || got < -float64(depth)-0.3 {
			t.Errorf("depth %v: the noise became %.2f dB softer", depth, -got)
		}
		if was, is := peakiness(x[2*rate:18*rate]), peakiness(quiet); is > was+1 {
			t.Errorf("depth %v: lines stand out by %.1f dB, those of the noise by %.1f", depth, is, was)
		}
		// Musical noise: power that jumps from frame to frame in a line. The
		// kurtosis of the lines' amplitudes tells it (Uemura et al. 2008).
		if was, is := kurtosis(x[2*rate:18*rate]), kurtosis(quiet); is > 1.6*was {
			t.Errorf("depth %v: kurtosis %.2f of the lines, that of the noise %.2f", depth, is, was)
		}
	}
}

// peakiness returns by how many decibels the strongest line of the mean spectrum
// stands over the median of the twenty around it.
func peakiness(x []float64) float64 {
	mean := make([]float64, Lines)
	spec := NewSpectrum()
	for at := 0; at+Size <= len(x); at += Hop {
		spec.AddPower(mean, x[at:at+Size])
	}
	worst := 0.0
	for k := 20; k+10 < Lines; k++ {
		around := 0.0
		for j := k - 10; j <= k+10; j++ {
			around += mean[j] / 21
		}
		worst = math.Max(worst, 10*math.Log10(mean[k]/around))
	}
	return worst
}

// kurtosis returns the ratio of the mean square of the lines' powers to the
// square of their mean, over all lines and frames: 2 for white noise.
func kurtosis(x []float64) float64 {
	spec, power := NewSpectrum(), make([]float64, Lines)
	first, second, n := 0.0, 0.0, 0.0
	for at := 0; at+Size <= len(x); at += Hop {
		clear(power)
		spec.AddPower(power, x[at:at+Size])
		for _, p := range power[20 : Lines-20] {
			first, second, n = first+p, second+p*p, n+1
		}
	}
	return second * n / (first * first)
}

// Notes over noise come nearer to the notes themselves: attacks keep their
// height within a decibel in the first 30 ms, and the error falls.
func TestNotesKeepTheirAttack(t *testing.T) {
	const n = 16 * rate
	clean := make([]float64, n)
	var onsets []int
	for k := range 10 {
		at := 5*rate + k*rate
		addNote(clean, at, 220*math.Pow(2, float64(k%5)/6), 0.1, 3)
		onsets = append(onsets, at)
	}
	noise := hiss(6, n, -50)
	x := make([]float64, n)
	for i := range x {
		x[i] = clean[i] + noise[i]
	}
	y := reduce(t, x, 5*rate-rate/10, 12)
	for _, at := range onsets {
		const first = 30 * rate / 1000
		if lost := level(clean[at:at+first]) - level(y[at:at+first]); lost > 1 {
			t.Errorf("the attack at %.1f s lost %.2f dB", float64(at)/rate, lost)
		}
	}
	miss := func(z []float64) float64 {
		d := make([]float64, 0, n)
		for i := 5 * rate; i < 15*rate; i++ {
			d = append(d, z[i]-clean[i])
		}
		return level(d)
	}
	if before, after := miss(x), miss(y); after > before-5 {
		t.Errorf("the error was %.1f dB and is %.1f dB", before, after)
	}
}

// The follower's bias is that of white noise, and the noise a phone turns down
// while it is played is followed down.
func TestFollowerKnowsItsBias(t *testing.T) {
	x := hiss(7, 30*rate, -40)
	for i := 15 * rate; i < len(x); i++ {
		x[i] *= 0.25 // −12 dB
	}
	learned := make([]float64, Lines)
	for k := range learned {
		learned[k] = Size / 2 * 1e-4
	}
	f, spec, power := newFollower(learned), NewSpectrum(), make([]float64, Lines)
	over := func() float64 {
		total := 0.0
		for _, b := range f.bands {
			total += b.level / float64(len(f.bands))
		}
		return total
	}
	for at := 0; at+Size <= len(x); at += Hop {
		clear(power)
		spec.AddPower(power, x[at:at+Size])
		f.next(power)
		if at/Hop == 14*rate/Hop && math.Abs(over()) > 0.5 {
			t.Errorf("steady noise is taken for %.2f dB more", over())
		}
	}
	if math.Abs(over()+12.04) > 0.7 {
		t.Errorf("noise that fell by 12 dB is followed by %.2f dB", over())
	}
}

// A phone that turns itself up by 12 dB while nobody plays shows its noise as it
// is then, and as it is under the playing; somebody who tunes through the
// count-in, as loud as that noise, is not taken for noise.
func TestListenToAPhoneThatTurnsItselfUp(t *testing.T) {
	up, under := hiss(10, 8*rate, -40), hiss(11, 12*rate, -52)
	x := append(up, under...)
	for k := range 10 {
		addNote(x[:(9+k)*rate], (8+k)*rate, 262, 0.2, 6)
	}
	n, err := Listen(audio.NewMemory(audio.Block{x}, rate), 8*rate)
	if err != nil || !n.Known {
		t.Fatalf("known %v, %v", n.Known, err)
	}
	dB := func(p []float64) float64 {
		return 10*math.Log10(sum(p[100:])/float64(Lines-100)) - 10*math.Log10(Size/2)
	}
	if math.Abs(dB(n.Power)+40) > 1 || math.Abs(dB(n.Under)+52) > 1.5 {
		t.Errorf("noise of %.1f dB, %.1f dB under the playing; want -40 and -52", dB(n.Power), dB(n.Under))
	}
	copy(x, hiss(12, 8*rate, -52))
	for k := range 16 {
		addNote(x[:(k+1)*rate/2], k*rate/2, 300*math.Pow(2, float64(k%7)/12), 0.02, 8)
	}
	if n, err = Listen(audio.NewMemory(audio.Block{x}, rate), 8*rate); err != nil || n.Known && dB(n.Power) > -49 {
		t.Errorf("tuning is noise of %.1f dB, %v", dB(n.Power), err)
	}
}

// What is read does not depend on how it is read, for one channel and two; and
// nonsense is refused.
func TestSource(t *testing.T) {
	b := audio.Block{hiss(8, 30_000, -30), hiss(9, 30_000, -30)}
	noise, err := Listen(audio.NewMemory(b, 44100), 0)
	if err != nil {
		t.Fatal(err)
	}
	audiotest.Source(t, func() audio.Source {
		s, err := New(audio.NewMemory(b, 44100), noise, 10)
		if err != nil {
			t.Fatal(err)
		}
		return s
	})
	for _, bad := range []func() (audio.Source, error){
		func() (audio.Source, error) { return New(audio.NewMemory(b, 48000), noise, 10) },
		func() (audio.Source, error) { return New(audio.NewMemory(b, 44100), nil, 10) },
		func() (audio.Source, error) { return New(audio.NewMemory(b, 44100), noise, audio.Decibels(math.NaN())) },
		func() (audio.Source, error) { return New(audio.NewMemory(b, 44100), noise, 41) },
	} {
		if _, err := bad(); err == nil {
			t.Error("no error")
		}
	}
	// Digital silence has no noise, and stays silent.
	still := audio.NewBlock(1, 20_000)
	noise, err = Listen(audio.NewMemory(still, rate), 10_000)
	if err != nil {
		t.Fatal(err)
	}
	s, err := New(audio.NewMemory(still, rate), noise, 10)
	if err != nil {
		t.Fatal(err)
	}
	out, err := audio.ReadAll(s)
	if err != nil || level(out[0]) > -250 {
		t.Errorf("silence became %.0f dB, %v", level(out[0]), err)
	}
}

// Notes that lie 8 dB over the noise, with an attack of 20 ms, keep it: what is left of a
// note in its first 30 ms is within half a decibel of what is left of it later (a decibel is
// what is asked for; without looking at the frame behind, 0.76). The measure is the part of
// the result that is the note, by projection, so that noise does not count.
func TestSoftNotesKeepTheirAttack(t *testing.T) {
	const n = 14 * rate
	clean, onsets := make([]float64, n), []int{}
	for k := range 14 {
		at := 4*rate + k*rate*2/3 + 137*k // anywhere in a frame
		hz := 196 * math.Pow(2, float64(k%7)/5)
		for i := at; i < at+rate/2; i++ {
			s := float64(i-at) / rate
			e := 0.04 * math.Min(1, s/0.02) * math.Min(1, (0.5-s)/0.05)
			for p := 1.0; p <= 5; p++ {
				clean[i] += e / p * math.Sin(2*math.Pi*hz*p*s)
			}
		}
		onsets = append(onsets, at)
	}
	noise, x := hiss(21, n, -36), make([]float64, n)
	for i := range x {
		x[i] = clean[i] + noise[i]
	}
	y := reduce(t, x, 4*rate-rate/10, 16)
	kept := func(from, to int) float64 {
		was, is := 0.0, 0.0
		for i := from; i < to; i++ {
			was, is = was+x[i]*clean[i], is+y[i]*clean[i]
		}
		return 20 * math.Log10(is/was)
	}
	mean := 0.0
	for _, at := range onsets {
		lost := kept(at+rate/20, at+rate/3) - kept(at, at+30*rate/1000)
		if mean += lost / float64(len(onsets)); lost > 0.5 {
			t.Errorf("the attack at %.2f s lost %.2f dB", float64(at)/rate, lost)
		}
	}
	if mean > 0.3 {
		t.Errorf("attacks lost %.2f dB", mean)
	}
}
