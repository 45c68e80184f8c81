package shot

import (
	"cmp"
	"errors"
	"fmt"
	"slices"
)

// Kind is what a shot shows, as written in a manifest.
type Kind string

// The kinds of shot.
const (
	Tutti Kind = "tutti" // every take, in its seat
	Soli  Kind = "soli"  // the takes of one section
	Solo  Kind = "solo"  // one take, large, with or without the others round it
	Pair  Kind = "pair"  // two takes side by side
	Card  Kind = "card"  // a title, the credits or free text; no take
)

// Kinds returns every kind, in the order they are explained to people.
func Kinds() []Kind { return []Kind{Tutti, Soli, Solo, Pair, Card} }

// UntilNext as the end of a Want: it lasts until the next one begins, or to
// the end of the film.
const UntilNext = -1

// Seat is one take in its stable place; the order of seats is the order of
// tiles in every shot.
type Seat struct {
	Take    string // unique, not empty
	Section string // "" when it belongs to none
}

// Want is one line of a shot list.
type Want struct {
	From, To int // output frames, To exclusive or UntilNext
	Show     Kind
	Section  string // for Soli
	Take     string // for Solo, and the left one of Pair
	Other    string // the right one of Pair
	Text     string // for Card; carried through
	Labels   bool   // carried through
	Others   bool   // for Solo: all others are seen too
}

// Shot is what the picture shows in the frames From to To (exclusive).
type Shot struct {
	From, To int
	Show     Kind
	Section  string   // for Soli
	Takes    []string // who is seen, in seat order; Solo: the soloist first; Pair: left, right; Card: none
	Text     string
	Labels   bool
	Want     int // index of the want it came from; -1 for a gap filled with tutti
}

// Frames returns how long the shot lasts.
func (s Shot) Frames() int { return s.To - s.From }

// Problem is what is wrong with a want.
type Problem string

// The problems Resolve finds.
const (
	UnknownKind    Problem = "unknown kind of shot"
	UnknownTake    Problem = "unknown take"
	UnknownSection Problem = "no take in this section"
	SameTake       Problem = "both takes are the same"
	EmptySpan      Problem = "ends before it begins"
	OutsideFilm    Problem = "outside the film"
	Overlap        Problem = "overlaps another shot"
)

// WantError says which want cannot be met.
type WantError struct {
	Index   int // into the wanted list
	Problem Problem
	Value   string // the name that is unknown; the frames for the others
	Other   int    // for Overlap the want it collides with, else -1
}

// Error returns a line such as "shot 3: unknown take \"oboe\"", counting from 1 as people do.
func (e *WantError) Error() string {
	s := fmt.Sprintf("shot %d: %s", e.Index+1, e.Problem)
	switch e.Problem {
	case UnknownKind, UnknownTake, UnknownSection, SameTake:
		return fmt.Sprintf("%s: %q", s, e.Value)
	case Overlap:
		return fmt.Sprintf("%s, number %d: frames %s", s, e.Other+1, e.Value)
	}
	return s + ": frames " + e.Value
}

// ErrFilm and ErrSeats are the errors that belong to no want.
var (
	ErrFilm  = errors.New("the film has no frames")
	ErrSeats = errors.New("seats must have names, each only once")
)

// Resolve turns a shot list into shots that cover the frames 0 to total
// without gap or overlap. Wants may come in any order. Frames nobody asked
// for show everybody, with labels when labels is set.
//
// All wants that cannot be met are reported at once, joined, each a
// *WantError, in the order of their index. A want may not reach outside the
// film: the caller knows where the film ends and what to tell the user.
func Resolve(total int, seats []Seat, wanted []Want, labels bool) ([]Shot, error) {
	if total <= 0 {
		return nil, ErrFilm
	}
	h, ok := newSeatIndex(seats)
	if !ok {
		return nil, ErrSeats
	}
	var faults []*WantError
	shots := make([]Shot, 0, len(wanted))
	for i, w := range wanted {
		s, problem, value := h.cast(w)
		if problem != "" {
			faults = append(faults, &WantError{i, problem, value, -1})
		}
		s.From, s.To, s.Want = w.From, w.To, i
		shots = append(shots, s)
	}
	slices.SortStableFunc(shots, func(a, b Shot) int { return cmp.Compare(a.From, b.From) })
	faults = append(faults, closeSpans(shots, total)...)
	if len(faults) > 0 {
		slices.SortStableFunc(faults, func(a, b *WantError) int { return cmp.Compare(a.Index, b.Index) })
		joined := make([]error, len(faults))
		for i, f := range faults {
			joined[i] = f
		}
		return nil, errors.Join(joined...)
	}
	return fill(total, shots, Shot{Show: Tutti, Takes: h.all, Labels: labels, Want: -1}), nil
}

