package plan

import (
	"slices"

	"ripieno/assemble/fault"
	"ripieno/assemble/production"
	"ripieno/layout"
)

// Want is one film to plan.
type Want struct {
	Name   string
	Canvas layout.Canvas
	Rough  bool // the quick preview
	Quick  bool // with Rough: a first look, of key frames
	// KeepSeats leaves the takes that a finished film lacks their tiles, as a rough
	// cut does: a plan of seats needs them.
	KeepSeats bool
	Marks     bool  // with place and time burned in
	Codec     Codec // of the picture
	Poster    *production.Time
	Aspect    production.Aspect // of its tiles; zero: the production's
	Mark      fault.Mark        // of the deliverable in the manifest
}

// Wants returns all finished films that the manifest asks for.
func Wants(p *production.Production) []Want {
	var wants []Want
	for _, d := range p.Deliver {
		wants = append(wants, Want{Name: d.Name, Canvas: layout.Canvas{W: d.W, H: d.H}, Codec: d.Codec,
			Poster: d.Poster, Aspect: d.Aspect, Mark: d.Mark})
	}
	return wants
}

// Choose returns the finished films of some names, all when there are none. A name
// that no deliverable has is a fault.
func Choose(p *production.Production, only []string) ([]Want, error) {
	all := Wants(p)
	if len(only) == 0 {
		return all, nil
	}
	var names []string
	for _, w := range all {
		names = append(names, w.Name)
	}
	for _, n := range only {
		if !slices.Contains(names, n) {
			return nil, p.NoSuch("deliverable", n, names)
		}
	}
	return slices.DeleteFunc(all, func(w Want) bool { return !slices.Contains(only, w.Name) }), nil
}

// roughLines is the short side of a rough cut.
const roughLines = 540

// ChooseRough returns the quick previews of the films of some names, of the first
// film when there are none. marks burns place and time in.
func ChooseRough(p *production.Production, only []string, marks bool) ([]Want, error) {
	wants, err := Choose(p, only)
	if err != nil {
		return nil, err
	}
	if len(only) == 0 {
		wants = wants[:1]
	}
	for i := range wants {
		w := &wants[i]
		w.Rough, w.Marks, w.Codec = true, marks, H264
		w.Canvas = w.Canvas.Lines(roughLines)
		if w.Name == p.Deliver[0].Name {
			w.Name = "rough"
		} else {
			w.Name = "rough-" + w.Name
		}
	}
	return wants, nil
}
