// Package framing decides which part of a picture of a player is shown when not
// all of it can be: the head whole and with room above it, then the instrument
// and the hands. It is given once for a film, so it never wanders.
//
// Where the head is comes from faces and, where no face is seen, from the shape of
// what moves; where the instrument is from what moves (package motion). Positions
// are fractions of width and height of the upright picture, 0 at the left and the
// top.
package framing

import (
	"ripieno/layout/face"
	"ripieno/layout/motion"
)

// Box is a part of a picture. The zero value is none.
type Box struct{ Left, Top, Right, Bottom float64 }

// IsEmpty reports whether there is nothing in the box.
func (b Box) IsEmpty() bool { return b.Right <= b.Left || b.Bottom <= b.Top }

// Join returns the box round two; an empty one counts for nothing.
func (b Box) Join(o Box) Box {
	switch {
	case b.IsEmpty():
		return o
	case o.IsEmpty():
		return b
	}
	return Box{min(b.Left, o.Left), min(b.Top, o.Top), max(b.Right, o.Right), max(b.Bottom, o.Bottom)}
}

// Meet returns what two boxes share, an empty box when that is nothing.
func (b Box) Meet(o Box) Box {
	m := Box{max(b.Left, o.Left), max(b.Top, o.Top), min(b.Right, o.Right), min(b.Bottom, o.Bottom)}
	if m.IsEmpty() {
		return Box{}
	}
	return m
}

// area returns the part of the picture that the box is.
func (b Box) area() float64 { return (b.Right - b.Left) * (b.Bottom - b.Top) }

// within returns the part of the box that is in the picture.
func (b Box) within() Box {
	return Box{max(b.Left, 0), max(b.Top, 0), min(b.Right, 1), min(b.Bottom, 1)}
}

// Person is whoever a take shows.
type Person struct {
	// Head holds the head, with hair and hat, wherever it sways; empty when
	// nobody knows. Of several people it is the head that is surest.
	Head Box
	// Heads holds the heads of all.
	Heads Box
	// Body is what moves: the player, their hands and their instrument; empty
	// when nothing does, or everything.
	Body Box
	// Moves says how much each part of the picture moves; empty where the camera
	// does, or nothing.
	Moves motion.Heat
	// Face reports whether the head was found by its face, not by its shape.
	Face bool
	// Sure is how sure the place of the head is, 0 to 1; without a head, that
	// of the body.
	Sure float64
}

// Known reports whether anything is known of where the person is.
func (p Person) Known() bool { return !p.Head.IsEmpty() || !p.Body.IsEmpty() }

// Covered returns how much of a person something over a part of the picture hides where
// the box seen is all that is shown of it: the share of the heads in view plus the share
// of all that moves in view, so that hands count, and more than what holds still. It is 0
// to 2, and 0 where nobody is known.
func (p Person) Covered(seen, over Box) float64 {
	over, heads, share := over.Meet(seen), p.Heads.Meet(seen), 0.0
	if !heads.IsEmpty() {
		share = over.Meet(heads).area() / heads.area()
	}
	if all := p.Moves.Sum(seen.Left, seen.Top, seen.Right, seen.Bottom); all > 0 {
		share += p.Moves.Sum(over.Left, over.Top, over.Right, over.Bottom) / all
	}
	return share
}

// Measured is what was measured of a take's picture.
type Measured struct {
	Faces  []face.Face
	Moving motion.Subject
	Moves  motion.Heat
	Shape  motion.Head
	W, H   int // of the upright picture
}

// From the middle of a face to the ends of the head in sizes of the face, measured
// on the photographs of the tests and rounded up: hair and a cap reach 0.9 above
// and 0.75 beside it, the chin 0.65 below.
const (
	faceAbove  = 1.0
	faceBelow  = 0.75
	faceBeside = 0.78
)

// swayMost is how far from its usual place a face may be and still belong into the
// box, in sizes of the face: who walks about cannot be kept by one crop.
const swayMost = 0.6

// Find returns who is seen in a picture, by what was measured of it. Faces count
// before shapes. A picture without size has nobody.
func Find(m Measured) Person {
	var p Person
	if m.W < 1 || m.H < 1 {
		return p
	}
	if s := m.Moving; s.Confidence >= motion.Sure {
		p.Body = Box{s.Left, s.Top, s.Right, s.Bottom}.within()
		p.Sure, p.Moves = s.Confidence, m.Moves
		if m.Shape.Found() {
			p.Head = ofShape(m.Shape, m.W, m.H)
			p.Heads = p.Head
		}
	}
	for i, f := range m.Faces {
		if f.Size < 0.6*m.Faces[0].Size {
			continue // far behind
		}
		head := ofFace(f, m.W, m.H)
		if i == 0 {
			p.Head, p.Heads, p.Face = head, head, true
			p.Sure = float64(f.Pictures) / float64(max(1, f.Of))
		}
		p.Heads = p.Heads.Join(head)
	}
	return p
}

// ofFace returns the box of a head from its face.
func ofFace(f face.Face, w, h int) Box {
	high := f.Size // in heights of the picture; and in widths:
	wide := f.Size * float64(h) / float64(w)
	return Box{
		max(f.Left, f.X-swayMost*wide) - faceBeside*wide, max(f.Top, f.Y-swayMost*high) - faceAbove*high,
		min(f.Right, f.X+swayMost*wide) + faceBeside*wide, min(f.Bottom, f.Y+swayMost*high) + faceBelow*high,
	}.within()
}

// ofShape returns the box of a head from its outline, which is a little small: what
// is thin is not in it, and a chin often is not. A head is a fifth higher than wide
// (common practice in drawing, with hair).
func ofShape(s motion.Head, w, h int) Box {
	wide, high := s.Right-s.Left, s.Bottom-s.Top
	high = max(high, 1.2*wide*float64(w)/float64(h))
	return Box{s.Left - 0.1*wide, s.Top - 0.12*high, s.Right + 0.1*wide, s.Top + high}.within()
}