// seatIndex is the seats, looked up by name and by section.
type seatIndex struct {
	all     []string
	takes   map[string]bool
	section map[string][]string
}

// newSeatIndex looks the seats over; false when a take has no name or another's.
func newSeatIndex(seats []Seat) (seatIndex, bool) {
	h := seatIndex{takes: map[string]bool{}, section: map[string][]string{}}
	for _, s := range seats {
		if s.Take == "" || h.takes[s.Take] {
			return h, false
		}
		h.takes[s.Take] = true
		h.all = append(h.all, s.Take)
		if s.Section != "" {
			h.section[s.Section] = append(h.section[s.Section], s.Take)
		}
	}
	return h, true
}

// cast decides who is seen. Its slices are shared with the seating: shots never
// change them.
func (h seatIndex) cast(w Want) (s Shot, p Problem, value string) {
	s = Shot{Show: w.Show, Text: w.Text, Labels: w.Labels}
	switch w.Show {
	case Tutti:
		s.Takes = h.all
	case Soli:
		s.Section, s.Takes = w.Section, h.section[w.Section]
		if len(s.Takes) == 0 {
			return s, UnknownSection, w.Section
		}
	case Solo:
		s.Takes = []string{w.Take}
		if !h.takes[w.Take] {
			return s, UnknownTake, w.Take
		}
		if w.Others {
			for _, t := range h.all {
				if t != w.Take {
					s.Takes = append(s.Takes, t)
				}
			}
		}
	case Pair:
		s.Takes = []string{w.Take, w.Other}
		for _, t := range s.Takes {
			if !h.takes[t] {
				return s, UnknownTake, t
			}
		}
		if w.Take == w.Other {
			return s, SameTake, w.Take
		}
	case Card:
	default:
		return s, UnknownKind, string(w.Show)
	}
	return s, "", ""
}

// closeSpans gives every open shot its end and finds spans that cannot be.
// shots are sorted by their beginning.
func closeSpans(shots []Shot, total int) (faults []*WantError) {
	reached := -1 // index of the shot that reaches furthest so far
	for i := range shots {
		s := &shots[i]
		if s.To == UntilNext {
			s.To = total
			if i+1 < len(shots) {
				s.To = shots[i+1].From
			}
		}
		span := fmt.Sprintf("%d to %d of %d", s.From, s.To, total)
		switch {
		case s.From < 0 || s.From >= total || s.To > total:
			faults = append(faults, &WantError{s.Want, OutsideFilm, span, -1})
		case s.To <= s.From:
			faults = append(faults, &WantError{s.Want, EmptySpan, span, -1})
		case reached >= 0 && s.From < shots[reached].To:
			faults = append(faults, &WantError{s.Want, Overlap, span, shots[reached].Want})
		}
		if reached < 0 || s.To > shots[reached].To {
			reached = i
		}
	}
	return faults
}

// fill puts a copy of gap wherever sorted, disjoint shots leave frames free.
func fill(total int, shots []Shot, gap Shot) []Shot {
	out := make([]Shot, 0, 2*len(shots)+1)
	at := 0
	for _, s := range shots {
		if s.From > at {
			gap.From, gap.To = at, s.From
			out = append(out, gap)
		}
		out = append(out, s)
		at = s.To
	}
	if at < total {
		gap.From, gap.To = at, total
		out = append(out, gap)
	}
	return out
}
