package figure

// Stage is one player in one room in front of one camera.
type Stage struct {
	look   Look
	motion *Motion
	way    matrix
	still  *Frame // the room without the player
	canvas canvas
}

// NewStage sets the stage; the room is painted once, here.
func NewStage(l Look, m *Motion, v View) *Stage {
	s := &Stage{look: l, motion: m, way: v.way(), still: NewFrame(v.W, v.H)}
	s.canvas = newCanvas(s.still, s.way)
	drawRoom(s.canvas, l)
	return s
}

// Draw paints dst, which has the view's size, as the camera sees the stage at
// a guide time. A Stage is for one goroutine.
func (s *Stage) Draw(dst *Frame, seconds float64) {
	copy(dst.Pix, s.still.Pix)
	s.canvas.frame = dst
	c := s.canvas
	since, level := s.motion.since(seconds)
	p := poseAt(s.look, s.motion, seconds)
	drawLamp(c, s.look.lampAt(), s.motion.lit(seconds), p.sound, since, level)
	p.drawBehind(c)
	p.drawTorso(c)
	p.drawHead(c)
	p.drawInstrument(c)
}
