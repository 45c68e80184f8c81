package production

import (
	"ripieno/assemble/fault"
	"ripieno/layout"
	"ripieno/layout/shot"
)

// Picture is what all deliverables share.
type Picture struct {
	FPSNum, FPSDen int     // frame rate as a fraction; 30/1 when not given
	Aspect                 // of tiles; any shape from 4:5 to 16:9 when not given
	Gutter         int     // pixels between tiles at 1080 lines, scaled with the canvas; 6 when not given
	Margin         int     // pixels round the grid at 1080 lines; 0 when not given
	AutoGutter     bool    // no gutter is given: where shapes are searched for, many small tiles have less
	AutoMargin     bool    // no margin is given: where shapes are searched for, it is the gutter
	Background     string  // "#rrggbb"; "#14161a" when not given
	BackgroundTo   string  // the colour that Background runs into downwards; "" for one colour
	Backdrop       *Asset  // a picture instead of Background, which is then only that of cards in tiles; nil for none
	Blurred        bool    // the ensemble, blurred, instead of Background
	Labels         bool    // names on tiles; true when not given
	LabelsFor      float64 // seconds of a shot in which names are shown; 0, when not given: all of it
	LabelsFade     float64 // seconds in which names come and go; 0, when not given: at once
	LabelStyle     layout.LabelStyle
	LabelCorner    layout.Corner
	SmallestScreen float64 // centimetres of the short side of a screen on which names are to be read; 0: not given
	Rows           Rows
	ShortRows      Alignment // of incomplete rows; "" when not given
	AudioOnly      AudioOnly // of players who are heard and not seen
	SmallestTile   int       // height in pixels at 1080 lines below which a grid becomes pages; 0, when not given: any
	Fonts          []Asset   // fill in for characters that the embedded fonts lack, in this order
	MatchLight     bool      // match: light, bring exposure and white balance of takes together; false when not given
	Cuts           Cuts
	FadeIn         float64 // seconds in which the film comes out of black; 0 when not given
	FadeOut        float64 // seconds in which it goes into black; 0 when not given
	LeadIn         float64 // seconds of film before measure 1; 3 when not given
	Tail           float64 // seconds of film after the last measure; 3 when not given
}

// Aspect is the shape of tiles: one, or any within a range. Its zero value is
// none given.
type Aspect struct {
	AspectW, AspectH int           // without common factor; 0 for a range
	Shapes           layout.Shapes // the range; zero for one shape
}

// Shot is one line of the shot list. It lasts until To, or until the next
// shot begins.
type Shot struct {
	From    Time
	To      *Time
	Show    shot.Kind
	Section string // for soli
	Take    string // for solo, and the left one of pair
	Other   string // the right one of pair
	Others  Others // for solo
	Text    string // for card: "title", "credits", "dedication" or free text
	Roll    bool   // for credits: they move up the canvas
	Labels  *bool  // nil: as Picture.Labels says
	// LabelsFor is as Picture's, nil for that one.
	LabelsFor  *float64
	Aspect     Aspect     // of its tiles; zero: as the deliverable or Picture says
	Transition Transition // from the shot before
	PushIn     float64    // how many times larger its pictures become; 0: they stay as they are
	Entrances  Entrances  // of its tiles, for tutti
	Mark       fault.Mark
}

// Entrances are how tiles come into a shot: all at once when Beats is 0, else one
// group after another, so many beats apart.
type Entrances struct {
	By    EntranceKind
	Beats float64
	Mark  fault.Mark
}

// Transition is how a shot takes over from the one before. It ends where the
// shot begins, so that the new shot stands complete on its downbeat.
type Transition struct {
	Kind    TransitionKind
	Seconds float64 // how long before the shot's beginning it starts; 0 for a cut
	Mark    fault.Mark
}

// Deliverable is one finished film.
type Deliverable struct {
	Name string // unique; the file is called after it
	W, H int    // canvas in pixels, even
	// Codec is what the finished film's picture is encoded as. Rough cuts are
	// always H.264.
	Codec Codec
	// Poster is the moment of the film that is also kept as a picture; nil for none.
	Poster *Time
	Aspect Aspect // of its tiles; zero: as Picture says
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
