package mix

import (
	"errors"
	"math"
	"testing"

	"ripieno/mix/audio"
	"ripieno/mix/loudness"
)

func analysed(t *testing.T, hz int, channels ...[]float64) Analysis {
	t.Helper()
	b := make(audio.Block, len(channels))
	for c := range b {
		b[c] = append([]float64{}, channels[c]...)
	}
	a, err := Analyse(audio.NewMemory(b, hz))
	if err != nil {
		t.Fatal(err)
	}
	return a
}

func scaled(x []float64, gain float64) []float64 {
	y := make([]float64, len(x))
	for i, v := range x {
		y[i] = v * gain
	}
	return y
}

// One recording in every state a phone or an editor leaves it in.
func TestAnalyseFindsTheChannels(t *testing.T) {
	n := 5 * rate
	a, b := tune(1, 0.3, 1e-4, n), tune(2, 0.3, 1e-4, n)
	hiss := pink(3, 1e-5, n)
	stereo := make([]float64, n) // half of the other side, as two microphones near each other hear
	for i := range stereo {
		stereo[i] = 0.5*a[i] + b[i]
	}
	leaky := make([]float64, n)
	for i := range leaky {
		leaky[i] = 0.002*a[i] + hiss[i]
	}
	coded := make([]float64, n) // dual mono after a lossy codec
	for i := range coded {
		coded[i] = a[i] + 30*hiss[i]
	}
	current := make([]float64, n)
	for i := range current {
		current[i] = 0.05
	}
	cases := []struct {
		name     string
		channels [][]float64
		want     Repair
	}{
		{"mono", [][]float64{a}, AsRecorded},
		{"stereo", [][]float64{a, stereo}, AsRecorded},
		{"two rooms", [][]float64{a, b}, AsRecorded},
		{"dead right", [][]float64{a, make([]float64, n)}, LeftOnly},
		{"dead left with hiss", [][]float64{leaky, a}, RightOnly},
		{"dead right with direct current", [][]float64{a, current}, LeftOnly},
		{"dual mono", [][]float64{a, a}, Fold},
		{"dual mono, coded", [][]float64{a, coded}, Fold},
		{"antiphase", [][]float64{a, scaled(a, -1)}, FoldInverted},
		{"antiphase, uneven", [][]float64{scaled(a, 0.7), scaled(coded, -1)}, FoldInverted},
		{"silence", [][]float64{make([]float64, n), make([]float64, n)}, Fold},
	}
	for _, c := range cases {
		got := analysed(t, rate, c.channels...)
		if got.Repair != c.want {
			t.Errorf("%s: %q, want %q", c.name, got.Repair, c.want)
		}
		// The analysis' loudness is what the strip then plays.
		open := at48(c.channels...)
		y := premaster(t, []Strip{{Name: "a", Open: open, Repair: got.Repair, LowCut: -1}},
			Options{Length: audio.Frames(n)})
		if played := meanLoudness(t, y); math.Abs(played-float64(got.Integrated)) > 0.05 && c.name != "silence" {
			t.Errorf("%s: analysed %.3f LUFS, plays at %.3f", c.name, float64(got.Integrated), played)
		}
	}
}

