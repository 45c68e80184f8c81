package click

import (
	"math"
	"math/cmplx"
	"testing"

	"gonum.org/v1/gonum/dsp/fourier"

	"ripieno/mix/audio"
	"ripieno/mix/loudness"
	"ripieno/mix/tempo"
)

// kWeighted returns the mean square of wave over n samples after the K filter at
// 48 kHz, with the coefficients of ITU-R BS.1770-4 tables 1 and 2 and nothing
// of the package loudness.
func kWeighted(wave []float64, n int) float64 {
	type biquad struct{ b0, b1, b2, a1, a2, z1, z2 float64 }
	stages := []*biquad{
		{b0: 1.53512485958697, b1: -2.69169618940638, b2: 1.19839281085285, a1: -1.69065929318241,
			a2: 0.73248077421585},
		{b0: 1, b1: -2, b2: 1, a1: -1.99004745483398, a2: 0.99007225036621},
	}
	sum := 0.0
	for i := range n {
		x := 0.0
		if i < len(wave) {
			x = wave[i]
		}
		for _, s := range stages {
			y := s.b0*x + s.z1
			s.z1, s.z2 = s.b1*x-s.a1*y+s.z2, s.b2*x-s.a2*y
			x = y
		}
		sum += x * x
	}
	return sum / float64(n)
}

func lufs(meanSquare float64) float64 { return -0.691 + 10*math.Log10(meanSquare) }

// The loudness of each sound is as the package says, within 0.1 LU of the
// 0.5 LU that a player may expect; measured alone in a block of 400 ms.
func TestStatedLoudness(t *testing.T) {
	k := newKit(1)
	for _, c := range []struct {
		name string
		wave []float64
		want float64
	}{
		{"downbeat", k.downbeat, DownbeatLUFS},
		{"accent", k.accent, AccentLUFS},
		{"beat", k.beat, BeatLUFS},
		{"subdivision", k.subdivision, SubdivisionLUFS},
		{"cue", k.cue, CueLUFS},
	} {
		if got := lufs(kWeighted(c.wave, blockFrames)); math.Abs(got-c.want) > 0.1 {
			t.Errorf("%s has %.2f LUFS, stated %.1f", c.name, got, c.want)
		}
	}
	with := newKit(1)
	with.addTones(4, 440, 1)
	for i, sound := range with.tones[1] {
		tone := make([]float64, len(sound))
		copy(tone, sound)
		click := with.beat
		if i == 0 {
			click = with.downbeat
		}
		for j, v := range click {
			tone[j] -= v
		}
		if got := lufs(kWeighted(tone, blockFrames)); math.Abs(got-CountToneLUFS) > 0.1 {
			t.Errorf("count tone %d has %.2f LUFS, stated %.1f", i+1, got, CountToneLUFS)
		}
	}
}

func TestStatedDroneLoudness(t *testing.T) {
	m := build(t, tempo.Spec{Measures: 3, Changes: []tempo.Change{{Measure: 1, Meter: pulse(t, "4/4"), BPM: 60}}})
	for _, note := range []int{24, 36, 50, 69, 96} {
		for _, fifth := range []bool{false, true} {
			for _, db := range []audio.Decibels{0, -6} {
				wave := samples(t, m, Options{ClickDB: audio.Decibels(math.Inf(-1)), DroneDB: db,
					Drones: []Drone{{From: 0, To: 5, MIDINote: note, Fifth: fifth}}})
				want := DroneLUFS + float64(db)
				if got := lufs(kWeighted(wave[24000:4*48000], 168000)); math.Abs(got-want) > 0.1 {
					t.Errorf("note %d, fifth %v: %.2f LUFS, stated %.1f", note, fifth, got, want)
				}
			}
		}
	}
}

// The whole guide, with everything and as loud as it may be, keeps to −3 dBTP.
func TestTruePeak(t *testing.T) {
	m := varied(t)
	for _, o := range []Options{
		{},
		{ClickDB: 4, CountTones: true, Subdivisions: Written,
			Drones: []Drone{{From: 0, To: 30, MIDINote: 38, Fifth: true}}},
		{ClickDB: 4.5, Subdivisions: 8},
	} {
		meter := loudness.NewMeter(1, audio.Rate)
		wave := samples(t, m, o)
		meter.Write(audio.Block{wave})
		if p := meter.TruePeak(); p > Ceiling || p < -14 {
			t.Errorf("%+v peaks at %.2f dBTP", o, p)
		}
	}
}

