package mix

import (
	"errors"
	"fmt"
	"math"

	"ripieno/mix/audio"
	"ripieno/mix/declip"
	"ripieno/mix/denoise"
	"ripieno/mix/expand"
	"ripieno/mix/pan"
)

// Strip is one take's path through the mix. The zero value of every field is
// its default, so a strip needs no more than a name and a way to open it.
type Strip struct {
	Name    string // names the strip in errors
	Section string // for Balance

	// Open starts the recording from its beginning, at its own rate and with
	// its own channels. It may be called several times, from several
	// goroutines. A source that is an io.Closer is closed after use.
	Open func() (audio.Source, error)

	Offset float64   // guide seconds at the recording's time zero
	Drift  audio.PPM // guide = Offset + t·(1 + Drift·1e-6)
	Delay  float64   // seconds by which the strip sounds later; negative: earlier

	From, To audio.Frames   // guide frames the strip may sound in; To 0: no end
	Mutes    []Span         // where it is silent
	Mute     bool           // leaves the strip out altogether
	Fade     audio.Frames   // length of the fades at trims and mutes; 0: DefaultFade
	Repair   Repair         // what to make of the channels; see Analysis
	Clip     declip.Clip    // where it is clipped, and its tops are drawn again; see Heard
	Hum      []float64      // hertz of the lines of hum that are taken out; see FindHum
	Denoise  *Denoise       // none by default
	Reduce   *Reduce        // of learned noise; none by default, and none beside Denoise
	Playing  expand.Curve   // where it is played, and closed elsewhere; nil: open everywhere
	LowCut   float64        // high-pass in hertz; 0: DefaultLowCut, negative: none
	EQ       []Band         // in this order; none by default
	Compress *Compressor    // none by default
	Gain     audio.Decibels // −Inf: silent
	Rides    []Ride         // changes of gain in places
	Pan      float64        // −1 left … 1 right
	Law      pan.Law        // of the pan; constant power by default
	Narrow   float64        // of a stereo take: 0 as wide as recorded, 1 one point, −1 twice as wide
	Send     audio.Decibels // to the room, added to what all strips send; −Inf: dry

	tap func(audio.Source) audio.Source // what listens to the repaired recording; nil: nobody
}

// Reduce makes the noise under the playing softer; see package denoise.
type Reduce struct {
	Noise *denoise.Noise // of the same recording, with its repair
	Depth audio.Decibels // at most, 0 to 40
}

// Span is a stretch of guide frames, To not included.
type Span struct{ From, To audio.Frames }

// Ride changes a strip's gain over a span, to lift a soloist or to hold one
// back. The gain moves in a straight line of decibels over Ramp frames before
// the span and after it.
type Ride struct {
	Span
	Gain audio.Decibels
	Ramp audio.Frames // 0: DefaultRamp
}

const (
	// DefaultFade is 10 ms, short enough to keep an attack and long enough
	// not to click (common practice, no source).
	DefaultFade = audio.Frames(audio.Rate / 100)
	// DefaultRamp is half a second: a change of level nobody notices as such.
	DefaultRamp = audio.Frames(audio.Rate / 2)
	// DefaultLowCut takes away direct current, steps and wind without
	// touching a double bass: its lowest string is 31 Hz with five strings.
	DefaultLowCut = 20.0
)

// StripError is a failure inside one strip. It unwraps to what failed.
type StripError struct {
	Strip string // its name
	Err   error
}

// Error names the strip before the failure.
func (e *StripError) Error() string { return fmt.Sprintf("mix: strip %q: %v", e.Strip, e.Err) }

// Unwrap returns the failure itself.
func (e *StripError) Unwrap() error { return e.Err }

// ErrNotNumber is wrapped by the error for a setting that is NaN or infinite
// where it must not be.
var ErrNotNumber = errors.New("not a usable number")

// check finds settings that would break the bus. Values that are only unwise
// are not its business.
func (s *Strip) check() error {
	if s.Open == nil {
		return &StripError{s.Name, errors.New("nothing to open")}
	}
	numbers := []struct {
		name  string
		value float64
		least float64 // −Inf allows silence
	}{
		{"offset", s.Offset, -1e7}, {"drift", float64(s.Drift), -1e5}, {"delay", s.Delay, -1e5},
		{"gain", float64(s.Gain), math.Inf(-1)}, {"send", float64(s.Send), math.Inf(-1)},
		{"pan", s.Pan, -1e9}, {"narrow", s.Narrow, -1e9}, {"low cut", s.LowCut, -1e9},
	}
	for _, n := range numbers {
		if !(n.value >= n.least && n.value <= 1e7) {
			return &StripError{s.Name, fmt.Errorf("%s %v: %w", n.name, n.value, ErrNotNumber)}
		}
	}
	if s.Gain > 100 || s.Send > 100 {
		return &StripError{s.Name, fmt.Errorf("gain of %v dB: more than 100", max(s.Gain, s.Send))}
	}
	for _, r := range s.Rides {
		if math.IsNaN(float64(r.Gain)) || r.Gain > 100 {
			return &StripError{s.Name, fmt.Errorf("ride of %v dB: %w", float64(r.Gain), ErrNotNumber)}
		}
	}
	for _, b := range s.EQ {
		if err := b.check(); err != nil {
			return &StripError{s.Name, err}
		}
	}
	if err := errors.Join(s.Compress.check(), s.Denoise.check()); err != nil {
		return &StripError{s.Name, err}
	}
	return nil
}
