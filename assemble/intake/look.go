package intake

import (
	"cmp"
	"context"
	"math"
	"slices"

	"ripieno/assemble/ffmpeg"
	"ripieno/assemble/media"
	"ripieno/layout/face"
	"ripieno/layout/framing"
	"ripieno/layout/motion"
	"ripieno/mix/robust"
)

// Picture is what [Look] measures of sampled frames, in grey values from 0 to
// 255. Where a value is called typical it is the median over the frames.
type Picture struct {
	Frames       int     `json:"frames"`        // sampled
	Mean         float64 `json:"mean"`          // typical brightness
	DarkPercent  float64 `json:"dark_percent"`  // typical share of pixels below 40
	WhitePercent float64 `json:"white_percent"` // typical share of pixels above 250
	Motion       float64 `json:"motion"`        // mean change of a pixel from frame to frame
	// Subject is where the player is: what moves before a still background.
	Subject motion.Subject `json:"subject"`
	// Faces that are seen, and where a head seems to be by the shape of what moves.
	// W and H are the size of the pictures that were looked at, upright.
	Faces []face.Face `json:"faces,omitempty"`
	Shape motion.Head `json:"shape"`
	W, H  int         `json:"-"`
	// Moves says where it moves, and how much.
	Moves motion.Heat `json:"-"`
	// Blur of the sharper frames (the first quartile) at 640 pixels' width, 0 to 1; 0
	// when there is nothing in the picture to tell by.
	Blur float64 `json:"blur"`
	// LongestGap between two frames of the file's first minute, or of all of it where
	// its index tells, in seconds, and whether its frames are unevenly spaced.
	LongestGap float64 `json:"longest_gap"`
	Uneven     bool    `json:"uneven"`
	// Damaged is how many places were seen not to decode.
	Damaged int `json:"damaged,omitempty"`
}

const (
	lookWidth   = 640 // pixels, for sharpness
	moveWidth   = 160 // pixels: brightness and movement need no more
	lookEvery   = 2.0 // seconds
	blurEvery   = 4   // frames: the focus of a phone on a stand seldom changes
	lookMost    = 300 // frames, so that an hour is sampled more sparsely
	lookEnough  = 8   // with fewer, key frames are too rare and all are decoded
	thinEvery   = 2.5 // seconds between key frames that are decoded of more,
	thinPlenty  = 10  // as long as there are so many
	mostFPS     = 60  // frames a second of a picture that does not say it
	timesLength = 60  // seconds of time stamps
	// Decoding a key frame takes some 12 ns a pixel, one more process with its
	// copying 150 ms: pixels from which on decoding fewer is worth it.
	thinLeast = 12e6
)

// Person returns who is seen in the picture.
func (p Picture) Person() framing.Person {
	return framing.Find(framing.Measured{Faces: p.Faces, Moving: p.Subject, Moves: p.Moves, Shape: p.Shape,
		W: p.W, H: p.H})
}

// Bounds are what of a picture [Look] decodes less than usual, because the file is small
// for what it says is in it. They belong in the key of what it measures; the zero value
// is the usual.
type Bounds struct {
	Frames  int     // at most, of those sampled; 0: as many as usual
	Seconds float64 // from the beginning, where every frame is decoded; 0: all
}

// BoundsOf returns the bounds for a file with a picture. 5 MB of what people send are
// within them but for pictures of 1080 lines and more without key frames, of which the
// first 19 seconds are seen.
func BoundsOf(info media.Info) (b Bounds) {
	frames := info.FramesToSee()
	if frames < lookMost && float64(frames)*lookEvery < info.Duration {
		b.Frames = max(1, frames)
	}
	fps := float64(mostFPS)
	if v := info.Video; v.FPSNum > 0 && v.FPSDen > 0 {
		fps = float64(v.FPSNum) / float64(v.FPSDen)
	}
	if seconds := float64(frames) / fps; seconds < info.Duration {
		b.Seconds = seconds
	}
	return b
}

// Look samples the picture of info and measures it, turned clockwise by so many
// degrees, a multiple of 90, after the file itself says how it is upright. It
// decodes key frames only, unless those are too rare. The error is a fault for a
// file without picture, ctx's, or one of the tool.
func Look(ctx context.Context, tool *ffmpeg.Tool, info media.Info, turn int) (Picture, error) {
	g, err := newGaze(ctx, tool, info, turn)
	if err != nil {
		return Picture{}, err
	}
	return g.alone(ctx, tool)
}

// Looked is a picture that [LookAll] looks at, turned clockwise by Turn degrees.
type Looked struct {
	Info media.Info
	Turn int
}

