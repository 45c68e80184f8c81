// Package production holds what production.yaml says, as plain values: the
// takes, the shots, the sound, the picture, the guide. It is what everything
// that depends on a production may know, and reads and writes nothing itself:
// package manifest turns a file into a checked [Production] and back, and
// package plan decides what follows from one.
//
// Closed sets of words are types of their own, and each has a set ([Timings],
// [Codecs], ...) that lists and parses its words; the manifest's schema and its
// hints are made from those sets.
//
// Units: seconds of guide time, decibels, parts per million, pixels, percent
// for pan.
package production

import (
	"fmt"
	"slices"
	"time"

	"ripieno/assemble/fault"
	"ripieno/assemble/intake/limit"
	"ripieno/layout"
	"ripieno/mix/tempo"
	"ripieno/mix/tempo/score"
)

// Production is a checked production.yaml. Every musical position in it has
// already become guide time through Tempo.
type Production struct {
	Path string // the manifest that was read
	Dir  string // its folder, absolute; file names in the manifest are relative to it

	// Advice is what could be written better in the manifest and was read all the
	// same: sentences with their places.
	Advice []string

	Language   string // of films, pages and notes, as its tag; "en" when not given
	Title      string
	Composer   string
	Ensemble   string
	Dedication string
	Arranger   string
	Lyricist   string
	Conductor  string
	Occasion   string    // such as "Summer concert"
	Date       string    // of it, as written
	Day        time.Time // zero when Date is words and no date
	Logo       *Asset    // a picture above the title; nil for none
	Credits    []Credit  // besides the players

	Tempo     *tempo.Map
	Score     *score.Score // what Tempo was made from; nil when the manifest writes the tempo itself
	Beats     *Beats       // what Tempo was made from; nil when the manifest or a score writes the tempo
	Guide     Guide
	Timing    Timing    // of takes that say nothing else
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

	// TakesMark is where the key takes stands, for NeedTakes; without a file when
	// the production was not read from one.
	TakesMark fault.Mark `json:"-"`
}

// Credit is a line of the credits that is no take's.
type Credit struct {
	Role string // one of CreditRoles, or words of one's own
	Name string
	Mark fault.Mark
}

// The roles that have their own place in the credits, besides those that are only
// called otherwise in another language.
const (
	RoleThanks = "thanks" // under a heading, below all others
	RoleRights = "rights" // a sentence at the foot
)

// CreditRoles are the roles that films name in their language.
var CreditRoles = []string{"composer", "arranger", "lyricist", "conductor", "editor", "sound", "picture", "production",
	RoleThanks, RoleRights}

// Section is a group of takes with a common gain.
type Section struct {
	Name       string
	GainDB     float64
	TargetLUFS *float64 // loudness of the whole section under balance: auto; nil: each take as loud as any other
	Declared   bool     // it stands under sections, and not only in a take; those that do come first
	Mark       fault.Mark
}

// Assets returns all such files that the manifest names, as often as it does.
func (p *Production) Assets() []Asset {
	list := append([]Asset(nil), p.Picture.Fonts...)
	if p.Guide.Count != nil {
		list = append(list, p.Guide.Count.Files...)
	}
	for _, a := range []*Asset{p.Picture.Backdrop, p.Logo, p.Mix.Impulse} {
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

// NeedTakes returns a fault when the production has no takes at all, which is fine
// for making the guide and for nothing after it.
func (p *Production) NeedTakes() error {
	if len(p.Takes) > 0 {
		return nil
	}
	if p.TakesMark.File == "" { // not read from a file
		return fault.New(fault.Manifest, "", "the production has no takes", "add one under takes:")
	}
	return fault.At(fault.Manifest, p.TakesMark, "the production has no takes",
		"add one under takes: for example - "+TakeExample)
}

// TakeExample is a take as production.yaml writes it.
const TakeExample = "{name: oboe-1, player: Mara Voss, video: {file: intake/mara.mov}}"

// NoSuch returns the fault for a name that a person gave and the manifest lacks;
// what says what was named, known which names there are.
func (p *Production) NoSuch(what, name string, known []string) error {
	hint := "the manifest has none"
	if len(known) > 0 {
		hint = fmt.Sprintf("the manifest has %q", known)
	}
	return fault.New(fault.Manifest, p.Path, fmt.Sprintf("no %s is called %q", what, name), hint)
}

// ScoreRemarks returns what the readers of the score and of beats want a person to know,
// lower case and with the measure; nothing where the manifest writes the tempo itself.
func (p *Production) ScoreRemarks() []string {
	var all []string
	if p.Score != nil {
		all = append(all, p.Score.Remarks...)
	}
	if p.Beats != nil {
		all = append(all, p.Beats.Describe()...)
	}
	return all
}

// NamesAvoid reports whether names are kept off heads and hands, of which something must
// be known for that: they lie on pictures, nobody says in which corner, and the shape of
// tiles is searched for somewhere.
func (p *Production) NamesAvoid() bool {
	searched := p.Picture.Shapes != (layout.Shapes{})
	for _, s := range p.Shots {
		searched = searched || s.Aspect.Shapes != (layout.Shapes{})
	}
	for _, d := range p.Deliver {
		searched = searched || d.Aspect.Shapes != (layout.Shapes{})
	}
	named := p.Picture.Labels || slices.ContainsFunc(p.Shots, func(s Shot) bool { return s.Labels != nil && *s.Labels })
	return searched && named && p.Picture.LabelStyle != layout.Strip && p.Picture.LabelCorner == layout.AutoCorner
}
