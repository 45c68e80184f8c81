package mix

import (
	"errors"
	"math"
	"testing"

	"ripieno/mix/audio"
)

// Hum that a count-in has is found by the place of the piece on guide time, and is out of the
// voice, which falls by 20 dB, to the noise, from four seconds on, under notes that stay
// as they were within 0.5 dB. A strip with no count-in, and one without hum, keeps everything.
func TestHumIsTakenOut(t *testing.T) {
	clean, _ := homemade(-60)
	hummed := clean
	hummed.Open = func() (audio.Source, error) {
		src, err := clean.Open()
		if err != nil {
			return nil, err
		}
		b, err := audio.ReadAll(src)
		for i := range b[0] {
			x := 2 * math.Pi * 60 * float64(i) / rate
			b[0][i] += 0.02 * (math.Sin(x) + 0.6*math.Sin(2*x+1))
		}
		return audio.NewMemory(b, rate), err
	}
	piece := Span{6 * rate, 12 * rate}
	lines, err := FindHum(hummed, piece)
	if err != nil || len(lines) != 2 || math.Abs(lines[0]-60) > 0.02 || math.Abs(lines[1]-120) > 0.04 {
		t.Fatalf("lines %v, %v", lines, err)
	}
	for what, s := range map[string]Strip{"no count-in": hummed, "none": clean} {
		p := piece
		if what == "no count-in" {
			p.From = -rate // a second behind the recording's beginning
		}
		if lines, err := FindHum(s, p); err != nil || lines != nil {
			t.Errorf("%s: %v, %v", what, lines, err)
		}
	}
	with := hummed
	with.Hum = lines
	was, got, want := sounding(t, hummed), sounding(t, with), sounding(t, clean)
	quiet := func(x []float64) float64 { return rms(x[2*rate : 5*rate]) } // 4 to 7 s of the recording
	if d := db(quiet(was) / quiet(got)); d < 20 {
		t.Errorf("the count-in falls by %.1f dB", d)
	}
	for k := range 6 {
		at := (6 + k) * rate
		if d := db(rms(got[at:at+rate/20]) / rms(want[at:at+rate/20])); math.Abs(d) > 0.5 {
			t.Errorf("note %d changes by %.2f dB", k+1, d)
		}
	}
	broken := clean
	broken.Open = func() (audio.Source, error) { return nil, errors.New("gone") }
	var failed *StripError
	if _, err := FindHum(broken, piece); !errors.As(err, &failed) {
		t.Errorf("a recording that cannot be opened: %v", err)
	}
}