// LookAll is [Look] at several pictures; those of which only some key frames are decoded
// are read by the same processes. Files in between lie in the folder dir meanwhile. There
// is a result or an error for each.
func LookAll(ctx context.Context, tool *ffmpeg.Tool, dir string, list []Looked) ([]Picture, []error) {
	seen, wrong := make([]Picture, len(list)), make([]error, len(list))
	gazes := make([]*gaze, len(list))
	var shared []media.Glance
	var sharing []int
	for i, l := range list {
		g, err := newGaze(ctx, tool, l.Info, l.Turn)
		if gazes[i], wrong[i] = g, err; err == nil && g.sampling.OneIn > 1 {
			shared = append(shared, media.Glance{Info: l.Info, Sampling: g.sampling, Use: g.see})
			sharing = append(sharing, i)
		}
	}
	together := make([]bool, len(list))
	if len(shared) > 1 {
		errs, ok := media.SampleTogether(ctx, tool, dir, shared)
		for k, i := range sharing {
			together[i] = ok && errs[k] == nil && !gazes[i].isShort()
		}
	}
	for i, g := range gazes {
		switch {
		case wrong[i] != nil:
		case together[i]:
			seen[i], wrong[i] = g.picture(0)
		default:
			g.eye = eye{turn: list[i].Turn} // what it may have seen is seen again
			seen[i], wrong[i] = g.alone(ctx, tool)
		}
	}
	return seen, wrong
}

// gaze is a look at one picture.
type gaze struct {
	eye
	info     media.Info
	times    []float64 // of the frames of its beginning
	sampling media.Sampling
	bounds   Bounds
	most     int // frames
}

// newGaze decides which frames of a picture are looked at. It fails as [Look] does.
func newGaze(ctx context.Context, tool *ffmpeg.Tool, info media.Info, turn int) (*gaze, error) {
	if err := info.NeedVideo(); err != nil {
		return nil, err
	}
	times, keys, err := media.IndexTimes(ctx, info, timesLength)
	if err != nil { // it has no index that says them
		if times, keys, err = media.FrameTimes(ctx, tool, info, timesLength); err != nil {
			return nil, err
		}
	}
	// Enlarging a small picture would blur it.
	w, _ := info.Video.Display()
	bounds := BoundsOf(info)
	most := cmp.Or(bounds.Frames, lookMost)
	s := media.Sampling{Width: min(lookWidth, max(16, w)), Every: max(lookEvery, info.Duration/float64(most))}
	s.OneIn = oneIn(keys, s.Every, info)
	return &gaze{eye: eye{turn: turn}, info: info, times: times, sampling: s, bounds: bounds, most: most}, nil
}

// isShort reports whether key frames are too rare to tell anything by.
func (g *gaze) isShort() bool {
	return g.frames < min(lookEnough, g.most) && g.info.Duration > lookEnough*lookEvery
}

// alone samples the picture with processes of its own and measures it.
func (g *gaze) alone(ctx context.Context, tool *ffmpeg.Tool) (Picture, error) {
	damaged, err := media.SampleGray(ctx, tool, g.info, g.sampling, g.see)
	if err != nil {
		return Picture{}, err
	}
	if g.isShort() {
		s := g.sampling
		s.Whole, s.First = true, g.bounds.Seconds
		g.eye = eye{turn: g.turn}
		if damaged, err = media.SampleGray(ctx, tool, g.info, s, g.see); err != nil {
			return Picture{}, err
		}
	}
	return g.picture(damaged)
}

// picture returns what was seen, with so many damaged places.
func (g *gaze) picture(damaged int) (Picture, error) {
	p, err := g.eye.picture()
	if err != nil {
		return Picture{}, err
	}
	p.Damaged = damaged
	p.LongestGap, p.Uneven = cadence(g.times)
	return p, nil
}

// oneIn returns how many key frames to go on for one that is decoded, 1 for all:
// the number that comes nearest to every seconds, or to thinEvery where plenty are
// left, if leaving out the others saves more than another process costs.
func oneIn(keys []float64, every float64, info media.Info) int {
	if len(keys) < 3 {
		return 1
	}
	apart := (keys[len(keys)-1] - keys[0]) / float64(len(keys)-1)
	n := 1
	if apart > 0 {
		n = int(math.Round(every / apart))
		if wide := int(math.Round(thinEvery / apart)); wide > n && info.Duration >= thinPlenty*float64(wide)*apart {
			n = wide
		}
	}
	left := info.Duration / apart * (1 - 1/float64(max(1, n))) * float64(info.Video.W*info.Video.H)
	if n < 2 || left < thinLeast {
		return 1
	}
	return n
}

