package intake

import "ripieno/assemble/report/phrase"

// Code names a kind of finding. Codes are part of the interface: they are
// printed as JSON and may be filtered on.
type Code string

// The codes.
const (
	Missing    Code = "missing"        // expected, not in yet
	Unreadable Code = "unreadable"     // no such file, or not a recording
	Truncated  Code = "truncated"      // breaks off
	Damaged    Code = "damaged"        // places that do not decode
	NoSound    Code = "no-sound"       // no sound in the whole take
	NoPicture  Code = "no-picture"     // none where one is wanted
	Silent     Code = "silent"         // a sound track with nothing on it
	TooSoft    Code = "too-soft"       //
	Noisy      Code = "noisy"          // hiss or room under the playing
	TooLoud    Code = "too-loud"       // at the upper end, not yet clipped for certain
	Clipped    Code = "clipped"        // distorted by a full input
	Hum        Code = "hum"            // of the mains
	Bleed      Code = "click-bleed"    // clicks of the guide, from the headphones
	DeadSide   Code = "dead-channel"   // one channel of several is silent
	Antiphase  Code = "antiphase"      // channels cancel each other
	LowRate    Code = "low-rate"       // telephone quality
	Speed      Code = "speed"          // clock far off the guide's
	CueUnsure  Code = "cue"            // clap missing or doubtful
	OtherPiece Code = "other-piece"    // or this one at another tempo
	StartsLate Code = "starts-late"    //
	EndsEarly  Code = "ends-early"     //
	Portrait   Code = "portrait"       // upright picture for a landscape tile
	Rotated    Code = "rotated"        // turned by the file's own mark; harmless
	LowRes     Code = "low-resolution" //
	TooDark    Code = "too-dark"       //
	BlownOut   Code = "blown-out"      //
	Frozen     Code = "frozen"         // the picture does not move
	Unsharp    Code = "out-of-focus"   //
	OffCentre  Code = "off-centre"     //
	CutOff     Code = "cut-off"        // movement runs out of the picture
	HeadCut    Code = "head-cut"       // no crop to a tile keeps the head whole
	LowFPS     Code = "low-frame-rate" //
	FrameGaps  Code = "frame-gaps"     // frames are missing
	Variable   Code = "variable-rate"  // uneven frames; harmless
	HDR        Code = "hdr"            // harmless
	Untagged   Code = "untagged"       // deep colour of no said kind; may be HDR
	Interlaced Code = "interlaced"     // harmless
	Apart      Code = "apart"          // sound and picture differ in length
	Broken     Code = "broken"         // not one piece of time
	WrongRate  Code = "wrong-rate"     // its sound is labelled with another rate
	Duplicate  Code = "duplicate"      // the same file as another take's
	ByHand     Code = "by-hand"        // a person's own word on the take
)

// Question returns what to ask the player, before it is in a language; its key is
// "" when nothing is asked.
func (f Finding) Question() phrase.Message {
	if f.Ask == "" {
		return phrase.Message{}
	}
	return question(f.Code)
}

// question returns the question that belongs to a code.
func question(code Code) phrase.Message { return phrase.New("ask." + string(code)) }
