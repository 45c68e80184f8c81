// Package plan decides everything about a film before anything is made: which
// frames it has, where every take stands in every shot, which part of which
// recording is needed at which size, and how every strip enters the mix.
//
// It is pure: a production, the facts measured about its files and a list of
// films wanted go in, a [Plan] comes out. A plan is a value that can be
// printed, compared and tested without media, and nothing after it decides
// anything.
//
// Times. Guide frames count from guide time 0 at the picture's rate and may be
// negative; output frames count from the first frame of the film. The film
// begins on a guide frame that is also a whole sample of the mix, so picture
// and sound start together exactly.
package plan

import (
	"maps"
	"math"

	"ripieno/assemble/production"
	"ripieno/layout"
	"ripieno/layout/card"
	"ripieno/layout/framing"
	"ripieno/layout/shot"
	"ripieno/mix/audio"
	"ripieno/mix/tempo"
)

// Picture is a take's moving picture.
type Picture struct {
	Path        string  // absolute
	Hash        string  // content hash, hexadecimal
	Stream      int     // index in the file
	W, H        int     // upright, square pixels
	First, Last float64 // file time of the first frame and of the end of the last, seconds
	FPS         float64 // average frames per second; 0 when unknown
	Rotate      *int    // clockwise degrees to upright, whoever says so; nil: nobody does, or the file says 0
	Mirrored    bool    // left and right are changed before that
	HDR         bool    // PQ or HLG: needs tone mapping
	Fields      [2]int  // width and height as stored of an interlaced picture; zero for one of whole frames
	PixFmt      string  // in ffmpeg's words, such as "yuv420p"
	// Colour as the file tags it, in ffmpeg's words, "" where it says nothing:
	// the matrix that made Y'CbCr, the transfer function, the primaries, and
	// the range (tv or pc).
	Matrix, Transfer, Primaries, Range string
	// Gain is a factor on red, green and blue of the signal; zero for none.
	Gain [3]float64
	// Clock puts whole time on guide time, and Parts the file's own on whole time:
	// there is no more than one part but of a broken recording. The key of what is made
	// of a whole one does not mention them.
	Clock audio.Clock
	Parts audio.Parts `key:"omitzero"`
	// Cuts are the file times, ascending, at which a reader may begin at no cost: those
	// of frames that refer to none before. None are known of many files. They decide into
	// which pieces a picture is conformed, and nothing of what a piece shows.
	Cuts []float64 `key:"omitzero"`
	// Codec is what it is encoded as, with the profile, in ffmpeg's words. It decides who
	// may decode it, and not what comes out.
	Codec string `key:"omitzero"`
}

// Guide returns the guide time of a file time, both in seconds.
func (p Picture) Guide(file float64) float64 { return p.Clock.Guide(p.Parts.Whole(file)) }

// File returns the file time that is seen at a guide time, both in seconds.
func (p Picture) File(guide float64) float64 { return p.Parts.File(p.Clock.File(guide)) }

// Lead returns how long before its own time a frame of p is shown at the most, in
// seconds: half its length.
func (p Picture) Lead() float64 {
	if p.FPS <= 0 {
		return 0
	}
	return 0.5 / p.FPS
}

// Sound is what a take sends to the mix.
type Sound struct {
	Hash     string // content hash of the file it came from
	Stream   int    // index in the file
	Rate     int    // hertz
	Channels int
	Frames   audio.Frames // at Rate
	Clock    audio.Clock
	Parts    audio.Parts `key:"omitzero"` // as in [Picture]
	Phone    bool        `key:"omitzero"` // a phone recorded it, as far as the file tells
}

// Absence says why a take is not in the film.
type Absence int

// A take is present, or absent for one of these reasons.
const (
	Present    Absence = iota
	Awaited            // expected: not in yet
	Unreadable         // a file is missing, damaged or refused
	Unplaced           // sync could not place it
	Elsewhere          // it lies wholly before or after the film
	Withheld           // its player has not agreed to have it published
)

// Facts is what is known of one take's files.
type Facts struct {
	Picture *Picture
	Sound   *Sound
	Beside  *Sound // of the take's phone, when its microphone is heard; nil: there is none
	Absent  Absence
	Subject *framing.Person // where the player is in the picture; nil when nobody looked
}

// Span is a run of frames [From, To).
type Span struct{ From, To int }

// Len returns the number of frames, never negative.
func (s Span) Len() int { return max(0, s.To-s.From) }