// eye measures as it sees.
type eye struct {
	turn   int // degrees clockwise
	w, h   int
	frames int
	means  []float64
	darks  []float64
	whites []float64
	blurs  []float64
	small  []byte
	last   []byte
	change []float64 // sum of changes of each pixel
	moving motion.Map
	faces  face.Pictures
	turned []byte
}

// see takes one frame, of the size of all others. It fails where its pixels do not fit that.
func (e *eye) see(g media.Gray) error {
	if e.turn != 0 {
		g = turnedBy(g, e.turn, e.turned)
		e.turned = g.Pix
	}
	if err := e.faces.Add(g.W, g.H, g.Pix); err != nil {
		return err
	}
	if e.frames%blurEvery == 0 {
		if blur, ok := blurOf(g); ok {
			e.blurs = append(e.blurs, blur)
		}
	}
	if k := g.W / moveWidth; k > 1 {
		g = shrink(g, k, e.small)
		e.small = g.Pix
	}
	if e.frames == 0 {
		e.w, e.h = g.W, g.H
		e.last = make([]byte, len(g.Pix))
		e.change = make([]float64, len(g.Pix))
	} else {
		for i, v := range g.Pix {
			e.change[i] += math.Abs(float64(v) - float64(e.last[i]))
		}
	}
	if err := e.moving.Add(g.W, g.H, g.Pix); err != nil {
		return err
	}
	e.frames++
	sum, dark, white := 0, 0, 0
	for _, v := range g.Pix {
		sum += int(v)
		switch {
		case v < 40:
			dark++
		case v > 250:
			white++
		}
	}
	n := float64(len(g.Pix))
	e.means = append(e.means, float64(sum)/n)
	e.darks = append(e.darks, 100*float64(dark)/n)
	e.whites = append(e.whites, 100*float64(white)/n)
	copy(e.last, g.Pix)
	return nil
}

// turnedBy returns a picture turned clockwise by a multiple of 90 degrees, in the
// memory of into if that is enough.
func turnedBy(g media.Gray, degrees int, into []byte) media.Gray {
	if cap(into) < len(g.Pix) {
		into = make([]byte, len(g.Pix))
	}
	into = into[:len(g.Pix)]
	out := media.Gray{W: g.W, H: g.H, Pix: into}
	quarters := ((degrees/90)%4 + 4) % 4
	if quarters%2 == 1 {
		out.W, out.H = g.H, g.W
	}
	for y := range g.H {
		for x := range g.W {
			u, v := x, y
			switch quarters {
			case 1:
				u, v = g.H-1-y, x
			case 2:
				u, v = g.W-1-x, g.H-1-y
			case 3:
				u, v = y, g.W-1-x
			}
			out.Pix[v*out.W+u] = g.Pix[y*g.W+x]
		}
	}
	return out
}

// picture returns the result, without time stamps. The error is one of the search for
// faces, whose cascade is in the program.
func (e *eye) picture() (Picture, error) {
	p := Picture{Frames: e.frames, Subject: e.moving.Subject(), Shape: e.moving.Head(), Moves: e.moving.Heat(), W: e.w,
		H: e.h}
	if e.frames == 0 {
		return p, nil
	}
	var err error
	if p.Faces, err = e.faces.Faces(p.Subject.Confidence >= motion.Sure); err != nil {
		return p, err
	}
	p.Mean, p.DarkPercent, p.WhitePercent = robust.Quantile(e.means, 0.5), robust.Quantile(e.darks, 0.5),
		robust.Quantile(e.whites, 0.5)
	if len(e.blurs) > 0 {
		// A lens that hunts, or a player who moves, blurs some frames.
		slices.Sort(e.blurs)
		p.Blur = e.blurs[len(e.blurs)/4]
	}
	if e.frames < 2 {
		return p, nil
	}
	total := 0.0
	for _, c := range e.change {
		total += c
	}
	p.Motion = total / float64(len(e.change)) / float64(e.frames-1)
	return p, nil
}

// cadence returns the longest step between ascending times, and whether steps
// differ: more than one in fifty is off the median by over a tenth and two
// milliseconds, which rounding of time stamps in Matroska (1 ms) does not
// reach.
func cadence(times []float64) (longest float64, uneven bool) {
	if len(times) < 3 {
		return 0, false
	}
	steps := make([]float64, len(times)-1)
	for i := range steps {
		steps[i] = times[i+1] - times[i]
		longest = max(longest, steps[i])
	}
	usual, off := robust.Quantile(steps, 0.5), 0
	for _, s := range steps {
		if d := math.Abs(s - usual); d > 0.1*usual && d > 2e-3 {
			off++
		}
	}
	return longest, off*50 > len(steps)
}
