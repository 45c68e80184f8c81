package card

import (
	"errors"
	"fmt"
	"image"
	"image/color"
	"math"
)

// LevelStrip is one bar of a picture of levels. Loudness is in LUFS, −Inf for
// none.
type LevelStrip struct {
	Name, Part string
	Section    string  // bars of one section have one colour; may be ""
	Recorded   float64 // loudness as recorded
	Mixed      float64 // loudness in the mix
	Noise      float64 // in the mix; −Inf when it is not known
	Gain       float64 // dB
}

// LevelTick is a place on the time axis.
type LevelTick struct {
	At   float64 // seconds from the beginning
	Text string
}

// LevelsOptions is what Levels draws.
type LevelsOptions struct {
	Title, Summary string
	Strips         []LevelStrip
	Target         float64 // LUFS
	Seconds        float64 // length of the programme
	Step           float64 // seconds between values of the curves, above 0 where there are any
	Momentary      []float64
	ShortTerm      []float64
	Ticks          []LevelTick // in order; thinned out where they are too many
	Width          int         // of the picture in pixels, 320 to 8192; 0 means 1280
	Fonts          *Fonts      // nil: the embedded ones
}

// The scale of the bars and that of the curve, LUFS. What is softer is drawn
// at the left or lower end.
const (
	barFloor, barTop     = -70.0, 0.0
	curveFloor, curveTop = -50.0, 0.0
)

// Colours of bars, a tint of the plan's sections each, dark enough to be seen
// on paper.
var barTints = []color.NRGBA{
	{0x5b, 0x6b, 0x7a, 255}, {0x3f, 0x78, 0xa6, 255}, {0xa8, 0x76, 0x2f, 255}, {0x4c, 0x86, 0x4a, 255},
	{0x8d, 0x57, 0x80, 255}, {0x8a, 0x7d, 0x1f, 255}, {0x35, 0x83, 0x7d, 255}, {0xa5, 0x55, 0x40, 255},
}

var (
	levelWash   = color.NRGBA{0xc9, 0xd8, 0xe2, 255} // momentary loudness
	levelLine   = color.NRGBA{0x1f, 0x55, 0x7d, 255} // short-term loudness
	levelTarget = color.NRGBA{0x9c, 0x3b, 0x2e, 255}
)

// Levels draws how loud every strip is, as recorded and in the mix, and how
// loud the programme is over time. Errors: *MissingError, joined, and
// arguments out of range.
func Levels(o LevelsOptions) (*image.NRGBA, error) {
	g, err := newLevels(&o)
	if err != nil {
		return nil, err
	}
	p := newPicture(o.Width, g.height, planPaper)
	s := newSetter(o.Fonts)
	g.page = p.Rect
	title := s.fit(o.Title, bold, g.unit*26, g.unit*16, float64(o.Width)-2*g.margin)
	p.write(title, g.margin, g.margin+title.ascent, planInk, g.page)
	g.bars(p, s, o)
	g.curve(p, s, o)
	return p.NRGBA, errors.Join(s.refusal...)
}

// levels is the geometry of the picture.
type levels struct {
	unit, margin float64
	names, says  float64 // left of the bars: names; right of them: figures
	top, row     float64 // of the bars
	plot         box     // of the curve
	height       int
	page         image.Rectangle
}

// newLevels fills in what o leaves open and plans the drawing. What cannot be drawn
// is an error.
func newLevels(o *LevelsOptions) (levels, error) {
	if o.Width == 0 {
		o.Width = 1280
	}
	if o.Width < 320 || o.Width > 8192 {
		return levels{}, fmt.Errorf("width: %d is not within 320 and 8192 pixels", o.Width)
	}
	if len(o.Momentary) != len(o.ShortTerm) || len(o.Momentary) > 0 && !(o.Step > 0 && o.Seconds > 0) {
		return levels{}, fmt.Errorf("curves of %d and %d values every %v of %v seconds cannot be drawn",
			len(o.Momentary), len(o.ShortTerm), o.Step, o.Seconds)
	}
	g := levels{unit: float64(o.Width) / 1280}
	g.margin, g.names, g.says, g.row = 24*g.unit, 250*g.unit, 230*g.unit, 26*g.unit
	g.top = g.margin + 84*g.unit
	y := g.top + float64(len(o.Strips))*g.row + 64*g.unit
	g.plot = box{g.margin + 52*g.unit, y, float64(o.Width) - g.margin, y + 260*g.unit}
	g.height = int(g.plot.y1 + 64*g.unit + g.margin)
	if g.height > 1<<15 {
		return g, fmt.Errorf("%d strips are too many for one picture", len(o.Strips))
	}
	return g, nil
}

