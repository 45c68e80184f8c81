package click

import (
	"math"
	"testing"

	"ripieno/mix/audio"
	"ripieno/mix/tempo"
)

// said returns a recording of a word: silence, a soft hiss, a loud vowel, silence.
func said(silence, hiss, vowel float64, loud float64) []float64 {
	x := make([]float64, int((silence+hiss+vowel+0.4)*audio.Rate))
	for i := range x {
		t := float64(i)/audio.Rate - silence
		switch {
		case t < 0 || t > hiss+vowel:
		case t < hiss:
			x[i] = 0.1 * loud * math.Sin(2*math.Pi*5000*t)
		default:
			x[i] = loud * math.Sin(2*math.Pi*200*(t-hiss))
		}
	}
	return x
}

// A word falls on its beat with its vowel, whatever is before it, and is as loud whatever
// it was recorded with.
func TestWordsAreOnTheirBeat(t *testing.T) {
	spec := tempo.Spec{Measures: 1, CountIn: tempo.CountIn{Measures: 2, Lead: 1}}
	meter, _ := tempo.ParseMeter("3/4")
	spec.Changes = []tempo.Change{{Measure: 1, Meter: meter, BPM: 75}}
	m, err := tempo.New(spec)
	if err != nil {
		t.Fatal(err)
	}
	var list []Word
	for i, x := range [][]float64{said(0.5, 0, 0.3, 0.02), said(0.1, 0.08, 0.3, 0.9), said(0, 0.2, 0.5, 0.3)} {
		w, ok := NewWord(x)
		if !ok {
			t.Fatalf("word %d is not heard", i+1)
		}
		list = append(list, w)
	}
	with := render(t, m, Options{ClickDB: audio.Decibels(math.Inf(-1)), Words: list})
	if p := peakOf(with); p != 0 {
		t.Errorf("without clicks nobody counts, and the peak is %g", p)
	}
	plain, spoken := render(t, m, Options{}), render(t, m, Options{Words: list})
	diff := make([]float64, len(plain))
	for i := range diff {
		diff[i] = spoken[i] - plain[i]
	}
	for b := range m.Beats() {
		from := int(b.Seconds * audio.Rate)
		if !b.CountIn {
			if p := peakOf(diff[from:]); p > 0 {
				t.Errorf("somebody speaks in the piece: %g", p)
			}
			break
		}
		on := rms(diff[from : from+audio.Rate/20])
		if b.Cue {
			if p := peakOf(diff[from-audio.Rate/50 : from+audio.Rate/5]); p > 1e-9 {
				t.Errorf("somebody speaks on the cue: %g", p)
			}
			continue
		}
		before := rms(diff[max(0, from-audio.Rate/100) : from-audio.Rate/500])
		if before > 0.35*on || on < 0.01 || on > 0.3 {
			t.Errorf("beat %d of %d: %.4f before, %.4f on it", b.Number, b.Measure, before, on)
		}
	}
	if p := audio.DecibelsOf(peakOf(spoken)); p > Ceiling {
		t.Errorf("a peak of %.1f dB", p)
	}
}

// Nothing that is no word becomes one.
func TestWordsThatAreNone(t *testing.T) {
	for _, x := range [][]float64{nil, make([]float64, 4800), {math.NaN()}, {math.Inf(1), 0}} {
		if _, ok := NewWord(x); ok {
			t.Errorf("%d samples became a word", len(x))
		}
	}
	long := said(0, 0, 5, 0.5)
	if w, ok := NewWord(long); !ok || len(w.wave) > MaxWord*audio.Rate {
		t.Errorf("a word of %d samples", len(w.wave))
	}
}

func render(t *testing.T, m *tempo.Map, o Options) []float64 {
	t.Helper()
	src, err := Guide(m, o)
	if err != nil {
		t.Fatal(err)
	}
	block, err := audio.ReadAll(src)
	if err != nil {
		t.Fatal(err)
	}
	return block[0]
}

func peakOf(x []float64) (p float64) {
	for _, v := range x {
		p = max(p, math.Abs(v))
	}
	return p
}

func rms(x []float64) float64 {
	sum := 0.0
	for _, v := range x {
		sum += v * v
	}
	return math.Sqrt(sum / float64(len(x)))
}
