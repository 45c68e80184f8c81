package production

import (
	"ripieno/assemble/fault"
	"ripieno/layout"
	"ripieno/mix/audio"
)

// Take is one player's contribution. At least one of Video and Audio is set
// unless Expected is.
type Take struct {
	Name     string // unique; letters, digits, '-', '_' and '.'
	Player   string
	Part     string
	Section  string // "" or the name of a Section
	Email    string // where to reach the player; in nothing that is made
	Language string // of what the player reads alone; that of the call sheets when not given
	Video    *File  // picture, and sound when Audio is nil
	Audio    *File  // separate microphone recording
	Guide    string // "" for the one all play to, or the name of a Variant of it
	Timing   Timing
	Expected bool // not in yet: the seat is kept
	GainDB   float64
	Pan      *float64 // -100 left to 100 right; nil: placed automatically
	Mute     bool     // leaves the sound of this take out of the mix
	Strip    Strip    // its way through the mix
	TrimFrom *Time    // sound and picture of the take begin; nil: with the file
	TrimTo   *Time
	Fit      layout.Mode
	Behind   string // round a picture that is fitted: "" the background, "blur" the take itself, or "#rrggbb"
	Backing  *Asset // a picture there instead; nil for none
	Weight   int    // the tile covers so many cells a side; 1 when not given
	Seat     int    // number of its cell in everybody's grid, in reading order from 1; 0 when not given
	Crop     Crop
	AutoCrop bool    // nothing said of it, or crop: auto: the head is kept
	Release  Release // what may be published; the manifest's own release when the take has none
	HideName bool    // the player's name is shown nowhere
	Verdict  Verdict // a person's word on the take; "" leaves it to check
	Mark     fault.Mark
}

// IsFramed reports whether the manifest says what of a take's picture is shown, and does
// not leave it to what is found in it.
func (t Take) IsFramed() bool { return t.Fit == layout.Fit || !t.AutoCrop }

// File is one recording. At most one of Offset and CueAt is set; either beats
// what sync measured.
type File struct {
	Path     string   // as written, relative to the production's folder
	Offset   *float64 // guide time at the file's time zero, seconds
	CueAt    *float64 // where in the file the cue sounds, seconds
	DriftPPM *float64
	Rotate   *int // 0, 90, 180, 270 clockwise; nil: what the file says
	Colour   Colour
	Range    Range
	Track    int // which of the file's sound tracks, from 1; 0: the best
	// Parts are the stretches of the file that are one piece of time each; none: what
	// sync finds. One that is the whole file says that it is not broken.
	Parts audio.Parts
	// PartsOfSound says that Parts is of the sound only: the picture is whole.
	PartsOfSound bool
	// SampleRate is the true rate of a sound that is labelled wrongly, in hertz; 0:
	// what the file says, or sync finds.
	SampleRate int
	Mark       fault.Mark // of the mapping that holds it
}

// Crop is the focus of a picture: the point kept in the centre as far as the
// edges allow (0..1 of width and height) and a magnification of at least 1.
type Crop struct {
	X, Y, Zoom float64
}

// Middle is the focus nobody asked for: the centre, not enlarged.
var Middle = Crop{0.5, 0.5, 1}
