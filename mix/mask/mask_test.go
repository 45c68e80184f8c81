package mask

import (
	"math"
	"testing"

	"ripieno/mix/audio"
)

// tone returns seconds of a tone with six partials, its fundamental at a level in
// dB of full scale, between two times.
func tone(seconds, hz, db, from, to float64) []float64 {
	x := make([]float64, int(seconds*audio.Rate))
	for i := int(from * audio.Rate); i < int(to*audio.Rate); i++ {
		t := float64(i) / audio.Rate
		for p := 1.0; p <= 6; p++ {
			x[i] += math.Pow(10, db/20) / p * math.Sin(2*math.Pi*hz*p*t)
		}
	}
	return x
}

// strip listens to a sound.
func strip(t *testing.T, group string, x []float64) Strip {
	t.Helper()
	l, err := Listen(audio.NewMemory(audio.Block{x}, audio.Rate))
	if err != nil {
		t.Fatal(err)
	}
	return Strip{Levels: l, Group: group}
}

// A sine of full scale has 0 dB in the critical band it lies in (0 dB is the
// level of a full-scale sine), and far less two bands away; two channels of it
// have the same.
func TestLevels(t *testing.T) {
	x := make([]float64, 2*audio.Rate)
	for i := range x {
		x[i] = math.Sin(2 * math.Pi * 1170 * float64(i) / audio.Rate)
	}
	for _, b := range []audio.Block{{x}, {x, x}} {
		l, err := Listen(audio.NewMemory(b, audio.Rate))
		if err != nil {
			t.Fatal(err)
		}
		m := l.Moments[3]
		if math.Abs(float64(m[9])) > 0.1 || m[11] > -45 || m[7] > -45 {
			t.Errorf("%d channels: bands %v", len(b), m)
		}
	}
}

// A soft tone under a loud one of the same pitch is hidden; one of another pitch
// far below it in frequency is not, nor is the loud one. With the lift that is
// named it comes out.
func TestHiddenComesOutWithItsLift(t *testing.T) {
	loud := strip(t, "trumpet", tone(10, 440, -20, 0, 10))
	soft := strip(t, "viola", tone(10, 443, -40, 0, 10))
	low := strip(t, "cello", tone(10, 110, -40, 0, 10))
	h := Find([]Strip{loud, soft, low})
	if h[0].Share > 0 || h[2].Share > 0 {
		t.Errorf("trumpet %+v, cello %+v", h[0], h[2])
	}
	if h[1].Share < 0.95 || h[1].Lift < 8 || h[1].Lift > mostLift || len(h[1].Spans) != 1 {
		t.Fatalf("viola %+v", h[1])
	}
	near := strip(t, "viola", tone(10, 443, -28, 0, 10))
	h = Find([]Strip{loud, near})
	if h[1].Share < 0.95 || h[1].Lift <= 0 || h[1].Lift > 6 {
		t.Fatalf("viola %+v", h[1])
	}
	near.Gain = h[1].Lift
	if h = Find([]Strip{loud, near}); h[1].Share > 0.3 {
		t.Errorf("lifted by %v dB it is hidden for %.0f %% still", near.Gain, 100*h[1].Share)
	}
}

// Where it is hidden is told to a moment, and pauses are not counted.
func TestSpans(t *testing.T) {
	loud := strip(t, "trumpet", tone(20, 440, -20, 5, 9))
	soft := strip(t, "viola", tone(20, 443, -40, 1, 15))
	soft.From, loud.From = -2*audio.Rate, -2*audio.Rate
	h := Find([]Strip{loud, soft})[1]
	if len(h.Spans) != 1 || math.Abs(h.Spans[0].From.Seconds()-3) > 0.3 || math.Abs(h.Spans[0].To.Seconds()-7) > 0.3 {
		t.Errorf("spans %v", h.Spans)
	}
	if math.Abs(h.Share-4./14) > 0.05 {
		t.Errorf("hidden for %.2f of its time", h.Share)
	}
}

// Two of one part are heard together; an ensemble of one part hides nobody; nor
// does one of nothing.
func TestGroups(t *testing.T) {
	a, b := strip(t, "violin", tone(6, 440, -20, 0, 6)), strip(t, "violin", tone(6, 441, -40, 0, 6))
	for i, h := range Find([]Strip{a, b}) {
		if h.Share != 0 {
			t.Errorf("strip %d %+v", i, h)
		}
	}
	if h := Find([]Strip{a, b, strip(t, "oboe", make([]float64, 6*audio.Rate))}); h[2].Share != 0 || h[0].Share != 0 {
		t.Errorf("%+v", h)
	}
	if len(Find(nil)) != 0 {
		t.Error("somebody is hidden among nobody")
	}
}

// Only the moments that are asked about count: half of them hidden is half, whatever else
// is hidden; a group is asked about as a whole, and one that is not asked about at all is
// hidden in nothing.
func TestFindWithin(t *testing.T) {
	loud := strip(t, "trumpet", tone(8, 440, -20, 3, 8))
	soft := strip(t, "viola", tone(8, 443, -40, 0, 8))
	desk := strip(t, "viola", tone(8, 443, -60, 0, 8))
	strips := []Strip{loud, soft, desk}
	spans := func(from, to float64) []Span { return []Span{{audio.FramesAt(from), audio.FramesAt(to)}} }
	for _, c := range []struct{ from, to, share float64 }{{0, 2.5, 0}, {1, 5, 0.5}, {4, 8, 1}, {20, 30, 0}} {
		h := FindWithin(strips, [][]Span{nil, spans(c.from, c.to), nil})
		if math.Abs(h[1].Share-c.share) > 0.1 || h[2].Share != h[1].Share || h[0].Share != 0 {
			t.Errorf("from %v to %v: %+v", c.from, c.to, h)
		}
	}
	if h := FindWithin(strips, make([][]Span, 3)); h[1].Share != 0 || h[1].Lift != 0 {
		t.Errorf("of nothing: %+v", h[1])
	}
}
