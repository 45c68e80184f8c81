package plan

import (
	"math/rand/v2"
	"testing"

	"ripieno/assemble/production"
	"ripieno/layout/shot"
)

// TestSoftNames draws shots, transitions and lengths of names: segments lie
// one behind the other, those in which names come or go make up whole
// stretches, no stretch touches another, and nothing else is cut by them.
func TestSoftNames(t *testing.T) {
	r := rand.New(rand.NewPCG(21, 4))
	for range 300 {
		p := lamplighter(t, 2)
		p.Picture.LabelsFor = []float64{0, 0.5, 1, 3, 11}[r.IntN(5)]
		p.Shots = []production.Shot{{From: production.Time{Edge: production.FilmStart}, Show: "tutti"}}
		for m := 1 + r.IntN(3); m <= 8; m += 1 + r.IntN(5) {
			s := production.Shot{From: at(m), Show: []shot.Kind{"tutti", "card", "solo"}[r.IntN(3)], Take: "take-1",
				Text: "x"}
			if r.IntN(2) == 0 {
				s.Transition = production.Transition{Kind: "dissolve", Seconds: 0.1 + r.Float64()}
			}
			p.Shots = append(p.Shots, s)
		}
		hard, err := New(p, filmed(p), fullHD, Look{})
		if err != nil {
			t.Fatal(err)
		}
		p.Picture.LabelsFade = r.Float64() * 2
		soft, err := New(p, filmed(p), fullHD, Look{})
		if err != nil {
			t.Fatal(err)
		}
		f := soft.Films[0]
		kept := map[Segment]bool{}
		next, left := 0, 0 // frames of the stretch that are still to come
		for _, s := range f.Segments {
			if s.From != next || s.Len() < 1 {
				t.Fatalf("%+v after frame %d", s, next)
			}
			next = s.To
			if s.Soft.At > 0 && s.Soft.At+left != s.Soft.Frames || s.Soft.At == 0 && left > 0 {
				t.Fatalf("%+v with %d frames of a stretch left", s, left)
			}
			left = max(0, s.Soft.Frames-s.Soft.At-s.Len())
			if s.Soft.Frames == 0 {
				left = 0
				kept[s] = true
				continue
			}
			shot := f.Shots[s.Shot]
			if !s.Labels || s.Into || s.From < shot.From || s.To > shot.LabelsTo || s.Soft.Frames > f.Soften {
				t.Fatalf("%+v in a shot from %d with names to %d", s, shot.From, shot.LabelsTo)
			}
			if end := s.From - s.Soft.At + s.Soft.Frames; s.Soft.Out && end != shot.LabelsTo &&
				end != shot.To-intoFrames(f, s.Shot+1) {
				t.Fatalf("%+v goes by frame %d, names are there to %d", s, end, shot.LabelsTo)
			}
		}
		if next != soft.Timeline.Frames {
			t.Fatalf("segments end at %d of %d", next, soft.Timeline.Frames)
		}
		for _, s := range hard.Films[0].Segments {
			if !s.Labels && !kept[s] {
				t.Fatalf("%+v has no names and is cut", s)
			}
		}
	}
}

// intoFrames returns how many frames of the transition into a shot there are.
func intoFrames(f Film, shot int) int {
	if shot >= len(f.Shots) {
		return 0
	}
	return f.Shots[shot].Into.Frames
}
