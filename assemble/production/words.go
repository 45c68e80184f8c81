package production

import (
	"fmt"
	"slices"
	"strings"

	"ripieno/layout"
	"ripieno/layout/shot"
)

// Words is a closed set of words, in the order they are explained to people.
type Words[W ~string] []W

// Parse returns the word that text is. Any other text is an error that lists the
// words there are.
func (set Words[W]) Parse(text string) (W, error) {
	if slices.Contains(set, W(text)) {
		return W(text), nil
	}
	return "", fmt.Errorf("%q is none of %s", text, strings.Join(set.Strings(), ", "))
}

// Strings returns the words as texts.
func (set Words[W]) Strings() []string {
	all := make([]string, len(set))
	for i, w := range set {
		all[i] = string(w)
	}
	return all
}

// Timing is what becomes of a player's steady lateness.
type Timing string

// The timings.
const (
	Tightened Timing = "tightened" // the playing is put on the beats
	AsPlayed  Timing = "as-played" // the player's clap is
)

// Timings are all of them; the first is the default.
var Timings = Words[Timing]{Tightened, AsPlayed}

// Role is which recording of a take a file is.
type Role string

// The roles.
const (
	Video Role = "video"
	Audio Role = "audio"
)

// Roles are both.
var Roles = Words[Role]{Video, Audio}

// Phrase returns such a recording as a sentence has it.
func (r Role) Phrase() string {
	if r == Video {
		return "a video"
	}
	return "an audio file"
}

// Other returns the other recording of a take.
func (r Role) Other() Role {
	if r == Video {
		return Audio
	}
	return Video
}

// Releases are the words of a [Release] that is written down.
var Releases = Words[Release]{ReleaseYes, ReleaseNo, ReleaseAudioOnly}

// Verdict is a person's own word on a take, in place of what check would say; "" leaves
// it to check.
type Verdict string

// The verdicts.
const (
	VerdictOK   Verdict = "ok"
	VerdictAsk  Verdict = "ask"
	VerdictRedo Verdict = "redo"
)

// Verdicts are all of them.
var Verdicts = Words[Verdict]{VerdictOK, VerdictAsk, VerdictRedo}

// Fits say how a picture goes into a tile of another aspect; the first is the
// default.
var Fits = Words[layout.Mode]{layout.Crop, layout.Fit}

// Colour is a picture's colour space where the file is wrong about it.
type Colour string

// The colour spaces. A file that says its own has "".
const (
	BT709  Colour = "bt709"
	BT601  Colour = "bt601"
	BT2020 Colour = "bt2020"
	P3     Colour = "p3"
	HLG    Colour = "hlg"
	PQ     Colour = "pq"
)

// Colours are all of them.
var Colours = Words[Colour]{BT709, BT601, BT2020, P3, HLG, PQ}

// Range is the range of a picture's code values. A file that says its own has "".
type Range string

// The ranges.
const (
	LimitedRange Range = "limited" // 16 to 235
	FullRange    Range = "full"    // 0 to 255
)

// Ranges are both.
var Ranges = Words[Range]{LimitedRange, FullRange}

// Rows says how the tiles of everybody are put into rows.
type Rows string

// The rows.
const (
	GridRows      Rows = "grid"      // of tiles of one size
	SectionRows   Rows = "sections"  // each section begins a row
	JustifiedRows Rows = "justified" // of one height, as wide as the pictures are
)

// RowKinds are all of them; the first is the default.
var RowKinds = Words[Rows]{GridRows, SectionRows, JustifiedRows}

// AudioOnly is what stands for a player who is heard and not seen.
type AudioOnly string

// The ways.
const (
	AudioOnlyCard   AudioOnly = "card"   // a tile with their name
	AudioOnlyCredit AudioOnly = "credit" // their name in the credits alone
)

// AudioOnlyWays are both; the first is the default.
var AudioOnlyWays = Words[AudioOnly]{AudioOnlyCard, AudioOnlyCredit}

// Alignment is where the tiles of an incomplete row stand.
type Alignment string

// The alignments.
const (
	Stretched   Alignment = "stretch" // tiles widened until the row is full; of tiles of any shape only
	Centred     Alignment = "centred"
	Spread      Alignment = "spread"
	LeftAligned Alignment = "left"
)

// Alignments are all of them; the first is the default.
var Alignments = Words[Alignment]{Centred, Stretched, Spread, LeftAligned}

// Shows are the kinds of shot.
var Shows = Words[shot.Kind](shot.Kinds())

// Others is whether all others stay in view while one take is shown large; ""
// is as OthersAbsent.
type Others string

// What others do.
const (
	OthersAbsent Others = "absent"
	OthersAround Others = "around" // they are seen small, round the soloist
)

// OtherKinds are both; the first is the default.
var OtherKinds = Words[Others]{OthersAbsent, OthersAround}

// TransitionKind is how a shot takes over from the one before.
type TransitionKind string

// The transitions.
const (
	Cut      TransitionKind = "cut"
	Dissolve TransitionKind = "dissolve"
	Move     TransitionKind = "move" // tiles glide from their old places to the new
)

// TransitionKinds are all of them; the first is the default.
var TransitionKinds = Words[TransitionKind]{Cut, Dissolve, Move}

// Cuts is where shots take over that the manifest gives in seconds; "" is as CutExact
// for tiles of one shape, else as CutOnBeats.
type Cuts string

// The places.
const (
	CutOnBeats Cuts = "beats" // on the nearest beat
	CutExact   Cuts = "exact" // as written
)

// CutKinds are both; the first is the default.
var CutKinds = Words[Cuts]{CutOnBeats, CutExact}

// EntranceKind is who comes together when the tiles of a shot come one after another.
type EntranceKind string

// The ways.
const (
	BySection EntranceKind = "section"
	ByPlayer  EntranceKind = "player"
)

// EntranceKinds are both; the first is the default.
var EntranceKinds = Words[EntranceKind]{BySection, ByPlayer}

// Codec is what a film's picture is encoded as.
type Codec string

// The codecs.
const (
	H264 Codec = "h264"
	HEVC Codec = "hevc"
	AV1  Codec = "av1"
)

// Codecs are all of them; the first, which plays everywhere, is the default.
var Codecs = Words[Codec]{H264, HEVC, AV1}

// With is which takes are heard in a variant of the guide; "" is none.
type With string

// The companies.
const (
	WithMix    With = "mix"    // all takes
	WithOthers With = "others" // all but those that play to this guide
)

// Withs are both.
var Withs = Words[With]{WithMix, WithOthers}

// LabelStyles are all styles of names on tiles; the first is the default.
var LabelStyles = Words[layout.LabelStyle]{layout.Plate, layout.Shadow, layout.Strip}

// LabelCorners are all places of names on tiles; the first is the default.
var LabelCorners = Words[layout.Corner]{layout.AutoCorner, layout.BottomLeft, layout.BottomRight, layout.TopLeft,
	layout.TopRight}

// Release is what a player, or the guardian of a minor, has agreed to have
// published.
type Release string

// The releases. ReleaseMissing is a take of which nothing is written down.
const (
	ReleaseMissing   Release = ""
	ReleaseYes       Release = "yes"        // face, sound and name
	ReleaseAudioOnly Release = "audio-only" // sound and name: the picture goes into nothing that is made
	// nothing: neither picture nor sound nor name goes into anything that is made
	ReleaseNo Release = "no"
)

// Word returns the release in a word: "missing" when nothing is written down.
func (r Release) Word() string {
	if r == ReleaseMissing {
		return "missing"
	}
	return string(r)
}
