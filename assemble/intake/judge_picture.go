package intake

import (
	"fmt"
	"math"
	"strings"

	"ripieno/assemble/intake/limit"
	"ripieno/assemble/report/phrase"
	"ripieno/layout/motion"
)

// stream judges what the file says about its picture.
func (j *judge) stream() {
	l, v := j.limits, j.file.Info.Video
	w, h := v.Display()
	shape := j.facts.Shape
	if shape <= 0 {
		shape = 16.0 / 9
	}
	ratio, size := float64(w)/float64(h), fmt.Sprintf("%d × %d", w, h)
	if upright, sure := l.Under(limit.Portrait, ratio); upright && shape > 1 {
		level := Ask
		// A person has cut it to a tile already, or the head fits into one.
		if j.facts.Framed || j.keepsHead() {
			level = OK
		}
		j.add(Portrait, level, sure, "portrait", "size", size)
	}
	j.head()
	if v.Rotation != 0 {
		j.add(Rotated, OK, 1, "rotated", "degrees", whole(v.Rotation))
	}
	lines := float64(min(w, h))
	if tiny, sure := l.Under(limit.TinyLines, lines); tiny {
		j.add(LowRes, Redo, sure, "tiny", "size", size)
	} else if small, sure := l.Under(limit.ShortLines, lines); small {
		j.add(LowRes, Ask, sure, "small", "size", size)
	}
	if v.FPSNum > 0 {
		fps := float64(v.FPSNum) / float64(v.FPSDen)
		if slow, sure := l.Under(limit.LowFPS, fps); slow {
			j.add(LowFPS, Ask, sure, "low-frame-rate", "fps", figure(fps, 1))
		}
	}
	if v.HDR() {
		j.add(HDR, OK, 1, "hdr", "transfer", v.Transfer)
	}
	// Mostly HDR whose mark got lost on the way, which looks pale (common practice, no source).
	if deep := strings.Contains(v.PixFmt, "p10") || strings.Contains(v.PixFmt, "p12") ||
		strings.HasPrefix(v.PixFmt, "p01"); deep && v.Transfer == "" {
		j.add(Untagged, OK, 0.7, "untagged")
	}
	if v.Interlaced {
		j.add(Interlaced, OK, 1, "interlaced")
	}
	if c := j.file.Picture; v.VFR || c != nil && c.Uneven {
		j.add(Variable, OK, 0.8, "variable-rate")
	}
}

// middle judges where the player is, by what crop: auto goes by. The lower
// edge cuts everybody who sits.
func (j *judge) middle(s motion.Subject) {
	if s.Confidence < motion.Sure {
		return
	}
	left, top, right, bottom := s.Reach()
	edges := []edge{{"left", left, 270}, {"right", 1 - right, 90}, {"upper", top, 180}}
	for _, e := range edges {
		if out, sure := j.limits.Under(limit.CutEdge, e.room); out {
			j.note(CutOff, Ask, min(sure, s.Confidence, 0.7), j.lying(e, edges, 1-bottom))
			return // more about the place would say the same again
		}
	}
	x, _ := s.Centre()
	off, sure := j.limits.Over(limit.CentreOff, math.Abs(x-0.5))
	if !off {
		return
	}
	side := "left"
	if x > 0.5 {
		side = "right"
	}
	// What moves need not be the player, so this is never certain.
	j.add(OffCentre, OK, max(0.5, min(sure, s.Confidence, 0.7)), "off-centre-"+side)
}

// edge is one that nobody leaves the picture by who sits upright.
type edge struct {
	name string
	room float64 // how far before it the movement ends, as a share of the picture
	turn int     // degrees clockwise that make it the lower edge
}

// lying returns the sentence for a player who leaves the picture by edge e. Where they end well
// before all other edges, the lower one among them, it asks whether the scene is turned: whoever
// sits upright is cut off by the lower edge.
func (j *judge) lying(e edge, edges []edge, lower float64) phrase.Message {
	beyond := phrase.New("found.cut-off-" + e.name)
	for _, o := range append([]edge{{room: lower}}, edges...) {
		if free, _ := j.limits.Over(limit.LyingRoom, o.room); o != e && !free {
			return beyond
		}
	}
	key := "found.lying"
	if e.turn == 180 {
		key = "found.upside-down"
	}
	return phrase.New(key, "edge", beyond, "degrees", whole((j.file.Info.Video.Rotation+e.turn)%360))
}

// picture judges what the sampled frames show.
func (j *judge) picture(p *Picture) {
	l := j.limits
	switch {
	case p.Damaged > 1:
		j.note(Damaged, Ask, 0.85, countPlaces(p.Damaged, "picture"))
	case p.Damaged == 1:
		j.note(Damaged, OK, 0.6, countPlaces(1, "picture"))
	}
	if p.Frames == 0 {
		return
	}
	dark, sureMean := l.Under(limit.DarkMean, p.Mean)
	black, sureShare := l.Over(limit.DarkShare, p.DarkPercent)
	if dark && black {
		j.add(TooDark, Ask, math.Min(sureMean, sureShare), "too-dark", "level", figure(p.Mean, 0))
	}
	if blown, sure := l.Over(limit.BlownShare, p.WhitePercent); blown {
		j.add(BlownOut, Ask, sure, "blown-out", "percent", figure(p.WhitePercent, 0))
	}
	if soft, sure := l.Over(limit.BlurMost, p.Blur); soft {
		j.add(Unsharp, Ask, math.Min(sure, 0.85), "out-of-focus")
	}
	// Two frames may be alike by chance of the moment; five are not.
	if p.Frames >= 5 {
		if still, sure := l.Under(limit.FrozenMotion, p.Motion); still {
			j.add(Frozen, Ask, sure, "frozen")
		} else {
			j.middle(p.Subject)
		}
	}
	if gap, sure := l.Over(limit.FrameGap, p.LongestGap); gap {
		j.add(FrameGaps, Ask, sure, "frame-gaps", "seconds", figure(p.LongestGap, 1))
	}
}
