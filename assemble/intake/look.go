package intake

import (
	"context"
	"math"
	"slices"

	"ripieno/assemble/ffmpeg"
	"ripieno/assemble/media"
	"ripieno/layout/motion"
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
	// Blur of the sharper frames (the first quartile) at 640 pixels' width, 0 to 1; 0
	// when there is nothing in the picture to tell by.
	Blur float64 `json:"blur"`
	// LongestGap between two frames of the file's first minute, in seconds,
	// and whether its frames are unevenly spaced.
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
	timesLength = 60  // seconds of time stamps
	// Decoding a key frame takes some 12 ns a pixel, one more process with its
	// copying 150 ms: pixels from which on decoding fewer is worth it.
	thinLeast = 12e6
)

// Look samples the picture of info and measures it. It decodes key frames
// only, unless those are too rare. The error is a fault for a file without
// picture, ctx's, or one of the tool.
func Look(ctx context.Context, tool *ffmpeg.Tool, info media.Info) (Picture, error) {
	if err := info.NeedVideo(); err != nil {
		return Picture{}, err
	}
	times, keys, err := media.FrameTimes(ctx, tool, info, timesLength)
	if err != nil {
		return Picture{}, err
	}
	// Enlarging a small picture would blur it.
	w, _ := info.Video.Display()
	s := media.Sampling{Width: min(lookWidth, max(16, w)), Every: max(lookEvery, info.Duration/lookMost)}
	s.OneIn = oneIn(keys, s.Every, info)
	var e eye
	damaged, err := media.SampleGray(ctx, tool, info, s, e.see)
	if err != nil {
		return Picture{}, err
	}
	if e.frames < lookEnough && info.Duration > lookEnough*lookEvery {
		s.Whole = true
		e = eye{}
		if damaged, err = media.SampleGray(ctx, tool, info, s, e.see); err != nil {
			return Picture{}, err
		}
	}
	p := e.picture()
	p.Damaged = damaged
	p.LongestGap, p.Uneven = cadence(times)
	return p, nil
}

// oneIn returns how many key frames to go on for one that is decoded, 1 for all:
// the number that comes nearest to every seconds, if leaving out the others
// saves more than another process costs.
func oneIn(keys []float64, every float64, info media.Info) int {
	if len(keys) < 3 {
		return 1
	}
	apart := (keys[len(keys)-1] - keys[0]) / float64(len(keys)-1)
	n := 1
	if apart > 0 {
		n = int(math.Round(every / apart))
	}
	left := info.Duration / apart * (1 - 1/float64(max(1, n))) * float64(info.Video.W*info.Video.H)
	if n < 2 || left < thinLeast {
		return 1
	}
	return n
}

// eye measures as it sees.
type eye struct {
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
}

// see takes one frame.
func (e *eye) see(g media.Gray) error {
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

// picture returns the result, without time stamps.
func (e *eye) picture() Picture {
	p := Picture{Frames: e.frames, Subject: e.moving.Subject()}
	if e.frames == 0 {
		return p
	}
	p.Mean, p.DarkPercent, p.WhitePercent = middle(e.means), middle(e.darks), middle(e.whites)
	if len(e.blurs) > 0 {
		// A lens that hunts, or a player who moves, blurs some frames.
		slices.Sort(e.blurs)
		p.Blur = e.blurs[len(e.blurs)/4]
	}
	if e.frames < 2 {
		return p
	}
	total := 0.0
	for _, c := range e.change {
		total += c
	}
	p.Motion = total / float64(len(e.change)) / float64(e.frames-1)
	return p
}

// middle returns the median, the upper one of two; of must not be empty.
func middle(of []float64) float64 {
	v := slices.Clone(of)
	slices.Sort(v)
	return v[len(v)/2]
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
	usual, off := middle(steps), 0
	for _, s := range steps {
		if d := math.Abs(s - usual); d > 0.1*usual && d > 2e-3 {
			off++
		}
	}
	return longest, off*50 > len(steps)
}