// A whole guide is near −30 LUFS, with and without a drone.
func TestWholeGuideLoudness(t *testing.T) {
	for _, signature := range []string{"4/4", "2/2", "6/8"} {
		m := build(t, tempo.Spec{CountIn: tempo.CountIn{Measures: 4}, Measures: 8,
			Changes: []tempo.Change{{Measure: 1, Meter: pulse(t, signature), BPM: 100}}})
		for _, drones := range [][]Drone{nil, {{From: 0, To: m.End(), MIDINote: 50, Fifth: true}}} {
			meter := loudness.NewMeter(1, audio.Rate)
			meter.Write(audio.Block{samples(t, m, Options{Drones: drones})})
			if l := meter.Integrated(); math.Abs(float64(l)+30) > 1 {
				t.Errorf("%s with %d drones: %.1f LUFS", signature, len(drones), l)
			}
		}
	}
}

// centroid returns the mean frequency of a sound's power.
func centroid(wave []float64) float64 {
	padded := make([]float64, 1<<14)
	copy(padded, wave)
	var sum, weighted float64
	for i, c := range fourier.NewFFT(len(padded)).Coefficients(nil, padded) {
		p := real(c)*real(c) + imag(c)*imag(c)
		sum += p
		weighted += p * float64(i) * audio.Rate / float64(len(padded))
	}
	return weighted / sum
}

// The cue cannot be taken for a click: its energy lies two octaves above that
// of the highest click of a beat.
func TestCueSoundsDifferent(t *testing.T) {
	k := newKit(1)
	cue := centroid(k.cue)
	for name, wave := range map[string][]float64{"downbeat": k.downbeat, "accent": k.accent, "beat": k.beat} {
		if c := centroid(wave); cue < 4*c/1.3 || cue < 7000 {
			t.Errorf("cue centred at %.0f Hz, %s at %.0f Hz", cue, name, c)
		}
	}
	if centroid(k.downbeat) < 1.2*centroid(k.beat) {
		t.Error("the downbeat is not clearly higher than a beat")
	}
}

// steady returns a drone alone, 24-bit as in a WAV file, after its fade.
func steady(t *testing.T, o Options, d Drone) []float64 {
	m := build(t, tempo.Spec{Measures: 3, Changes: []tempo.Change{{Measure: 1, Meter: pulse(t, "4/4"), BPM: 60}}})
	d.From, d.To = 0, 12
	o.ClickDB, o.Drones = audio.Decibels(math.Inf(-1)), []Drone{d}
	wave := samples(t, m, o)[48000:]
	for i := range wave {
		wave[i] = math.Round(wave[i]*(1<<23)) / (1 << 23)
	}
	return wave
}

// pitch measures the frequency near f from the phases of two Hann-windowed
// FFTs taken apart, which is exact far below the width of a bin.
func pitch(wave []float64, f float64) float64 {
	const n, hop = 1 << 18, 1 << 17
	fft := fourier.NewFFT(n)
	bin := int(math.Round(f * n / audio.Rate))
	phase := func(from int) float64 {
		windowed := make([]float64, n)
		for i := range windowed {
			windowed[i] = wave[from+i] * (0.5 - 0.5*math.Cos(2*math.Pi*float64(i)/n))
		}
		return cmplx.Phase(fft.Coefficients(nil, windowed)[bin])
	}
	turns := (phase(hop) - phase(0)) / (2 * math.Pi)
	expected := f * hop / audio.Rate
	turns += math.Round(expected - turns)
	return turns * audio.Rate / hop
}

func cents(got, want float64) float64 { return 1200 * math.Log2(got/want) }

