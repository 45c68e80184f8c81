package playing

import (
	"errors"
	"io"
	"math"
	"math/rand/v2"
	"testing"

	"ripieno/mix/audio"
	"ripieno/mix/audio/audiotest"
)

// frequency returns that of a MIDI note at 440 Hz (ISO 16): 440·2^((n−69)/12).
func frequency(note float64) float64 { return 440 * math.Exp2((note-69)/12) }

// hum adds a harmonic tone with soft ends to x.
func hum(x []float64, rate int, at, length, note float64, partials []float64) {
	f := frequency(note)
	from := int(at * float64(rate))
	n := int(length * float64(rate))
	for i := 0; i < n && from+i < len(x); i++ {
		env := math.Min(1, 0.02*math.Min(float64(i), float64(n-i))/(0.02*0.03*float64(rate)))
		for k, a := range partials {
			if p := f * float64(k+1); p < 0.45*float64(rate) {
				x[from+i] += 0.2 * env * a * math.Sin(2*math.Pi*math.Mod(p*float64(i)/float64(rate), 1)+float64(k))
			}
		}
	}
}

func listen(t testing.TB, x []float64, rate int) *Tones {
	t.Helper()
	tones, err := Listen(audio.NewMemory(audio.Block{x}, rate))
	if err != nil {
		t.Fatal(err)
	}
	return tones
}

// Sines and harmonic tones from a double bass' E1 to a flute's E7, each between
// two tempered notes by another amount, at both usual rates in turn: the note is found
// within 2 cents.
func TestPitchOfTones(t *testing.T) {
	t.Parallel()
	for name, partials := range map[string][]float64{
		"sine": {1}, "reed": {1, 0.2, 0.7, 0.2, 0.5, 0.3}, "missing fundamental": {0.02, 1, 0.8, 0.7, 0.4, 0.3},
		"bright": {1, 0.9, 0.9, 0.8, 0.8, 0.7, 0.7, 0.6},
	} {
		worst := 0.0
		for n := 28; n <= 100; n += 3 {
			if name == "missing fundamental" && n > 76 {
				continue // its second partial would be the note
			}
			rate := 44100 + n%2*3900
			want := float64(n) + 0.37*math.Sin(float64(n))
			x := make([]float64, rate)
			hum(x, rate, 0.2, 0.6, want, partials)
			tones := listen(t, x, rate)
			if len(tones.Steady) != 1 {
				t.Errorf("%s %d: %d tones for note %d: %+v", name, rate, len(tones.Steady), n, tones.Steady)
				continue
			}
			s := tones.Steady[0]
			off := math.Abs(100 * (s.Note - want))
			worst = max(worst, off)
			if off > 2 || s.Wobble > 2 {
				t.Errorf("%s %d: note %.3f was heard as %.3f, wobble %.1f", name, rate, want, s.Note, s.Wobble)
			}
			if s.From < 0.19 || s.From > 0.32 || s.To > 0.81 || s.To < 0.68 {
				t.Errorf("%s %d note %d: from %.3f to %.3f", name, rate, n, s.From, s.To)
			}
		}
		t.Logf("%s: worst %.3f cents", name, worst)
	}
}

// Published frequencies (ISO 16 for 440 Hz) and the interval from 440 to 442:
// 1200·log2(442/440) = 7.8514 cents.
func TestPublishedPitches(t *testing.T) {
	for _, c := range []struct{ hz, note float64 }{
		{65.4064, 36}, {130.8128, 48}, {195.9977, 55}, {261.6256, 60}, {329.6276, 64}, {440, 69}, {442, 69.078514},
	} {
		x := make([]float64, 48000)
		for i := range x {
			x[i] = 0.3 * math.Sin(2*math.Pi*c.hz*float64(i)/48000)
		}
		tones := listen(t, x, 48000)
		if len(tones.Steady) != 1 || math.Abs(100*(tones.Steady[0].Note-c.note)) > 0.5 {
			t.Errorf("%g Hz: %+v", c.hz, tones.Steady)
		}
	}
}

// A vibrato's middle is the note, whatever its depth up to half a semitone to
// either side and wherever it begins; its wobble tells how deep it is.
func TestVibrato(t *testing.T) {
	const rate = 48000
	for depth := 10.0; depth <= 50; depth += 10 {
		for turn := range 4 {
			x := make([]float64, 3*rate/2)
			phase := 0.0
			for i := range x {
				at := float64(i) / rate
				note := 64.2 + depth/100*math.Sin(2*math.Pi*(5.6*at+0.25*float64(turn)))
				phase += 2 * math.Pi * frequency(note) / rate
				for k, a := range []float64{1, 0.6, 0.5, 0.3} {
					x[i] += 0.1 * a * math.Sin(float64(k+1)*phase)
				}
			}
			tones := listen(t, x, rate)
			if len(tones.Steady) != 1 || math.Abs(100*(tones.Steady[0].Note-64.2)) > 2 {
				t.Errorf("depth %g: %+v", depth, tones.Steady)
				continue
			}
			// The deviation of a sine by the median is 1.05 of its height.
			if w := tones.Steady[0].Wobble; math.Abs(w-1.05*depth) > 0.2*depth+1 {
				t.Errorf("depth %g: wobble %.1f cents", depth, w)
			}
		}
	}
}

