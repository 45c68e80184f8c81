package click

import (
	"math"
	"math/rand/v2"

	"ripieno/mix/audio"
	"ripieno/mix/tempo"
)

// maxSound is the longest sound in frames.
const maxSound audio.Frames = audio.Rate / 5

// kit holds the sounds of a guide at their levels.
type kit struct {
	downbeat, accent, beat, subdivision, cue []float64

	countIn int            // measures of the count-in, when it has tones
	tones   [2][][]float64 // by beat, for its last measure and for the others

	peak float64 // largest true peak, linear
}

// newKit makes the sounds. The clicks are struck wood: two damped modes and a
// grain of noise at the strike, higher for the downbeat. The cue is struck
// metal: noise above 6 kHz with no pitch, which rings longer. All begin with a
// sample near their largest, so that the first sample is the onset.
func newKit(gain float64) kit {
	k := kit{
		downbeat:    wood(1760, 0.026),
		accent:      wood(1480, 0.024),
		beat:        wood(1175, 0.024),
		subdivision: wood(2350, 0.012),
		cue:         metal(),
	}
	for _, s := range []struct {
		wave []float64
		lufs float64
	}{
		{k.downbeat, DownbeatLUFS}, {k.accent, AccentLUFS}, {k.beat, BeatLUFS},
		{k.subdivision, SubdivisionLUFS}, {k.cue, CueLUFS},
	} {
		k.peak = max(k.peak, level(s.wave, s.lufs, gain))
	}
	return k
}

// sound chooses the sound of a pulse.
func (k kit) sound(b tempo.Beat) []float64 {
	switch {
	case b.Cue:
		return k.cue
	case b.Part > 0:
		return k.subdivision
	case b.CountIn && k.countIn > 0:
		set := k.tones[1]
		if b.Measure == k.countIn {
			set = k.tones[0]
		}
		return set[(b.Number-1)%len(set)]
	case b.Downbeat:
		return k.downbeat
	case b.Accent:
		return k.accent
	}
	return k.beat
}

// addTones makes the counted beats: the click with a soft tone under it, from
// A below the reference up the major scale in pure intervals.
func (k *kit) addTones(countIn int, pitchHz, gain float64) {
	k.countIn = countIn
	scale := []float64{1, 9.0 / 8, 5.0 / 4, 4.0 / 3, 3.0 / 2, 5.0 / 3, 15.0 / 8, 2}
	for set, octave := range []float64{1, 0.5} {
		for beat, ratio := range scale {
			tone := pip(pitchHz * octave * ratio)
			level(tone, CountToneLUFS, gain)
			click := k.beat
			if beat == 0 {
				click = k.downbeat
			}
			for i, v := range click {
				tone[i] += v
			}
			k.tones[set] = append(k.tones[set], tone)
			_, peak := measure(tone)
			k.peak = max(k.peak, peak)
		}
	}
}

// pip returns a short round tone, as long as a click may be.
func pip(f float64) []float64 {
	wave := make([]float64, maxSound)
	for i := range wave {
		t := float64(i) / audio.Rate
		attack := min(t/0.006, 1)
		a := 2 * math.Pi * f * t
		wave[i] = attack * math.Exp(-t/0.09) * (math.Sin(a) + 0.3*math.Sin(2*a) + 0.1*math.Sin(3*a))
	}
	return fadeEnd(wave)
}

// wood returns a block of wood struck: modes at f and 2.71 f (a free bar's second
// mode is 2.756 f; blocks lie a little lower), which die away with the time
// constant tau in seconds, and 1 ms of noise. Only the first mode starts at
// its crest: it makes the edge, and the others do not pile up on it.
func wood(f, tau float64) []float64 {
	noise := rand.New(rand.NewPCG(1, 1760))
	n := min(int(tau*8*audio.Rate), int(maxSound)) // e^-8 is −69 dB
	wave := make([]float64, n)
	for i := range wave {
		t := float64(i) / audio.Rate
		wave[i] = math.Exp(-t/tau)*math.Cos(2*math.Pi*f*t) +
			0.4*math.Exp(-2.2*t/tau)*math.Sin(2*math.Pi*2.71*f*t) +
			0.12*math.Exp(-t/0.0005)*(2*noise.Float64()-1)
	}
	return fadeEnd(wave)
}

// metal returns a closed pair of cymbals: noise through two high passes at 6 kHz
// and a dense row of inharmonic tones.
func metal() []float64 {
	noise := rand.New(rand.NewPCG(2, 42))
	const tau = 0.035
	n := int(0.19 * audio.Rate)
	wave := make([]float64, n)
	var x1, y1, y2 float64
	// One-pole high pass, coefficient for 6 kHz at 48 kHz: RC/(RC+dt).
	const a = 1 / (1 + 2*math.Pi*6000/audio.Rate)
	for i := range wave {
		t := float64(i) / audio.Rate
		x := 2*noise.Float64() - 1
		h := a * (y1 + x - x1)
		x1 = x
		g := a * (y2 + h - y1)
		y1, y2 = h, g
		tones := 0.0
		for _, f := range []float64{6170, 7430, 8290, 9710, 11390, 12830} {
			tones += math.Cos(2 * math.Pi * f * t)
		}
		wave[i] = math.Exp(-t/tau) * (g + 0.12*tones)
	}
	wave[0] = 0.7 // the strike
	return fadeEnd(wave)
}

// fadeEnd takes the last tenth of wave to zero.
func fadeEnd(wave []float64) []float64 {
	n := len(wave) / 10
	for i := range n {
		wave[len(wave)-1-i] *= float64(i) / float64(n)
	}
	return wave
}

// Stated loudness in LUFS at 0 dB; see the package comment.
const (
	DownbeatLUFS    = -28.0
	AccentLUFS      = -30.0
	BeatLUFS        = -32.0
	SubdivisionLUFS = -40.0
	CueLUFS         = -28.0
	CountToneLUFS   = -34.0
	DroneLUFS       = -36.0
)
