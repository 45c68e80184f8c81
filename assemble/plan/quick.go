package plan

import (
	"slices"

	"ripieno/assemble/production"
)

// quickFPS is the rate of a first look, in frames a second. It shows key frames, of
// which recordings have one or two a second.
const quickFPS = 4

// Quick returns a production as a first look shows it: a few frames a second, from shot
// to shot by cuts, nothing that moves. p stays as it is.
func Quick(p *production.Production) *production.Production {
	q := *p
	q.Picture.FPSNum, q.Picture.FPSDen = quickFPS, 1
	q.Picture.FadeIn, q.Picture.FadeOut = 0, 0
	q.Shots = slices.Clone(p.Shots)
	for i := range q.Shots {
		s := &q.Shots[i]
		s.Transition, s.PushIn, s.Entrances, s.Roll = production.Transition{}, 0, production.Entrances{}, false
	}
	return &q
}

// ChooseQuick returns first looks at the films of some names, of the first film when
// there are none.
func ChooseQuick(p *production.Production, only []string) ([]Want, error) {
	wants, err := ChooseRough(p, only, true)
	for i := range wants {
		w := &wants[i]
		w.Quick, w.Canvas = true, w.Canvas.Lines(quickLines)
		w.Name = "quick" + w.Name[len("rough"):]
	}
	return wants, err
}

// quickLines is the short side of a first look.
const quickLines = 360