func TestAnalyseLevels(t *testing.T) {
	for _, hz := range []int{44100, 48000} {
		x := make([]float64, 20*hz)
		for i := range x {
			x[i] = 0.1 + 0.05*math.Sin(2*math.Pi*997*float64(i)/float64(hz))
		}
		a := analysed(t, hz, x)
		want := -3.01 + db(0.05)
		if math.Abs(float64(a.Integrated)-want) > 0.05 || math.Abs(float64(a.MaxShort)-want) > 0.05 ||
			math.Abs(float64(a.Range)) > 0.1 {
			t.Errorf("%d Hz: %v LUFS, max short %v, range %v, want %.2f", hz, a.Integrated, a.MaxShort, a.Range, want)
		}
		if math.Abs(a.DC-0.1) > 1e-6 || math.Abs(db(0.15)-float64(a.TruePeak)) > 0.05 || a.NoiseKnown ||
			a.Clipped != 0 || a.Broken != 0 {
			t.Errorf("%d Hz: %+v", hz, a)
		}
		if a.Frames != int64(20*hz) || a.Seconds != 20 || a.Rate != hz || a.Channels != 1 {
			t.Errorf("%d Hz: %+v", hz, a)
		}
	}
	// Pauses show the noise: a hiss of known loudness under loud notes.
	x := tune(1, 0.3, 1e-3, 20*rate)
	a := analysed(t, rate, x)
	hiss := analysed(t, rate, tune(9, 0, 1e-3, 10*rate))
	if !a.NoiseKnown || math.Abs(float64(a.NoiseFloor-hiss.Integrated)) > 1 {
		t.Errorf("noise floor %v, hiss alone %v, known %v", a.NoiseFloor, hiss.Integrated, a.NoiseKnown)
	}
	// Without pauses nothing is known, soft places or not.
	for i := range x {
		x[i] = noiseAt(i) * math.Exp(-2*math.Mod(float64(i)/rate, 1.5))
	}
	if a := analysed(t, rate, x); a.NoiseKnown {
		t.Errorf("playing without pauses has a noise floor of %v under %v", a.NoiseFloor, a.Integrated)
	}
	clipped := sine(300, 3, rate)
	for i, v := range clipped {
		clipped[i] = math.Max(-1, math.Min(1, v))
	}
	if a := analysed(t, rate, clipped); a.Clipped < rate/2 {
		t.Errorf("%d clipped samples", a.Clipped)
	}
	if a := analysed(t, rate, sine(300, 0.9999, rate)); a.Clipped > rate/50 {
		t.Errorf("a clean tone has %d clipped samples", a.Clipped)
	}
	if a := analysed(t, rate, nil); !math.IsInf(float64(a.Integrated), -1) || a.Frames != 0 || math.IsNaN(a.DC) {
		t.Errorf("nothing: %+v", a)
	}
	broken := errors.New("gone")
	closed := 0
	a, err := Analyse(&failing{audio.NewMemory(audio.NewBlock(1, 9000), rate), 5000, broken, &closed})
	if !errors.Is(err, broken) || a.Frames != 5000 {
		t.Errorf("%v, %d frames", err, a.Frames)
	}
}

// noiseAt returns noise without a generator: one value for every sample.
func noiseAt(i int) float64 {
	return math.Sin(float64(i)*float64(i%977)) * 0.2
}

// Pink noise at different levels comes out equally loud within 0.5 LU, and
// sections are as far apart as asked.
func TestBalanceMakesEqual(t *testing.T) {
	var strips []Strip
	var analyses []Analysis
	for i, level := range []float64{0.3, 0.1, 0.02, 0.005, 0.1} {
		x := pink(uint64(i), level, 10*rate)
		strips = append(strips, Strip{Name: "noise", Section: "all", Open: at48(x)})
		analyses = append(analyses, analysed(t, rate, x))
	}
	strips[4].Section = "soft"
	gains := Balance(strips, analyses, map[string]audio.Decibels{"soft": -6})
	var first float64
	for i := range strips {
		strips[i].Gain = gains[i]
		got := meanLoudness(t, premaster(t, strips[i:i+1], Options{Length: 10 * rate}))
		if i == 0 {
			first = got
		}
		want := first
		if i == 4 {
			want -= 6
		}
		if math.Abs(got-want) > 0.5 {
			t.Errorf("strip %d plays at %.2f LUFS, want %.2f", i, got, want)
		}
	}
}