// bars draws the strips: a bar for the loudness in the mix, a line for its noise, a diamond for
// the loudness as recorded, all on one scale of LUFS.
func (g levels) bars(p *picture, s *setter, o LevelsOptions) {
	x0, x1 := g.margin+g.names, float64(o.Width)-g.margin-g.says
	at := func(lufs float64) float64 {
		return x0 + (x1-x0)*(min(max(lufs, barFloor), barTop)-barFloor)/(barTop-barFloor)
	}
	end := g.top + float64(len(o.Strips))*g.row
	for lufs := barFloor; lufs <= barTop; lufs += 10 {
		p.rect(box{at(lufs) - 0.5*g.unit, g.top, at(lufs) + 0.5*g.unit, end}, planCanvas)
		g.centred(p, s, fmt.Sprintf("%.0f", lufs), at(lufs), g.top-8*g.unit, planQuiet)
	}
	key := s.fit("bar: loudness in the mix · thin line: its noise · diamond: as recorded · LUFS, gain", regular,
		g.unit*14, g.unit*9, float64(o.Width)-2*g.margin)
	p.write(key, g.margin, g.top-34*g.unit, planQuiet, g.page)
	tints := map[string]color.NRGBA{"": barTints[0]}
	for i, strip := range o.Strips {
		if _, ok := tints[strip.Section]; !ok {
			tints[strip.Section] = barTints[1+(len(tints)-1)%(len(barTints)-1)]
		}
		y := g.top + float64(i)*g.row
		base := y + 0.7*g.row
		name := s.fit(strip.Name, medium, g.unit*15, g.unit*11, g.names*0.55)
		p.write(name, g.margin, base, planInk, g.page)
		if strip.Part != "" {
			part := s.fit(strip.Part, regular, g.unit*13, g.unit*10, g.names-name.width-24*g.unit)
			p.write(part, g.margin+name.width+10*g.unit, base, planQuiet, g.page)
		}
		if strip.Mixed > barFloor {
			p.rect(box{x0, y + 0.22*g.row, at(strip.Mixed), y + 0.78*g.row}, tints[strip.Section])
		}
		if strip.Noise > barFloor {
			p.rect(box{x0, y + 0.46*g.row, at(strip.Noise), y + 0.54*g.row}, planInk)
		}
		if strip.Recorded > math.Inf(-1) {
			p.lozenge(at(strip.Recorded), y+g.row/2, 7*g.unit, 7*g.unit, 1.6*g.unit, true, g.page, planInk)
		}
		says := "silent"
		if strip.Mixed > math.Inf(-1) {
			says = fmt.Sprintf("%.1f LUFS   %+.1f dB", strip.Mixed, strip.Gain)
		}
		p.write(s.fit(says, regular, g.unit*14, g.unit*10, g.says-16*g.unit), x1+14*g.unit, base, planInk, g.page)
	}
}

// centred writes a small text round x, its baseline at y.
func (g levels) centred(p *picture, s *setter, text string, x, y float64, c color.NRGBA) {
	l := s.set(text, regular, g.unit*13)
	p.write(l, x-l.width/2, y, c, g.page)
}

// curve draws the programme over time.
func (g levels) curve(p *picture, s *setter, o LevelsOptions) {
	b := g.plot
	y := func(lufs float64) float64 {
		return b.y1 - b.h()*(min(max(lufs, curveFloor), curveTop)-curveFloor)/(curveTop-curveFloor)
	}
	x := func(seconds float64) float64 { return b.x0 + b.w()*min(max(seconds/max(o.Seconds, 1e-9), 0), 1) }
	head := s.fit("the programme: "+o.Summary, medium, g.unit*15, g.unit*9, float64(o.Width)-2*g.margin)
	p.write(head, g.margin, b.y0-14*g.unit, planInk, g.page)
	p.rect(b, color.NRGBA{0xff, 0xff, 0xff, 255})
	if len(o.Momentary) > 0 {
		p.paint(b, g.page, levelWash, func(n pen) {
			n.move(b.x0, b.y1)
			for i, v := range o.Momentary {
				n.line(x(float64(i+1)*o.Step), y(v))
			}
			n.line(x(float64(len(o.Momentary))*o.Step), b.y1)
			n.ClosePath()
		})
	}
	for lufs := curveFloor; lufs <= curveTop; lufs += 10 {
		p.rect(box{b.x0, y(lufs) - 0.5*g.unit, b.x1, y(lufs) + 0.5*g.unit}, planCanvas)
		l := s.set(fmt.Sprintf("%.0f", lufs), regular, g.unit*13)
		p.write(l, b.x0-l.width-8*g.unit, y(lufs)+l.ascent*0.35, planQuiet, g.page)
	}
	half := 1.1 * g.unit
	p.paint(b, g.page, levelLine, func(n pen) {
		for i := 1; i < len(o.ShortTerm); i++ {
			from, to := o.ShortTerm[i-1], o.ShortTerm[i]
			if !(from >= curveFloor && to >= curveFloor) {
				continue
			}
			n.ribbon(b, x(float64(i)*o.Step), y(from), x(float64(i+1)*o.Step), y(to), half)
		}
	})
	for at := b.x0; at < b.x1; at += 14 * g.unit { // dashes
		p.rect(box{at, y(o.Target) - 0.7*g.unit, min(at+8*g.unit, b.x1), y(o.Target) + 0.7*g.unit}, levelTarget)
	}
	target := s.set(fmt.Sprintf("asked for: %.1f LUFS", o.Target), regular, g.unit*13)
	p.write(target, b.x1-target.width-6*g.unit, y(o.Target)-5*g.unit, levelTarget, g.page)
	p.frame(b, max(1, g.unit), planLine)
	g.ticks(p, s, o, x)
	legend := s.fit("line: loudness of 3 s · wash: of 0.4 s (ITU-R BS.1770)", regular, g.unit*13, g.unit*9, b.w())
	p.write(legend, b.x0, b.y1+44*g.unit, planQuiet, g.page)
}

// ticks writes below the curve where in the piece one is, as many places as
// there is room for.
func (g levels) ticks(p *picture, s *setter, o LevelsOptions, x func(float64) float64) {
	free := math.Inf(-1)
	for _, t := range o.Ticks {
		if t.At < 0 || t.At > o.Seconds {
			continue
		}
		l := s.set(t.Text, regular, g.unit*13)
		if left := x(t.At) - l.width/2; left >= free {
			p.rect(box{x(t.At) - 0.5*g.unit, g.plot.y1, x(t.At) + 0.5*g.unit, g.plot.y1 + 5*g.unit}, planLine)
			p.write(l, left, g.plot.y1+20*g.unit, planQuiet, g.page)
			free = left + l.width + 14*g.unit
		}
	}
}
