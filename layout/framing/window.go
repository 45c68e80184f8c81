package framing

// Common practice, no source: the eyes stand near the upper third of the frame,
// and they are in the middle of the head. The least room round a head, in heights
// and widths of the head, is chosen here.
const (
	eyeLine     = 1.0 / 3
	eyesAt      = 0.5
	leastAbove  = 0.12
	leastBeside = 0.12
)

// Keeps reports whether a window can hold the whole head. w and h are the window's
// part of the picture. It is true when no head is known.
func (p Person) Keeps(w, h float64) bool {
	return p.Head.Right-p.Head.Left <= w && p.Head.Bottom-p.Head.Top <= h
}

// Centre returns the middle of the window of a picture that keeps the head whole,
// with room above it, and then as much of the body as can be; where nothing is
// known, the middle of the picture. w and h are the window's part of the picture,
// 0 to 1. The window then lies within the picture.
func (p Person) Centre(w, h float64) (x, y float64) {
	head := p.Heads
	if head.Right-head.Left > w || head.Bottom-head.Top > h {
		head = p.Head
	}
	return p.across(head, w), p.down(head, h)
}

// across returns the middle of a window from left to right.
func (p Person) across(head Box, w float64) float64 {
	if w >= 1 || !p.Known() {
		return 0.5
	}
	body := p.Body
	if body.IsEmpty() {
		body = head
	}
	at := (body.Left + body.Right) / 2
	if !head.IsEmpty() {
		// As much of the instrument as can be, but the head first. Where all fit
		// with room, the head is nearer to the middle than the instrument's end.
		all := body.Join(head)
		if all.Right-all.Left <= w {
			at = ((head.Left+head.Right)/2 + (all.Left+all.Right)/2) / 2
			at = hold(at, all.Left, all.Right, w, 0)
		}
		at = hold(at, head.Left, head.Right, w, leastBeside)
	}
	return min(max(at, w/2), 1-w/2)
}

// down returns the middle of a window from top to bottom.
func (p Person) down(head Box, h float64) float64 {
	if h >= 1 || !p.Known() {
		return 0.5
	}
	if head.IsEmpty() { // heads are at the top of what moves
		at := (p.Body.Top + p.Body.Bottom) / 2
		if p.Body.Bottom-p.Body.Top > h {
			at = p.Body.Top + h/2
		}
		return min(max(at, h/2), 1-h/2)
	}
	high := head.Bottom - head.Top
	top := head.Top + eyesAt*high - eyeLine*h
	// What the instrument lacks below is taken from the room above.
	if lacks := p.Body.Bottom - (top + h); lacks > 0 {
		top = max(top, min(top+lacks, head.Top-leastAbove*high))
	}
	at := hold(top+h/2, head.Top, head.Bottom, h, leastAbove)
	return min(max(at, h/2), 1-h/2)
}

// hold moves the middle of a window of a size so that it holds what lies between
// two ends, with room at both, in lengths of that, as far as there is any.
func hold(at, from, to, size, room float64) float64 {
	long := to - from
	if long >= size {
		return (from + to) / 2
	}
	room = min(room*long, (size-long)/2)
	return min(max(at, to+room-size/2), from-room+size/2)
}