func TestBalanceLimits(t *testing.T) {
	silent := loudness.Silence
	cases := []struct {
		name string
		a    Analysis
		want float64
	}{
		{"loud", Analysis{Integrated: -12, NoiseFloor: -60, NoiseKnown: true}, -18},
		{"soft and clean", Analysis{Integrated: -45, NoiseFloor: -90, NoiseKnown: true}, 15},
		{"soft and noisy", Analysis{Integrated: -45, NoiseFloor: -65, NoiseKnown: true}, 5},
		{"noise already too loud", Analysis{Integrated: -40, NoiseFloor: -55, NoiseKnown: true}, 0},
		{"loud with loud noise", Analysis{Integrated: -20, NoiseFloor: -40, NoiseKnown: true}, -10},
		{"steady", Analysis{Integrated: -45, NoiseFloor: -48}, 15},
		{"too soft", Analysis{Integrated: -68, NoiseFloor: -69}, 30},
		{"silent", Analysis{Integrated: silent, NoiseFloor: silent}, 0},
		{"broken", Analysis{Integrated: loudness.LUFS(math.NaN())}, 0},
	}
	for _, c := range cases {
		got := Balance([]Strip{{}}, []Analysis{c.a}, nil)
		if math.Abs(float64(got[0])-c.want) > 1e-9 {
			t.Errorf("%s: %v dB, want %v", c.name, float64(got[0]), c.want)
		}
		by, noisy := HeldBack(c.a)
		want, reason := map[string]float64{"soft and noisy": 10, "noise already too loud": 10, "too soft": 8}[c.name],
			c.name != "too soft"
		if math.Abs(float64(by)-want) > 1e-9 || noisy != (reason && want > 0) {
			t.Errorf("%s: held back by %v dB, noisy %v; want %v", c.name, float64(by), noisy, want)
		}
	}
	got := Balance([]Strip{{Section: "x"}, {Section: "y"}}, nil,
		map[string]audio.Decibels{"x": 2, "y": audio.Decibels(math.NaN())})
	if len(got) != 2 || got[0] != 2 || got[1] != 0 {
		t.Errorf("without analyses: %v", got)
	}
}

// What a player does before and after the piece does not set the level, but
// its pauses tell the noise.
func TestAnalyseStripMeasuresThePiece(t *testing.T) {
	const seconds = 20
	x := tune(1, 0.1, 1e-4, seconds*rate)
	for i := range 5 * rate {
		x[i] = 0.9 * math.Sin(float64(i)/20) // tuning, far too loud
	}
	copy(x[5*rate:7*rate], tune(2, 0, 1e-4, 2*rate)) // the count-in
	s := Strip{Name: "a", Open: at48(x), Offset: -2}
	piece := analysed(t, rate, x[7*rate:])
	a, err := AnalyseStrip(s, Span{5 * rate, 18 * rate})
	if err != nil || math.Abs(float64(a.Integrated-piece.Integrated)) > 0.2 {
		t.Errorf("%v LUFS, the piece alone %v, %v", a.Integrated, piece.Integrated, err)
	}
	if a.Frames != seconds*rate || !a.NoiseKnown {
		t.Errorf("%+v", a)
	}
	s.From, s.To = 6*rate, 7*rate // of the span, only this sounds
	if b, _ := AnalyseStrip(s, Span{0, 18 * rate}); b.Integrated == a.Integrated {
		t.Error("trims made no difference")
	}
	if b, err := AnalyseStrip(s, Span{100 * rate, 200 * rate}); err != nil || !math.IsInf(float64(b.Integrated), -1) {
		t.Errorf("outside the recording: %v, %v", b.Integrated, err)
	}
	broken := errors.New("gone")
	closed := 0
	s.Open = func() (audio.Source, error) {
		return &failing{audio.NewMemory(audio.NewBlock(1, 9000), rate), 5000, broken, &closed}, nil
	}
	var named *StripError
	if _, err := AnalyseStrip(s, Span{0, 100}); !errors.As(err, &named) || !errors.Is(err, broken) || closed != 1 {
		t.Errorf("%v, closed %d times", err, closed)
	}
	s.Open = nil
	if _, err := AnalyseStrip(s, Span{0, 100}); !errors.As(err, &named) {
		t.Errorf("%v", err)
	}
}

func TestMetered(t *testing.T) {
	x := tune(1, 0.3, 1e-3, 5*rate)
	m := NewMetered(audio.NewMemory(audio.Block{x, x}, rate))
	b, err := audio.ReadAll(m)
	if err != nil || b.Frames() != 5*rate {
		t.Fatal(err)
	}
	if got := m.Measured(); math.Abs(float64(got.Integrated)-meanLoudness(t, b)) > 1e-9 || got.Seconds != 5 ||
		m.Meter().Frames() != 5*rate {
		t.Errorf("%+v", got)
	}
}
