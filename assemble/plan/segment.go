package plan

import (
	"fmt"
	"slices"

	"ripieno/assemble/fault"
	"ripieno/assemble/production"
	"ripieno/layout/shot"
)

// A film is cut into so many segments of equal length at least, that cores of which
// each composes one end at nearly the same time, as long as none is shorter or
// longer than this. Every segment starts with a key frame, which films have every
// two seconds anyway, and costs a process. A rough cut is composed in a fraction of
// the time, so the processes would count.
const (
	mostSegmentSeconds  = 8
	leastSegmentSeconds = 2
	leastSegments       = 48

	leastRoughSeconds = 4
	leastRoughs       = 12
)

// segmentLengths returns how many frames a segment has at the most, and at the least
// where nothing but its length asks for a cut.
func (f *Film) segmentLengths(line Timeline) (most, least int) {
	seconds, number := float64(leastSegmentSeconds), leastSegments
	if f.Rough {
		seconds, number = leastRoughSeconds, leastRoughs
	}
	most = line.Rate.Frame(min(mostSegmentSeconds, max(seconds, line.Duration()/float64(number))))
	return max(1, most), max(1, line.Rate.Frame(seconds))
}

// into returns the transition into a shot. The shot before must be seen by itself
// for a frame at least.
func into(p *production.Production, before []Shot, s shot.Shot, line Timeline) (Transition, error) {
	cut := Transition{Kind: production.Cut}
	if s.Want < 0 {
		return cut, nil
	}
	want := p.Shots[s.Want].Transition
	if want.Kind == "" || want.Kind == production.Cut || want.Seconds <= 0 {
		return cut, nil
	}
	t := Transition{Kind: want.Kind, Frames: max(1, line.Rate.Frame(want.Seconds))}
	if len(before) == 0 {
		return cut, fault.At(fault.Manifest, want.Mark, "there is no shot before this one to come from",
			"picture: {fade_in: 2} lets the film come out of black")
	}
	last := before[len(before)-1]
	if free := last.Len()/last.Pages - 1; t.Frames > free {
		return cut, fault.At(fault.Manifest, want.Mark,
			fmt.Sprintf("the transition takes %.2f seconds, longer than the picture before it is shown (%.2f)",
				line.Rate.Seconds(t.Frames), line.Rate.Seconds(last.Len()/last.Pages)),
			"make the transition shorter, or the shot before it longer")
	}
	return t, nil
}

// labelsTo returns the output frame at which the names of a shot go.
func labelsTo(p *production.Production, s shot.Shot, line Timeline) int {
	seconds := p.Picture.LabelsFor
	if s.Want >= 0 && p.Shots[s.Want].LabelsFor != nil {
		seconds = *p.Shots[s.Want].LabelsFor
	}
	if !s.Labels {
		return s.From
	}
	if seconds <= 0 {
		return s.To
	}
	return min(s.To, s.From+max(1, line.Rate.Frame(seconds)))
}

// cut divides the film into segments: at its shots, before every transition,
// at the pages of a card, where names go, where fades end, and in between into
// pieces of nearly equal length, see segmentLengths.
func (f *Film) cut(line Timeline) {
	most, least := f.segmentLengths(line)
	for i, s := range f.Shots {
		if s.Into.Frames > 0 {
			span := Span{s.From - s.Into.Frames, s.From}
			f.Segments = append(f.Segments, Segment{Span: span, Shot: i, Labels: s.LabelsTo > s.From, Into: true})
		}
		own := s.Span
		if i+1 < len(f.Shots) {
			own.To -= f.Shots[i+1].Into.Frames
		}
		in, out := s.labelFades(own, f.Soften)
		edges := []int{s.LabelsTo, f.FadeIn, line.Frames - f.FadeOut}
		for page := range s.Pages {
			for _, part := range split(piece(own, page, s.Pages), edges) {
				n := min((part.Len()+most-1)/most, max(1, part.Len()/least))
				for k := range n {
					f.soft(Segment{
						Span: piece(part, k, n), Shot: i, Page: page, Labels: part.From < s.LabelsTo,
					}, in, out)
				}
			}
		}
	}
}

// labelFades returns where the names of a shot come and where they go, both empty for
// names that are there or not from one frame to the next. They come with a
// transition, and stay over a cut when nothing takes them away before.
func (s Shot) labelFades(own Span, frames int) (in, out Span) {
	shown := Span{own.From, min(own.To, s.LabelsTo)}
	leave := s.LabelsTo < s.To
	if !slices.ContainsFunc(s.Tiles, func(t Tile) bool { return !t.Card }) {
		return in, out // cards have their names on them
	}
	if s.Into.Frames == 0 && leave {
		frames = min(frames, shown.Len()/2)
	} else {
		frames = min(frames, shown.Len())
	}
	if frames < 1 {
		return in, out
	}
	if s.Into.Frames == 0 {
		in = Span{shown.From, shown.From + frames}
	}
	if leave {
		out = Span{shown.To - frames, shown.To}
	}
	return in, out
}

// soft adds a segment, cut where names come or go. What lies before and behind
// keeps its place, so names that come softly cost nothing elsewhere.
func (f *Film) soft(s Segment, in, out Span) {
	for _, part := range split(s.Span, []int{in.From, in.To, out.From, out.To}) {
		s.Span, s.Soft = part, Soft{}
		for _, stretch := range []Span{in, out} {
			if part.Meet(stretch).Len() > 0 {
				s.Soft = Soft{Out: stretch == out, At: part.From - stretch.From, Frames: stretch.Len()}
			}
		}
		f.Segments = append(f.Segments, s)
	}
}

// split cuts s at those of some frames that lie inside it.
func split(s Span, at []int) []Span {
	var parts []Span
	slices.Sort(at)
	for _, k := range at {
		if k > s.From && k < s.To {
			parts = append(parts, Span{s.From, k})
			s.From = k
		}
	}
	return append(parts, s)
}

// piece returns number k of n nearly equal pieces of s.
func piece(s Span, k, n int) Span {
	return Span{s.From + s.Len()*k/n, s.From + s.Len()*(k+1)/n}
}