// What has no one pitch gives nothing, and what is much softer than the playing
// is not listened to.
func TestNoTones(t *testing.T) {
	const rate = 44100
	random := rand.New(rand.NewPCG(7, 1))
	noise, drum, glide := make([]float64, 2*rate), make([]float64, 2*rate), make([]float64, 2*rate)
	phase := 0.0
	for i := range noise {
		noise[i] = 0.2 * random.NormFloat64()
		drum[i] = 0.5 * random.NormFloat64() * math.Exp(-40*math.Mod(float64(i)/rate, 0.25))
		phase += 2 * math.Pi * frequency(50+24*float64(i)/float64(len(glide))) / rate // a semitone in 80 ms
		glide[i] = 0.3 * math.Sin(phase)
	}
	short := make([]float64, rate)
	hum(short, rate, 0.3, 0.07, 60, []float64{1, 0.5})
	for name, x := range map[string][]float64{"noise": noise, "drum": drum, "glide": glide, "short": short,
		"silence": make([]float64, rate), "nothing": nil} {
		if tones := listen(t, x, rate); len(tones.Steady) != 0 {
			t.Errorf("%s: %+v", name, tones.Steady)
		}
	}
	// A faint drone under rests, 40 dB below the playing, is a headphone's.
	x := make([]float64, 4*rate)
	hum(x, rate, 0, 4, 50, []float64{0.008})
	hum(x, rate, 1, 0.5, 67, []float64{1})
	hum(x, rate, 2.5, 0.5, 69, []float64{1})
	tones := listen(t, x, rate)
	if len(tones.Steady) != 2 || math.Abs(tones.Steady[0].Note-67) > 0.02 || math.Abs(tones.Steady[1].Note-69) > 0.02 {
		t.Errorf("%+v", tones.Steady)
	}
}

// A legato scale is one tone for each note.
func TestScale(t *testing.T) {
	const rate = 48000
	x := make([]float64, 4*rate)
	scale := []float64{60, 62, 64, 65, 67, 69, 71, 72}
	for i, n := range scale {
		hum(x, rate, 0.1+0.45*float64(i), 0.46, n+0.05, []float64{1, 0.5, 0.3})
	}
	tones := listen(t, x, rate)
	if len(tones.Steady) != len(scale) {
		t.Fatalf("%d tones: %+v", len(tones.Steady), tones.Steady)
	}
	for i, s := range tones.Steady {
		if math.Abs(100*(s.Note-scale[i]-0.05)) > 2 {
			t.Errorf("%g was heard as %.3f", scale[i], s.Note)
		}
	}
}

// One dead side, opposite phases, broken samples: the tone stays what it is.
func TestChannels(t *testing.T) {
	const rate = 48000
	x := make([]float64, rate)
	hum(x, rate, 0.1, 0.8, 57.3, []float64{1, 0.5})
	turned, broken := make([]float64, rate), append([]float64(nil), x...)
	for i := range x {
		turned[i] = -x[i]
	}
	broken[100], broken[200], broken[300] = math.NaN(), math.Inf(1), math.Inf(-1)
	for name, b := range map[string]audio.Block{
		"left": {x, make([]float64, rate)}, "right": {make([]float64, rate), x}, "antiphase": {x, turned},
		"six": {x, x, x, x, x, x}, "broken": {broken},
	} {
		tones, err := Listen(audio.NewMemory(b, rate))
		if err != nil || len(tones.Steady) != 1 || math.Abs(tones.Steady[0].Note-57.3) > 0.02 {
			t.Errorf("%s: %v %+v", name, err, tones)
		}
	}
}

func TestSourceErrors(t *testing.T) {
	x := make([]float64, 48000)
	hum(x, 48000, 0, 1, 60, []float64{1})
	broken := errors.New("the disk is gone")
	if _, err := Listen(&audiotest.Failing{Source: audio.NewMemory(audio.Block{x}, 48000), Left: 20000,
		Err: broken}); !errors.Is(err, broken) {
		t.Errorf("error %v", err)
	}
	if tones, err := Listen(&audiotest.Failing{Source: audio.NewMemory(audio.Block{x}, 48000), Left: 24000,
		Err: io.EOF}); err != nil || math.Abs(tones.Seconds-0.5) > 0.01 {
		t.Errorf("%+v, %v", tones, err)
	}
	if _, err := Listen(audio.NewMemory(audio.Block{x}, 1000)); err == nil {
		t.Error("1000 hertz are accepted")
	}
}

func BenchmarkListen(b *testing.B) {
	x := make([]float64, 20*48000)
	for i := range 40 {
		hum(x, 48000, 0.5*float64(i), 0.45, 55+float64(i%12), []float64{1, 0.5, 0.3, 0.2})
	}
	for b.Loop() {
		listen(b, x, 48000)
	}
	b.ReportMetric(20*float64(b.N)/b.Elapsed().Seconds(), "×realtime")
}
