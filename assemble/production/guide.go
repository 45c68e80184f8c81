package production

import (
	"time"

	"ripieno/assemble/fault"
	"ripieno/mix/tempo"
)

// Guide is what everybody hears while recording.
type Guide struct {
	PitchHz  float64 // reference A4 in hertz, 380 to 480, 440 when not given
	Tail     float64 // seconds after the last measure, 0 to 60, 4 when not given
	Drone    []Drone
	Variants []Variant // guides of some players' own
	Tuning   []Tuning  // notes before the count-in, in order
	Count    *Count    // who speaks in the count-in; nil for nobody
	// Conductor is the film of who conducts, which guide films have in them; nil for none.
	Conductor *Conductor
	GuideSound
}

// Tuning is a note to tune to before the count-in.
type Tuning struct {
	Note            string  // "A4"
	Begins, Seconds float64 // from the guide's first sample, and how long
	Mark            fault.Mark
}

// Conductor is a film of somebody who conducts to the guide that all play to, and claps on
// its cue as all do. It is in guide films and in nothing else.
type Conductor struct {
	Video   File
	Release Release // whether the players may see it; that of the production when it says nothing
}

// ShowsPicture reports whether the film may be opened and shown to the players. A release
// that is missing does not forbid it: the players are no public, and whoever sends it to
// them is reminded.
func (c Conductor) ShowsPicture() bool { return Take{Release: c.Release}.ShowsPicture() }

// Count is who speaks the numbers of the count-in.
type Count struct {
	Files  []Asset // recordings of one number each, from 1 on
	Spoken bool    // a program speaks them, where it is installed
	Mark   fault.Mark
}

// GuideSound is what may differ from one player's guide to another's. Levels
// are decibels on top of the usual ones; −Inf leaves a sound out.
type GuideSound struct {
	ClickDB, DroneDB, MixDB float64
	Subdivisions            int        // clicks in a beat: 1 to 8, or [click.Written]
	CountTones              bool       // a tone under every count-in click
	LevelsMark              fault.Mark // of levels, else of whatever it belongs to
}

// Variant is a guide of its own for some players: other sounds, other parts to
// hear, or a part of the piece for a re-take. A take names the one it was
// recorded to.
type Variant struct {
	Name string // unique
	GuideSound
	From, To int        // measures played, To not included; 0, 0 for the whole piece
	With     With       // which takes are heard in it
	Tempo    *tempo.Map // of what it plays; its own guide time begins with its own count-in
	Shift    float64    // add to this guide's time for guide time, from measure From on
	Mark     fault.Mark
}

// Drone is a tone to tune to, from a place until the next drone or the end.
// An empty Note ends the drone.
type Drone struct {
	From       Time
	CountIn    bool   // it begins with the guide, before measure 1
	Note       string // "D3", "F#2", "Bb3"; "" for silence
	Fifth      bool   // adds the fifth above
	EqualFifth bool   // the fifth is tempered (700 cents) and not pure
	Octave     bool   // adds the octave above
	Mark       fault.Mark
}

// VariantNames returns the names of all variants, in the manifest's order.
func (g *Guide) VariantNames() []string {
	var all []string
	for _, v := range g.Variants {
		all = append(all, v.Name)
	}
	return all
}

// Variant returns the variant of that name, nil for none.
func (g *Guide) Variant(name string) *Variant {
	for i := range g.Variants {
		if g.Variants[i].Name == name {
			return &g.Variants[i]
		}
	}
	return nil
}

// CallSheet is what the page for the players says besides the music.
type CallSheet struct {
	Language string            // of the pages; the production's when not given
	Due      string            // as written, "" when not given
	DueDay   time.Time         // zero when Due is words and no date
	DueClock string            // "20:00", "" when Due has no time of day
	SendTo   string            // where recordings go: an address on the web, of mail, or words
	Contact  string            // whom to ask
	Notes    string            // may have several lines
	Strings  map[string]string // sentences that replace the built-in ones, by key
}
