package takes

import (
	"context"
	"errors"
	"math"
	"slices"

	"ripieno/assemble/media"
	"ripieno/assemble/session"
	"ripieno/assemble/store"
	"ripieno/assemble/task"
	"ripieno/mix/align"
	"ripieno/mix/audio"
)

// The type that is stored of two devices that part, with the number it has for ever.
var _ = store.Number(16, align.Step{})

// deviceLead is by how many nats one of two devices must be the likelier to be the broken
// one.
const deviceLead = 2.0

// compareDevices looks for the moment at which the two devices of a player stop going
// together, where they do not go together all along. The hints are keyed by recording.
func (s *Set) compareDevices(ctx context.Context, x *session.Session, l *listened) (map[string][]align.Hint, error) {
	steps := map[string]task.Ref[align.Step]{}
	var edges []task.Edge
	for _, p := range l.pairs {
		a, b := s.byName(p.A), s.byName(p.B)
		if a == nil || b == nil || !p.Match.Suspicious() {
			continue
		}
		steps[p.B] = stepsTask(a, b)
		edges = append(edges, steps[p.B])
	}
	hints := s.pictureHints()
	if len(edges) == 0 {
		return hints, nil
	}
	res, err := x.Run(ctx, task.Collect(edges...))
	if err != nil {
		return nil, err
	}
	for _, p := range l.pairs {
		ref, ok := steps[p.B]
		if !ok {
			continue
		}
		step, ok, err := ref.Result(res)
		if err != nil {
			return nil, err
		}
		if ok && step.Sure {
			a, b := step.Hints()
			hints[p.A], hints[p.B] = append(hints[p.A], a), append(hints[p.B], b)
		}
	}
	return hints, nil
}

// pictureLonger is by how much the picture of a file has to be longer than its sound for
// sound to be missing in it, in seconds: recorders end the two up to a tenth apart.
const pictureLonger = 0.15

// pictureHints returns what the pictures' clocks say of sound that is missing and was not put back
// yet. The hints are keyed by recording.
func (s *Set) pictureHints() map[string][]align.Hint {
	hints := map[string][]align.Hint{}
	for _, r := range s.Recordings() {
		a, v := r.Info.Audio, r.Info.Video
		if r.Err != nil || a == nil || v == nil || a.Duration <= 0 || r.Rate > 0 ||
			r.File != nil && len(r.File.Parts) > 0 {
			continue
		}
		missing := v.Start + v.Duration - a.Start - a.Duration - r.Parts.Missing()
		if missing >= pictureLonger {
			hints[r.Name()] = r.pictureHints(missing)
		}
	}
	return hints
}

// holeNear is by how much the length of a hole in the picture may differ from what is
// missing of the sound, in seconds, for the two to be one: see pictureLonger.
const holeNear = 0.1

// pictureHints returns the breaks of a file whose picture is longer than its sound by some
// seconds. Where the picture has no frames for as long, once or several times together, both
// stopped there, and only the picture's time stamps went on; else nobody knows where.
func (r *Recording) pictureHints(missing float64) []align.Hint {
	one := align.Hint{At: math.NaN(), Jump: missing, By: "picture"}
	var all []align.Hint
	off, sum := holeNear, 0.0
	for _, h := range r.holes {
		at := r.Info.Video.Start + h.At - r.Info.Audio.Start
		if r.isMended(at, h.Length) {
			continue
		}
		if d := math.Abs(h.Length - missing); d < off {
			one.At, one.Jump, off = at, h.Length, d
		}
		// What is missing before it is not in the sound.
		all = append(all, align.Hint{At: at - sum, Jump: h.Length, By: "picture"})
		sum += h.Length
	}
	if math.IsNaN(one.At) && len(all) > 1 && math.Abs(sum-missing) < holeNear {
		return all
	}
	return []align.Hint{one}
}

// isMended reports whether so many seconds were put back into the recording at a second of whole
// time, or earlier by what is missing before it still.
func (r *Recording) isMended(at, length float64) bool {
	for i := 1; i < len(r.Parts); i++ {
		end := r.Parts[i-1].To + r.Parts[i-1].Shift
		gap := r.Parts[i].From + r.Parts[i].Shift - end
		before := 0.0
		for _, h := range r.holes {
			if x := r.Info.Video.Start + h.At - r.Info.Audio.Start; x < at {
				before += h.Length
			}
		}
		if math.Abs(gap-length) < holeNear && end < at+pictureLonger && end > at-before-pictureLonger {
			return true
		}
	}
	return false
}

// isOfSoundOnly reports whether a break is one of the file's sound: its picture is whole and
// keeps its time, since it is longer by as much.
func isOfSoundOnly(b align.Break, hints []align.Hint) bool {
	return b.By == "picture" || slices.ContainsFunc(hints, func(h align.Hint) bool {
		return h.By == "picture" && math.Abs(h.Jump-b.Jump) < holeNear
	})
}

// stepsTask compares the two devices of one take stretch by stretch.
func stepsTask(a, b *Recording) task.Ref[align.Step] {
	return compareTask("steps", a, b, 4*costMatch, align.MatchSteps)
}

// openBoth returns what compare finds between two sounds.
func openBoth[T any](one, other string, compare func(a, b audio.Source) (T, error)) (T, error) {
	var none T
	a, err := media.OpenWAV(one)
	if err != nil {
		return none, err
	}
	b, err := media.OpenWAV(other)
	if err != nil {
		return none, errors.Join(err, a.Close())
	}
	v, err := compare(a, b)
	return v, errors.Join(err, a.Close(), b.Close())
}

// whichDevice decides which of two devices has the break that shows between them: the
// one whose playing it explains the better. Where neither leads, none is sure.
func whichDevice(found []align.Break, partner map[string]string) []align.Break {
	gain := map[string]float64{}
	for _, b := range found {
		if b.By == "device" {
			gain[b.Name] = b.Gain
		}
	}
	var out []align.Break
	for _, b := range found {
		if b.By == "device" {
			other, both := gain[partner[b.Name]]
			if both && other > b.Gain {
				continue
			}
			b.Sure = !both || b.Gain-other >= deviceLead
		}
		out = append(out, b)
	}
	return out
}