// Meet returns the part that s and t share.
func (s Span) Meet(t Span) Span { return Span{max(s.From, t.From), min(s.To, t.To)} }

// Timeline ties output frames to guide time and to samples of the mix.
type Timeline struct {
	Rate       shot.Rate
	First      int          // guide frame of output frame 0
	Frames     int          // length of the film
	AudioStart audio.Frames // mix sample of output time 0, on guide time
	AudioLen   audio.Frames // length of the sound
}

// GuideAtZero returns the guide time at output time 0, seconds.
func (t Timeline) GuideAtZero() float64 { return t.Rate.Seconds(t.First) }

// Output returns the output frame nearest to a guide time.
func (t Timeline) Output(guide float64) int { return t.Rate.Frame(guide) - t.First }

// Duration returns the length of the film in seconds.
func (t Timeline) Duration() float64 { return t.Rate.Seconds(t.Frames) }

// Tile is one take's rectangle in one shot.
type Tile struct {
	Take    string
	Rect    layout.Rect // the whole tile
	Hole    layout.Rect // where the picture shows inside it; zero when there is none
	Fit     layout.Mode
	Source  layout.Rect   // the part of the upright picture that is shown, its own pixels
	Player  string        // label, first line
	Part    string        // label, second line
	Behind  string        // round the picture in its tile: "" background, "blur", or "#rrggbb"
	Backing string        // a picture there, as the manifest names its file; "" for none
	Absent  Absence       // why a card stands here instead of a picture
	Card    bool          // there is no picture at all: a card holds the seat
	Silent  bool          // and no sound either
	Conform int           // index into Film.Conforms of its first piece, -1 for none
	Seat    int           // where the take sits, from 1
	Section string        // it belongs to
	Head    layout.Rect   // on the canvas, which a name should not hide; zero where nothing is known of it
	Corner  layout.Corner // where the name stands; "" where a strip holds it
	Strip   int           // pixels at the foot that a strip with the name takes; 0 for none
	Sure    float64       // how sure crop: auto is of the player's place, 0 to 1; 0 when it was not asked
	Shown   Span          // output frames in which the picture is there
}

// BehindBlur is what Tile.Behind says where the take itself, enlarged and blurred,
// is behind its picture.
const BehindBlur = "blur"

// Shot is what the film shows over a span of output frames.
type Shot struct {
	Span
	Show     shot.Kind
	Text     string
	Labels   bool
	LabelsTo int  // output frame from which names are no longer shown
	Pages    int  // of a card; 1 for all that have one picture
	Roll     Roll // of credits that move
	Sheet    int  // number of this part of a grid that takes several, from 0
	Sheets   int  // how many there are; 1 for a grid that is seen whole
	Tiles    []Tile
	// Into is the transition from the shot before, over the frames that end
	// where this shot begins. Tiles are shown in it too.
	Into Transition
	// PushIn is how many times larger its pictures are at its end than at its
	// beginning; 0 for no push-in.
	PushIn float64
}

// Transition is how one shot becomes the next.
type Transition struct {
	Kind   production.TransitionKind
	Frames int // 0 for a cut
}

// Move is the kind of transition in which tiles glide to their new place;
// in any other that is not a cut one picture dissolves into the other.
const Move = production.Move

// Codec is what a film's picture is encoded as. Whatever carries out a plan
// knows these words through it and not the production they come from.
type Codec = production.Codec

// The codecs.
const (
	H264 = production.H264
	HEVC = production.HEVC
	AV1  = production.AV1
)

// Conform is a take's picture brought upright to a size on guide frames.
type Conform struct {
	Take    string
	Picture Picture
	W, H    int  // even
	Frames  Span // guide frames
	// Draft decodes quickly and not quite exactly, for a rough cut.
	Draft bool
	// Keys decodes only frames that refer to no other, for a first look: each is shown
	// until the next.
	Keys bool
}

// Segment is a run of output frames that is composed by itself. It lies in
// one shot, or in the transition into one.
type Segment struct {
	Span
	Shot   int  // index into Film.Shots
	Page   int  // of a card with several pages
	Labels bool // names are shown
	Into   bool // the transition into Shot from the shot before it
	Soft   Soft // names come or go
}

// Soft is where a segment lies in a stretch in which names come or go. The
// zero value is none.
type Soft struct {
	Out    bool // they go
	At     int  // frames of the stretch before the segment
	Frames int  // of the stretch
}

