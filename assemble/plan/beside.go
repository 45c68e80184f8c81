package plan

import (
	"ripieno/assemble/production"
)

// chapters returns those that begin inside the film, the first at its first frame:
// players expect every moment to lie in one.
func chapters(p *production.Production, line Timeline) []Chapter {
	var out []Chapter
	for _, c := range p.Chapters {
		frame := min(line.clamp(c.At), line.Frames-1)
		if n := len(out); n > 0 && out[n-1].Frame >= frame {
			continue // two on one frame: the first stays
		}
		out = append(out, Chapter{frame, c.Name})
	}
	if len(out) > 0 && out[0].Frame > 0 {
		out = append([]Chapter{{0, p.Title}}, out...)
	}
	return out
}

// notes returns those of which something lies inside the film.
func notes(p *production.Production, line Timeline) []Note {
	var out []Note
	for _, n := range p.Notes {
		if s := (Span{line.clamp(n.From), line.clamp(n.To)}); s.Len() > 0 {
			out = append(out, Note{s, n.Text})
		}
	}
	return out
}
