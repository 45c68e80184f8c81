package intake

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
)

// asks is what to say to the player, by code and, where it matters, level.
// Codes without an entry need no answer.
var asks = map[Code]string{
	Missing:    "We are looking forward to your recording: when may we expect it?",
	Unreadable: "We could not open your file. Could you send it again, or export it once more as MP4 or WAV?",
	Truncated:  "Your file reached us only in part. Could you send it again?",
	Damaged:    "Some places of your file are damaged. Could you export and send it again?",
	NoSound:    "Your recording has no sound. Could you check the microphone and send it again?",
	NoPicture:  "Your file has sound but no picture. Do you have the video as well?",
	Silent:     "Your recording is silent. Could you check that the right microphone is chosen, and record again?",
	TooSoft:    "Your recording is very soft. Could you come closer to the microphone or turn up its level?",
	Noisy:      "There is a lot of noise around your playing. Could you try a quieter room or come closer to the microphone?",
	TooLoud:    "Your recording is very loud, and some notes may be distorted. If you record again, could you turn the level down a little?",
	Clipped:    "The loud places are distorted. Could you step back from the microphone or turn its level down, and try your loudest place first?",
	Hum:        "There is a hum from the mains. Could you try without the charger, or move away from lamps and power supplies?",
	Bleed:      "The clicks of your headphones are heard in your recording. Could you turn the guide down, or use headphones that close around the ears?",
	LowRate:    "Your sound was recorded in telephone quality. Could you choose a higher quality in the recorder's settings?",
	Speed:      "Your recording runs at a different speed than the guide. Was it converted or sent through a messenger? The original file would help.",
	CueUnsure:  "We could not hear your clap in the count-in for certain. Could you tell us at what second of your file it comes?",
	OtherPiece: "Your recording does not fit the click track, and may be another piece or another tempo. Which version of the guide did you use?",
	StartsLate: "Your recording starts after the clap. Could you start recording before you start the guide?",
	EndsEarly:  "Your recording ends before the piece does. Do you have a longer one?",
	Portrait:   "Your picture is upright. If you record again, please turn the phone sideways.",
	LowRes:     "Your picture is small. Could you send the original file? Messengers shrink videos.",
	TooDark:    "Your picture is dark. Could you place a lamp or a window in front of you?",
	BlownOut:   "Large parts of your picture are pure white. Could you turn away from the window or lamp?",
	Frozen:     "Your picture does not move. Could you send the video again?",
	Unsharp:    "Your picture is out of focus. Could you wipe the lens and tap on yourself on the screen before you record?",
	OffCentre:  "You are near the edge of the picture. If you record again, could you move into the middle?",
	CutOff:     "You are partly outside the picture. If you record again, could you move back or into the middle?",
	LowFPS:     "Your video has very few pictures a second. Could you send the original file?",
	FrameGaps:  "Your picture gets stuck in places. Could you close other programs while recording, or send the original file?",
	Apart:      "Sound and picture of your file are of different length. Could you send the original file?",
	Broken:     "Your recording is interrupted in one place, perhaps by a call or a full memory. Do you have the original file, or could you record it again?",
	Duplicate:  "The same file came for two players. Could you check which one you meant to send?",
}