// Film is one deliverable.
type Film struct {
	Name     string
	Canvas   layout.Canvas
	Rough    bool
	Quick    bool // of key frames
	Marks    bool
	Codec    Codec  // of the picture
	Language string // of what is written in it besides the production's own texts
	Scenery  bool   // the background is a picture
	Cards    Cards
	Shots    []Shot
	Conforms []Conform
	Segments []Segment
	FadeIn   int            // frames in which the film comes out of black
	FadeOut  int            // frames in which it goes into black
	Look     card.LabelLook // of names, without corners
	fixed    bool           // all its tiles have one shape, which the manifest says
	Soften   int            // frames in which names come and go
	Poster   int            // output frame that is also kept as a picture; -1 for none
}

// Chapter begins at an output frame.
type Chapter struct {
	Frame int
	Name  string
}

// Note is a text beside the film.
type Note struct {
	Span
	Text string
}

// Source is what the film takes from the recordings of a player, whatever its
// shots show of it.
type Source struct {
	Take    string
	Picture *Picture // nil: none
	Seen    Span     // output frames in which there is a picture
	Sound   *Sound   // nil: none
	Heard   Span     // output frames that lie wholly in the time in which it may sound
	Delay   float64  // seconds by which the sound is later than it was recorded
}

// Plan is everything that will be made.
type Plan struct {
	Title    string
	Tempo    *tempo.Map // the piece's
	Mix      Mix
	Chapters []Chapter
	Notes    []Note
	Timeline Timeline
	Sources  []Source
	Strips   []Strip
	Films    []Film
}

// New plans the films wanted. The facts are keyed by take name; a take
// without facts counts as Unreadable. What a player has not agreed to have
// published is in no plan, whatever the facts say. Its errors are faults at the
// manifest.
func New(p *production.Production, facts map[string]Facts, wants []Want, l Look) (*Plan, error) {
	if err := checkText(p, l); err != nil {
		return nil, err
	}
	facts = withhold(p, facts)
	line, err := NewTimeline(p)
	if err != nil {
		return nil, err
	}
	shots, err := resolve(p, line)
	if err != nil {
		return nil, err
	}
	pl := &Plan{
		Title: p.Title, Tempo: p.Tempo, Timeline: line, Strips: strips(p, facts, line, shots),
		Chapters: chapters(p, line), Notes: notes(p, line),
	}
	pl.Mix = newMix(p)
	pl.group()
	pl.Sources = sources(p, facts, pl)
	for _, w := range wants {
		f, err := film(p, facts, line, shots, w, l)
		if err != nil {
			return nil, err
		}
		pl.Films = append(pl.Films, *f)
	}
	return pl, nil
}

// withhold takes out of the facts what must not be published: the picture of a
// take released as sound only, and all of one that is not released.
func withhold(p *production.Production, facts map[string]Facts) map[string]Facts {
	out := maps.Clone(facts)
	if out == nil {
		out = map[string]Facts{}
	}
	for _, t := range p.Takes {
		f, known := out[t.Name]
		switch {
		case t.Release == production.ReleaseNo:
			out[t.Name] = Facts{Absent: Withheld}
		case !t.ShowsPicture() && known:
			f.Picture, f.Subject = nil, nil
			out[t.Name] = f
		}
	}
	return out
}

// sources returns the takes of which the film has anything, in the manifest's
// order.
func sources(p *production.Production, facts map[string]Facts, pl *Plan) []Source {
	line := pl.Timeline
	var out []Source
	for _, t := range p.Takes {
		s := Source{Take: t.Name}
		if pic := facts[t.Name].Picture; pic != nil {
			seen := visible(t, *pic, line)
			s.Picture, s.Seen = pic, Span{seen.From - line.First, seen.To - line.First}
		}
		for _, strip := range pl.Strips {
			if strip.Take != t.Name {
				continue
			}
			s.Sound, s.Delay = &strip.Sound, strip.Treat.Delay
			frame := func(at audio.Frames) float64 { return (at - line.AudioStart).Seconds() * line.Rate.FPS() }
			// The film's end is a frame and rounded to a sample.
			const slack = 1e-3
			s.Heard = Span{int(math.Ceil(frame(strip.Treat.From) - slack)),
				int(math.Floor(frame(strip.Treat.To) + slack))}
		}
		if s.Picture != nil || s.Sound != nil {
			out = append(out, s)
		}
	}
	return out
}
