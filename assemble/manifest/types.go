package manifest

import (
	"ripieno/assemble/fault"
	"ripieno/assemble/intake/limit"
	"ripieno/mix/audio"
	"ripieno/mix/tempo"
	"ripieno/mix/tempo/score"
)

// Production is a checked production.yaml. Every musical position in it has
// already become guide time through Tempo.
type Production struct {
	Path string // the manifest that was read
	Dir  string // its folder, absolute; file names in the manifest are relative to it

	Title      string
	Composer   string
	Ensemble   string
	Dedication string

	Tempo     *tempo.Map
	Score     *score.Score // what Tempo was made from; nil when the manifest writes the tempo itself
	Guide     Guide
	Timing    string    // of takes that say nothing else: "tightened" (default) or "as-played"
	Sections  []Section // those declared, in order, then those that only takes name
	Takes     []Take    // in the order of the manifest, which is the order of seats where none is written
	Seats     int       // how many there were when the seats of takes were given; 0 when not given
	Mix       Mix
	Picture   Picture
	Shots     []Shot        // sorted by From; may be empty (then the whole film is tutti)
	Deliver   []Deliverable // at least one
	Chapters  []Chapter     // in order of time
	Notes     []Note        // programme notes, in order of time
	CallSheet CallSheet
	Check     limit.Limits // from where on check finds fault with a take

	takesMark fault.Mark // of the key takes, for NeedTakes
}

// Time is a moment in guide time as the manifest wrote it.
type Time struct {
	Text    string  // as written: 12.5, 01:12.500, m33.2, start, end
	Seconds float64 // guide time; meaningless when Edge is set
	Edge    Edge    // start or end of the film, which only the plan knows
	Mark    fault.Mark
}

// Edge names the ends of the film.
type Edge int

// A Time is an ordinary moment or one of the film's ends.
const (
	Moment Edge = iota
	FilmStart
	FilmEnd
)

// Section is a group of takes with a common gain.
type Section struct {
	Name       string
	GainDB     float64
	TargetLUFS *float64 // loudness of the whole section under balance: auto; nil: each take as loud as any other
	Mark       fault.Mark
}

// Take is one player's contribution. At least one of Video and Audio is set
// unless Expected is.
type Take struct {
	Name     string // unique; letters, digits, '-', '_' and '.'
	Player   string
	Part     string
	Section  string // "" or the name of a Section
	Video    *File  // picture, and sound when Audio is nil
	Audio    *File  // separate microphone recording
	Guide    string // "" for the one all play to, or the name of a Variant of it
	Timing   string // "tightened": the playing is put on the beats; "as-played": the player's clap is
	Expected bool   // not in yet: the seat is kept
	GainDB   float64
	Pan      *float64 // -100 left to 100 right; nil: placed automatically
	Mute     bool     // leaves the sound of this take out of the mix
	Strip    Strip    // its way through the mix
	TrimFrom *Time    // sound and picture of the take begin; nil: with the file
	TrimTo   *Time
	Fit      string // "crop" (default) or "fit"
	Behind   string // round a picture that is fitted: "" the background, "blur" the take itself, or "#rrggbb"
	Backing  *Asset // a picture there instead; nil for none
	Weight   int    // the tile covers so many cells a side; 1 when not given
	Seat     int    // number of its cell in everybody's grid, in reading order from 1; 0 when not given
	Crop     Crop
	AutoCrop bool    // crop: auto, the focus is where the player moves
	Release  Release // what may be published; the manifest's own release when the take has none
	HideName bool    // the player's name is shown nowhere
	Mark     fault.Mark
}

// File is one recording. At most one of Offset and CueAt is set; either beats
// what sync measured.
type File struct {
	Path     string   // as written, relative to the production's folder
	Offset   *float64 // guide time at the file's time zero, seconds
	CueAt    *float64 // where in the file the cue sounds, seconds
	DriftPPM *float64
	Rotate   *int   // 0, 90, 180, 270 clockwise; nil: what the file says
	Colour   string // bt709, bt601, bt2020, p3, hlg or pq; "": what the file says
	Range    string // limited or full; "": what the file says
	Track    int    // which of the file's sound tracks, from 1; 0: the best
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
	X, Y, Zoom float64 // 0.5, 0.5, 1 when not given
}

// Asset is a file of the production that is not a take: a font, a picture, a
// recorded room.
type Asset struct {
	Path string // relative to the production's folder
	Mark fault.Mark
}