// f = A4·2^((n−69)/12) with A4 = 440 (ISO 16) and 442 Hz, to four digits after
// the point as calculated from that formula. A hundredth of a cent is asked.
func TestDroneFrequencies(t *testing.T) {
	for _, c := range []struct {
		note       string
		f440, f442 float64
	}{
		{"C2", 65.4064, 65.7037}, {"C3", 130.8128, 131.4074}, {"G3", 195.9977, 196.8886}, {"C4", 261.6256, 262.8148},
		{"E4", 329.6276, 331.1259}, {"A4", 440, 442}, {"C8", 4186.0090, 4205.0364},
	} {
		n, err := ParseNote(c.note)
		if err != nil {
			t.Fatal(err)
		}
		for ref, want := range map[float64]float64{440: c.f440, 442: c.f442} {
			if got := Frequency(n, ref); math.Abs(got-want) > 0.00006 {
				t.Errorf("%s at %g is %.5f Hz by the formula, table %.4f", c.note, ref, got, want)
			}
			wave := steady(t, Options{PitchHz: ref}, Drone{MIDINote: n})
			if got := pitch(wave, want); math.Abs(cents(got, want)) > 0.01 {
				t.Errorf("%s at %g sounds at %.5f Hz, table %.4f", c.note, ref, got, want)
			}
		}
	}
	if d := cents(Frequency(69, 442), 440); math.Abs(d-7.8514) > 0.0001 {
		t.Errorf("442 is %.4f cents above 440", d)
	}
}

// The pure fifth is 3:2, 701.9550 cents; the equal one 700.
func TestFifth(t *testing.T) {
	for _, c := range []struct {
		equal bool
		want  float64
	}{{false, 701.9550}, {true, 700}} {
		wave := steady(t, Options{}, Drone{MIDINote: 50, Fifth: true, EqualFifth: c.equal})
		root := pitch(wave, 146.8324)
		fifth := pitch(wave, 146.8324*math.Exp2(c.want/1200))
		if d := cents(fifth, root); math.Abs(d-c.want) > 0.01 {
			t.Errorf("fifth of %.4f cents, want %.4f", d, c.want)
		}
	}
}

// No beating: the level of a drone with its pure fifth is the same in every
// tenth of a second, while the equal fifth, which beats, shows that the test
// would see it.
func TestNoBeating(t *testing.T) {
	swing := func(equal bool) float64 {
		// D3 and its fifth meet at 440.5 and 440.0 Hz: half a beat a second.
		wave := steady(t, Options{}, Drone{MIDINote: 50, Fifth: true, EqualFifth: equal})
		low, high := math.Inf(1), 0.0
		for from := 0; from+9600 < 10*48000; from += 4800 {
			// The third partial of the root by a Hann-windowed sum.
			var c complex128
			for i := range 9600 {
				w := 0.5 - 0.5*math.Cos(2*math.Pi*float64(i)/9600)
				c += complex(w*wave[from+i], 0) * cmplx.Exp(complex(0, -2*math.Pi*3*146.8324*float64(i)/48000))
			}
			low, high = min(low, cmplx.Abs(c)), max(high, cmplx.Abs(c))
		}
		return 20 * math.Log10(high/low)
	}
	if s := swing(false); s > 0.05 {
		t.Errorf("the pure fifth swings by %.3f dB", s)
	}
	if s := swing(true); s < 3 {
		t.Errorf("the equal fifth swings by only %.3f dB: the test is blind", s)
	}
}

// A tone to tune to has partials: at least six within 30 dB of the loudest
// for a low note.
func TestTimbreIsRich(t *testing.T) {
	v := newVoice(Frequency(38, 440))
	strong := 0
	for _, a := range v.a {
		if audio.DecibelsOf(a/v.a[0]) > -30 {
			strong++
		}
	}
	if strong < 6 {
		t.Errorf("%d strong partials", strong)
	}
	for i := range newVoice(Frequency(127, 480)).a {
		if f := Frequency(127, 480) * float64(i+1); f > 20000 {
			t.Errorf("a partial at %.0f Hz", f)
		}
	}
}

