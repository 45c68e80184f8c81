package audio

import (
	"math"
	"testing"
)

// Clock figures, calculated. Published tolerances: consumer crystals ±10 to
// 50 ppm, sound cards (High Definition Audio) ±100 ppm. 50 ppm are 15 ms in
// five minutes, or 144 samples of 48 kHz in a minute; 80 ppm are 24 ms in five
// minutes, 273 ppm 65.5 ms in four.
func TestClockFigures(t *testing.T) {
	for _, c := range []struct {
		drift   PPM
		seconds float64
		want    float64 // guide seconds later than by the file's clock
	}{
		{50, 300, 0.015}, {-50, 300, -0.015}, {100, 300, 0.030}, {80, 300, 0.024}, {273, 240, 0.06552}, {50, 60,
			144.0 / 48000}, {0, 3600, 0},
	} {
		clock := Clock{Offset: -3.25, Drift: c.drift}
		late := clock.Guide(c.seconds) - clock.Guide(0) - c.seconds
		if math.Abs(late-c.want) > 1e-9 {
			t.Errorf("%v ppm over %v s: %v s, want %v", float64(c.drift), c.seconds, late, c.want)
		}
		if back := clock.File(clock.Guide(c.seconds)); math.Abs(back-c.seconds) > 1e-9 {
			t.Errorf("%v ppm: %v s of the file come back as %v", float64(c.drift), c.seconds, back)
		}
	}
	if got := FramesAt(Clock{Drift: 50}.Guide(60)) - FramesAt(60); got != 144 {
		t.Errorf("50 ppm in a minute are %d samples, want 144", got)
	}
}