// Assets returns all such files that the manifest names, as often as it does.
func (p *Production) Assets() []Asset {
	list := append([]Asset(nil), p.Picture.Fonts...)
	for _, a := range []*Asset{p.Picture.Backdrop, p.Mix.Impulse} {
		if a != nil {
			list = append(list, *a)
		}
	}
	for _, t := range p.Takes {
		if t.Backing != nil {
			list = append(list, *t.Backing)
		}
	}
	return list
}

// Mix is the sound of the film.
type Mix struct {
	LoudnessLUFS float64 // integrated loudness of the delivered sound; -16 when not given
	TruePeakDB   float64 // ceiling in dBTP; -1 when not given
	Room         float64 // 0 to 1, how much shared reverberation; 0 when not given
	AutoBalance  bool    // balance: auto (default) or manual
	PanLaw       string  // power (default), compromise or linear
	Hall         Hall
	Impulse      *Asset  // a recorded room instead of Hall; nil: none
	FadeIn       float64 // seconds at the film's beginning; 0 when not given
	FadeOut      float64 // seconds at its end
	SoloLiftDB   float64 // how much a take is lifted while a solo shot shows it; 0 when not given
	Stage        []Place // where sections sit, for takes that are placed automatically
}

// Picture is what all deliverables share.
type Picture struct {
	FPSNum, FPSDen int // frame rate as a fraction; 30/1 when not given
	AspectW        int // aspect of a tile, 16:9 when not given
	AspectH        int
	Gutter         int     // pixels between tiles at 1080 lines, scaled with the canvas; 6 when not given
	Margin         int     // pixels round the grid at 1080 lines; 0 when not given
	Background     string  // "#rrggbb"; "#14161a" when not given
	Backdrop       *Asset  // a picture instead of Background, which is then only that of cards in tiles; nil for none
	Labels         bool    // names on tiles; true when not given
	LabelsFor      float64 // seconds of a shot in which names are shown; 0, when not given: all of it
	LabelsFade     float64 // seconds in which names come and go; 0, when not given: at once
	Rows           string  // "grid" (default), "sections" or "justified"
	ShortRows      string  // incomplete rows: "centred" (default), "spread" or "left"
	SmallestTile   int     // height in pixels at 1080 lines below which a grid becomes pages; 0, when not given: any
	Fonts          []Asset // fill in for characters that the embedded fonts lack, in this order
	MatchLight     bool    // match: light, bring exposure and white balance of takes together; false when not given
	FadeIn         float64 // seconds in which the film comes out of black; 0 when not given
	FadeOut        float64 // seconds in which it goes into black; 0 when not given
	LeadIn         float64 // seconds of film before measure 1; 3 when not given
	Tail           float64 // seconds of film after the last measure; 3 when not given
}

// Shot is one line of the shot list. It lasts until To, or until the next
// shot begins.
type Shot struct {
	From    Time
	To      *Time
	Show    string // tutti, soli, solo, pair, card
	Section string // for soli
	Take    string // for solo, and the left one of pair
	Other   string // the right one of pair
	Others  string // for solo: "around" shows them small, "absent" and "" not at all
	Text    string // for card: "title", "credits", "dedication" or free text
	Roll    bool   // for credits: they move up the canvas
	Labels  *bool  // nil: as Picture.Labels says
	// LabelsFor is as Picture's, nil for that one.
	LabelsFor  *float64
	Transition Transition // from the shot before
	Mark       fault.Mark
}

// Transition is how a shot takes over from the one before. It ends where the
// shot begins, so that the new shot stands complete on its downbeat.
type Transition struct {
	Kind    string  // "cut" (default), "dissolve" or "move"
	Seconds float64 // how long before the shot's beginning it starts; 0 for a cut
	Mark    fault.Mark
}

// Deliverable is one finished film.
type Deliverable struct {
	Name string // unique; the file is called after it
	W, H int    // canvas in pixels, even
	// Codec is what the finished film's picture is encoded as: "h264" (default),
	// "hevc" or "av1". Rough cuts are always H.264.
	Codec string
	// Poster is the moment of the film that is also kept as a picture; nil for none.
	Poster *Time
	Mark   fault.Mark
}

// Chapter is a place in the film that a viewer can jump to.
type Chapter struct {
	At   Time
	Name string
	Mark fault.Mark
}

// Note is a text beside the film, for players that show subtitles.
type Note struct {
	From, To Time
	Text     string
	Mark     fault.Mark
}