// Soft start and end: no step larger than the steady tone's own, and the level
// rises without a jump.
func TestDroneFades(t *testing.T) {
	m := build(t, tempo.Spec{Measures: 2, Changes: []tempo.Change{{Measure: 1, Meter: pulse(t, "4/4"), BPM: 60}}})
	wave := samples(t, m, Options{ClickDB: audio.Decibels(math.Inf(-1)),
		Drones: []Drone{{From: 1, To: 4, MIDINote: 57}}})
	peak := func(from, to float64) float64 {
		p := 0.0
		for _, v := range wave[int(from*48000):int(to*48000)] {
			p = max(p, math.Abs(v))
		}
		return p
	}
	full := peak(2, 3)
	if full == 0 || wave[48000] != 0 || wave[4*48000-1] != 0 || peak(0, 1) != 0 || peak(4, 8) != 0 {
		t.Error("the drone does not begin and end at zero")
	}
	last := 0.0
	for s := 1.0; s < 1.3; s += 0.02 {
		p := peak(s, s+0.02)
		if p < last || p-last > 0.2*full {
			t.Errorf("at %.2f s the level goes from %.4f to %.4f of %.4f", s, last, p, full)
		}
		last = p
	}
	if p := peak(1, 1.01); p > 0.01*full {
		t.Errorf("the first 10 ms reach %.4f of %.4f", p, full)
	}
}

// A drone longer than the guide is as soft at the guide's ends, and one that
// lies outside is not there.
func TestDroneWithinTheGuide(t *testing.T) {
	m := build(t, tempo.Spec{Measures: 1, Changes: []tempo.Change{{Measure: 1, Meter: pulse(t, "4/4"), BPM: 120}}})
	wave := samples(t, m, Options{ClickDB: audio.Decibels(math.Inf(-1)),
		Drones: []Drone{{From: -5, To: 500, MIDINote: 57}, {From: 3, To: 9, MIDINote: 45}}})
	if len(wave) != 96000 || wave[0] != 0 || wave[95999] != 0 || wave[48000] == 0 {
		t.Errorf("%d samples from %v to %v", len(wave), wave[0], wave[len(wave)-1])
	}
	for i := range 100 {
		if math.Abs(wave[i]) > 1e-4 || math.Abs(wave[95999-i]) > 1e-4 {
			t.Fatalf("not soft %d samples from the ends", i)
		}
	}
}

// Fast subdivisions cut the sound before them: no two overlap, and the cut is
// faded.
func TestChoke(t *testing.T) {
	chunk := make([]float64, 200)
	sound := make([]float64, 150)
	for i := range sound {
		sound[i] = 1
	}
	addSound(chunk, 1000, sound, 1020, 1120)
	for i, v := range chunk {
		switch at := i - 20; {
		case (at < 0 || at >= 99) && v != 0, at >= 0 && at < 100-chokeFrames && v != 1:
			t.Fatalf("sample %d is %v", i, v)
		case at > 100-chokeFrames && at < 100 && v >= chunk[i-1]:
			t.Fatalf("sample %d is %v after %v", i, v, chunk[i-1])
		}
	}
	clear(chunk)
	addSound(chunk, 1100, sound, 1000, 1400) // its end, from the middle
	if chunk[49] != 1 || chunk[50] != 0 {
		t.Errorf("the end of a sound is %v, %v", chunk[49], chunk[50])
	}
}

// Count tones climb with the beats, and the last measure is an octave higher.
func TestCountTones(t *testing.T) {
	m := build(t, tempo.Spec{CountIn: tempo.CountIn{Measures: 4}, Measures: 1,
		Changes: []tempo.Change{{Measure: 1, Meter: pulse(t, "4/4"), BPM: 60}}})
	plain, toned := samples(t, m, Options{}), samples(t, m, Options{CountTones: true})
	for i := range plain {
		toned[i] -= plain[i]
	}
	tone := func(second int) float64 { return centroid(toned[second*48000 : second*48000+9600]) }
	silent := func(second int) bool {
		for _, v := range toned[second*48000 : second*48000+48000] {
			if v != 0 {
				return false
			}
		}
		return true
	}
	if !silent(8) || !silent(16) || !silent(19) {
		t.Error("a tone on the cue or in the piece")
	}
	for beat := 1; beat < 4; beat++ {
		if tone(beat) <= 1.02*tone(beat-1) {
			t.Errorf("beat %d at %.0f Hz after %.0f Hz", beat+1, tone(beat), tone(beat-1))
		}
	}
	if r := tone(13) / tone(1); math.Abs(r-2) > 0.05 {
		t.Errorf("the last measure is %.2f times as high", r)
	}
}
