package graph

import "slices"

// Rename returns a copy of g in which every file it reads has the name that rename
// gives for the one it had. Each use of a file is asked for by itself, always in the
// same order; uses without a name are left. What it writes keeps its name.
func (g Segment) Rename(rename func(path string) string) Segment {
	each := func(path *string) {
		if *path != "" {
			*path = rename(*path)
		}
	}
	each(&g.Backdrop)
	g.Scene = g.Scene.rename(each)
	each(&g.Names.Path)
	each(&g.Marks.Path)
	if g.Into == nil {
		return g
	}
	into := *g.Into
	into.Scene = into.Scene.rename(each)
	each(&into.Cover)
	into.Moves = slices.Clone(into.Moves)
	for i, m := range into.Moves {
		into.Moves[i].Piece = m.Piece.rename(each)
	}
	for i := range into.Names {
		each(&into.Names[i])
	}
	g.Into = &into
	return g
}

// rename gives each to every file of a scene.
func (s Scene) rename(each func(*string)) Scene {
	s.Pieces = slices.Clone(s.Pieces)
	for i, p := range s.Pieces {
		s.Pieces[i] = p.rename(each)
	}
	each(&s.Overlay)
	each(&s.Roll.Path)
	return s
}

// rename gives each to every file of a tile.
func (p Piece) rename(each func(*string)) Piece {
	each(&p.Path)
	p.More = slices.Clone(p.More)
	for i := range p.More {
		each(&p.More[i].Path)
	}
	return p
}
