package production

import (
	"ripieno/mix"
	"ripieno/mix/pan"
)

// Mix is the sound of the film.
type Mix struct {
	LoudnessLUFS float64 // integrated loudness of the delivered sound; -16 when not given
	TruePeakDB   float64 // ceiling in dBTP; -1 when not given
	Room         float64 // 0 to 1, how much shared reverberation; 0 when not given
	AutoBalance  bool    // balance: auto (default) or ensemble, not manual
	Ensemble     bool    // balance: ensemble, by the sound powers of parts
	LowPan       float64 // how far out parts that give the bass sit, percent of the others; 35 when not given
	PanLaw       pan.Law
	Hall         Hall
	Impulse      *Asset  // a recorded room instead of Hall; nil: none
	FadeIn       float64 // seconds at the film's beginning; 0 when not given
	FadeOut      float64 // seconds at its end
	SoloLiftDB   float64 // how much a take is lifted while a solo shot shows it; 0 when not given
	Clean        Clean   // what is done to takes by themselves; all of it when not given
	Stage        []Place // where sections sit, for takes that are placed automatically
}

// Strip is what a take says about its own way through the mix, besides gain
// and pan. The zero value leaves everything to the program.
type Strip struct {
	Mutes     []Mute
	LowCutHz  *float64 // high-pass; 0: none; nil: by the part
	EQ        []Band
	Compress  *Compress // nil: none
	DenoiseDB float64   // how much softer steady noise becomes; 0: untouched
	Width     *float64  // of a stereo recording: 1 as recorded, 0 one point, 2 twice as wide; nil: 1
	Delay     float64   // seconds later; negative: earlier
	SendDB    float64   // to the room, beside what every take sends
	Dry       bool      // send: none
	Clean     Clean     // as the mix says when not given
}

// Clean is what the mix does to every take by itself, without being told how
// much.
type Clean struct {
	Silence bool // closes it where nobody plays
	Noise   bool // makes the noise under the playing softer
	Hum     bool // takes out the hum of the mains
	Tone    bool // brings the colour of phones toward that of microphones
	Tops    bool // draws tops again that were cut off
}

// Mute is a span in which a take is not heard.
type Mute struct{ From, To Time }

// Band is one band of a take's equaliser.
type Band struct {
	Shape  mix.Shape
	Hz     float64
	GainDB float64 // not of a low_cut
	Q      float64 // 0: 0.707
}

// Compress narrows the dynamics of a take. What is 0 has the default of the
// mix: a knee of 6 dB, 10 ms of attack, 150 ms of release.
type Compress struct {
	ThresholdDB, Ratio float64
	KneeDB             float64
	Attack, Release    float64 // seconds
	MakeUpDB           float64
}

// Hall is the shared room. Seconds; see package room.
type Hall struct {
	Decay, High, PreDelay, Size float64
}

// Place is where a section sits, from its first seat to its last: -100 left to
// 100 right.
type Place struct {
	Section  string
	From, To float64
}
