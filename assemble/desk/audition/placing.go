package audition

import (
	"context"
	"math"

	"ripieno/assemble/media"
	"ripieno/assemble/production"
	"ripieno/assemble/session"
	"ripieno/assemble/store"
	"ripieno/assemble/takes"
	"ripieno/assemble/task"
	"ripieno/mix/audio"
	"ripieno/mix/click"
	"ripieno/mix/tempo"
)

// Placing is where all takes lie, to be heard, seen and decided. The page plays each
// take at its place by itself, so a new place needs nothing from here.
type Placing struct {
	Beats  []Beat        `json:"beats"`
	Places []Window      `json:"places"` // moments at which a take is looked at
	Start  float64       `json:"start"`  // guide time of measure 1
	End    float64       `json:"end"`    // of the last measure's end
	FPS    float64       `json:"fps"`    // of the film
	Guide  Sound         `json:"guide"`  // the clicks, from guide time 0
	Takes  []PlacedTake  `json:"takes"`  // in the order of the manifest
	Faults []takes.Fault `json:"faults"` // of takes that are not here, or not whole

	Sounds
	files map[string]*takes.Recording // that have a picture, by take
}

// Beat is a beat of the guide.
type Beat struct {
	At      float64 `json:"at"` // guide time
	Measure int     `json:"measure"`
	Number  int     `json:"number"`
	CountIn bool    `json:"count_in,omitempty"`
	Cue     bool    `json:"cue,omitempty"`
	Down    bool    `json:"down,omitempty"`
}

// Window is a moment at which the takes can be compared.
type Window struct {
	Title string  `json:"title"`
	At    float64 `json:"at"` // guide time
}

// PlacedTake is a take whose place a person may look at: the recording that decides
// it.
type PlacedTake struct {
	takes.Placed
	Player  string  `json:"player"`
	Part    string  `json:"part"`
	Sound   *Sound  `json:"sound"`   // nil: it cannot be heard
	Picture bool    `json:"picture"` // there are stills of it
	Lead    float64 `json:"lead"`    // seconds by which the picture's file time runs ahead of the sound's
	Fixed   bool    `json:"fixed"`   // the manifest says where it lies
	Asks    string  `json:"asks"`    // what has to be decided; "" where the place is sure
}

// Place gathers what is to be heard of takes that are located. It runs what has to be
// decoded again. A take whose sound cannot be made has none and stops no other. It fails
// when ctx ends, or when the guide cannot be made. Sounds that sync has decoded may
// have left the store meanwhile.
func Place(ctx context.Context, x *session.Session, set *takes.Set, faults []takes.Fault) (*Placing, error) {
	man := x.Manifest()
	p := &Placing{Start: man.Tempo.Start(), End: man.Tempo.End(), Takes: []PlacedTake{}, Faults: faults,
		FPS: float64(man.Picture.FPSNum) / float64(man.Picture.FPSDen), Beats: beats(man.Tempo),
		Places: windows(man.Tempo), files: map[string]*takes.Recording{}}
	var leads []*takes.Recording
	clicks := guideTask(man)
	edges := []task.Edge{clicks}
	for _, t := range set.Takes {
		r := t.Leading()
		if t.IsWithheld() || r == nil {
			continue
		}
		leads, edges = append(leads, r), append(edges, r.Sound)
	}
	res, err := x.Run(ctx, task.Collect(edges...))
	if err != nil {
		return nil, err
	}
	if p.Guide, err = p.add(clicks, res, false, 0); err != nil {
		return nil, err
	}
	for _, t := range set.Takes {
		for _, r := range leads {
			if r.Owner != t.Name {
				continue
			}
			one := placedTake(t, r)
			if s, err := p.add(r.Sound, res, true, r.Rate); err == nil {
				one.Sound = &s
			}
			if v := t.Video; v != nil && v.HasPicture() {
				p.files[t.Name], one.Picture = v, true
				one.Lead = pictureLead(v, r)
			}
			p.Takes = append(p.Takes, one)
		}
	}
	return p, nil
}

// placedTake describes a take by the recording that decides its place.
func placedTake(t takes.Take, r *takes.Recording) PlacedTake {
	one := PlacedTake{Placed: r.Placed(t.Timing), Player: t.Player, Part: t.Part,
		Fixed: r.File.Offset != nil || r.File.CueAt != nil}
	if one.Asks = one.Question; !one.Sure && one.Asks == "" {
		one.Asks = "where does it lie?"
	}
	return one
}

// pictureLead returns how much later a moment has its place in the file of a picture
// than in the file that is heard: the two devices of a player start at times of
// their own. Nothing is known of it before both are placed.
func pictureLead(v, heard *takes.Recording) float64 {
	if v == heard || math.IsNaN(v.Place.Offset) || math.IsNaN(heard.Place.Offset) {
		return 0
	}
	return heard.Place.Offset - v.Place.Offset
}

// add makes the result of a task a sound that may be fetched.
func (p *Placing) add(made task.Ref[string], res task.Result, mono bool, rate int) (Sound, error) {
	path, ok, err := made.Result(res)
	if err == nil && !ok {
		err = made.Outcome(res).Err
	}
	if err != nil {
		return Sound{}, err
	}
	return p.Open(path, mono, rate)
}

// beats returns the beats of the guide.
func beats(m *tempo.Map) []Beat {
	list := []Beat{}
	for b := range m.Beats() {
		list = append(list, Beat{At: b.Seconds, Measure: b.Measure, Number: b.Number, CountIn: b.CountIn, Cue: b.Cue,
			Down: b.Downbeat})
	}
	return list
}

// windows returns the moments at which takes are compared, in guide time.
func windows(m *tempo.Map) []Window {
	list := []Window{}
	for _, at := range takes.Moments(m) {
		list = append(list, Window{at.Title, at.Beat.Seconds})
	}
	return list
}

// clicksRule is the version of how the guide is made for the desk.
const clicksRule = 1

// guideTask makes the clicks of the guide that all play to. It has the standard
// sounds and no drone: it is to be compared with, and not to play to.
func guideTask(man *production.Production) task.Ref[string] {
	m := man.Tempo
	t := task.Task{ID: task.ID("desk guide"), Name: "the guide", Stage: "guide", Cost: 0.01 * m.End(),
		Action: store.NewAction("desk guide").Version(clicksRule).Arg("tempo", m.Spec()).Ext(".wav").For("the guide")}
	t.Make = func(ctx context.Context, _ task.Inputs, tmp string, _ func(float64)) error {
		return writeClicks(ctx, m, tmp)
	}
	return task.Path(t)
}

// writeClicks writes the clicks of a tempo map, of its count-in too, in 16 bits.
func writeClicks(ctx context.Context, m *tempo.Map, tmp string) error {
	src, err := click.Guide(m, click.Options{})
	if err != nil {
		return err
	}
	_, err = media.CreateWAV(ctx, tmp, audio.NewAhead(src), media.PCM16)
	return err
}
