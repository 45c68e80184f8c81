package soundtrack

import (
	"context"
	"errors"
	"fmt"
	"math"
	"path/filepath"

	"ripieno/assemble/fault"
	"ripieno/assemble/graph"
	"ripieno/assemble/media"
	"ripieno/assemble/store"
	"ripieno/assemble/task"
	"ripieno/mix"
	"ripieno/mix/audio"
	"ripieno/mix/loudness"
)

// masterTask brings the sum to the loudness asked for and encodes it.
func (t *Track) masterTask(sum task.Ref[string]) task.Task {
	m := t.begin("master")
	m.Action = m.Action.Arg("rules", graph.Rule).Arg("pieces", encodingRule).Arg("search", mix.SearchVersion).
		Arg("ffmpeg", t.tool.Version.Text).Arg("loudness", t.mix.Loudness).Arg("true peak", t.mix.TruePeak).
		Arg("title", t.title)
	m.Needs("sum", sum)
	m.Action = m.Action.Files(masterWAV, filmM4A, reportFile)
	m.Bytes = 2 * sampleBytes * int64(t.line.AudioLen)
	m.ID, m.Name, m.Stage, m.Keep, m.Cost = task.ID("master"), "master", "master", true, 0.5+
		costMaster*t.line.Duration()
	m.Make = func(ctx context.Context, in task.Inputs, dir string, advance func(float64)) error {
		folder, err := sum.Read(in)
		if err != nil {
			return err
		}
		return t.masterSum(ctx, folder, dir, advance)
	}
	return m
}

// masterSum writes the mastered and the encoded sound of a folder with a sum
// into dir, with the report completed.
func (b bus) masterSum(ctx context.Context, sum, dir string, advance func(float64)) error {
	rep, err := store.Load[soundReport](filepath.Join(sum, reportFile))
	if err != nil {
		return err
	}
	m := mastering{
		bus: b, dir: dir, rep: &rep,
		open: func() (audio.Source, error) { return media.OpenWAV(filepath.Join(sum, sumWAV)) },
	}
	if err := m.run(ctx, advance); err != nil {
		return err
	}
	return store.Save(filepath.Join(dir, reportFile), rep)
}

// How the encoder's overshoot is met. The loudness is searched once, on the
// sum. Every try after that masters in one pass, encodes once, decodes and
// measures: where people would hear peaks over the ceiling, the limiter's own
// ceiling goes down by a little more than the excess, and the gain up by what
// that costs. Where a few tries do not help, because the encoder overshoots
// with whatever it is given (noise), the level goes down instead, which must
// end it: the overshoot of an encoder follows its input.
const (
	ceilingTries  = 4
	encodingTries = 8
	overshoot     = 0.1  // dB beyond the excess that the ceiling is lowered by
	closeEnough   = 0.15 // LU that the delivered sound may miss its target by
)

// mastering is one run of the loop.
type mastering struct {
	bus
	dir  string
	rep  *soundReport
	open func() (audio.Source, error)
}

// run searches the gain, writes the master and checks what it sounds like once it
// is encoded. advance is told the share of the tries, so it may jump to its end.
func (m *mastering) run(ctx context.Context, advance func(float64)) error {
	target, ceiling := loudness.LUFS(m.mix.Loudness), audio.Decibels(m.mix.TruePeak)
	r, err := mix.SearchGain(m.open, m.rep.Sum, target, ceiling)
	if err != nil {
		return err
	}
	for try := range encodingTries {
		m.rep.Tries = try + 1
		if err := m.try(ctx, &r); err != nil {
			return err
		}
		advance(float64(try+1) / encodingTries)
		over := m.rep.AAC.TruePeak - ceiling
		miss := audio.Decibels(target - m.rep.AAC.Integrated)
		if math.IsInf(float64(miss), 0) {
			miss = 0 // silence has no loudness to mend
		}
		switch {
		case over > 0 && try < ceilingTries:
			r.Inner -= over + overshoot
			r.Gain = min(r.Gain+max(0, miss), r.Most)
		case over > 0:
			r.Inner -= over + overshoot
			r.Gain -= over + overshoot
		case math.Abs(float64(miss)) > closeEnough && try < ceilingTries && min(r.Gain+miss, r.Most) != r.Gain:
			r.Gain = min(r.Gain+miss, r.Most)
		default:
			m.finish(r)
			return nil
		}
	}
	return fault.New(fault.Failed, "mix", fmt.Sprintf("the encoded sound peaks at %.1f dBTP over a ceiling of %.1f",
		m.rep.AAC.TruePeak, ceiling),
		"choose a lower loudness or a higher true_peak under mix")
}

// finish says whether the target was reached after all. Twice as much as is aimed at
// counts as reached: the last tries may only lower the peaks.
func (m *mastering) finish(r mix.MasterReport) {
	miss := r.Target - m.rep.AAC.Integrated
	within := math.Abs(float64(miss)) <= 2*closeEnough
	switch {
	case within:
		r.Reached, r.Reason = true, ""
	case r.Reached:
		r.Reached = false
		r.Reason = fmt.Sprintf("the encoder overshoots on this sound, so it is %.1f LU softer", float64(miss))
	}
	m.rep.Master = r
}

// try masters with the report's gain and ceiling, and encodes.
func (m *mastering) try(ctx context.Context, r *mix.MasterReport) error {
	src, err := m.open()
	if err != nil {
		return err
	}
	about := describe(media.PCM24, m.title, m.line.AudioStart)
	wav, m4a := filepath.Join(m.dir, masterWAV), filepath.Join(m.dir, filmM4A)
	if m.rep.Curve, err = writeMaster(ctx, src, r, m.line.AudioLen, wav, about); err != nil {
		return err
	}
	m.rep.AAC, err = m.encode(ctx, wav, m4a, m.line.AudioLen)
	return err
}

// writeMaster masters src, which it closes, with the report's gain and ceiling
// into a file, and completes the report. Limiting, metering and writing go on
// at the same time. src is closed in any case. Dither is that of 24 bits with a fixed
// seed, so that the same mix has the same bytes.
func writeMaster(ctx context.Context, src audio.Source, r *mix.MasterReport, length audio.Frames, path string,
	about *media.Broadcast) (curve, error) {
	finished := mix.Finish(src, *r)
	metered := newCurved(audio.NewAhead(finished), length)
	dithered := mix.Dither(audio.NewAhead(metered), 24, 1)
	_, err := media.CreateBroadcastWAV(ctx, path, &atEnd{dithered, func() { about.Loudness = metered.broadcast() }},
		media.PCM24, about)
	if err = errors.Join(err, audio.Close(dithered)); err != nil {
		return curve{}, err
	}
	r.After, r.Reduction, r.Limited = metered.Measured(), finished.Reduction(), 0
	if length > 0 {
		r.Limited = float64(finished.Lowered()) / float64(length)
	}
	return metered.curve, nil
}

// atEnd is a source that has something done when it ends, by whoever reads it. The
// loudness stands in the head of the file, and is known only when all has been read.
type atEnd struct {
	audio.Source
	do func()
}

// Read implements [audio.Source].
func (a *atEnd) Read(dst audio.Block) (int, error) {
	n, err := a.Source.Read(dst)
	if err != nil {
		a.do()
	}
	return n, err
}

// describe returns what a sound file of ours says about itself.
func describe(f media.Format, what string, start audio.Frames) *media.Broadcast {
	return &media.Broadcast{
		Description: what, Originator: "ripieno", TimeReference: media.TimeReference(start),
		History: []string{media.CodingLine(f, 2, "ripieno")},
	}
}

// curve is loudness over time: values every Step samples from the beginning,
// −Inf for silence.
type curve struct {
	Step             audio.Frames
	Momentary, Short []float32 // LUFS
}

// curvePoints bounds a curve: enough for a picture, and the same for an hour
// as for a minute.
const curvePoints = 1200

// curved is a metered source that keeps its loudness over time.
type curved struct {
	*mix.Metered
	curve curve
	at    audio.Frames
}

// newCurved returns src with its loudness measured, and a curve of it with few
// enough points to draw.
func newCurved(src audio.Source, length audio.Frames) *curved {
	const tenth = audio.Rate / 10
	steps := max(1, (length+tenth*curvePoints-1)/(tenth*curvePoints))
	return &curved{Metered: mix.NewMetered(src), curve: curve{Step: steps * tenth}}
}

// Read implements [audio.Source]. It stops at every point of the curve. Points lie on
// multiples of Step whatever the size of blocks.
func (c *curved) Read(dst audio.Block) (int, error) {
	done := 0
	for done < dst.Frames() {
		want := min(audio.Frames(dst.Frames()-done), c.curve.Step-c.at%c.curve.Step)
		n, err := c.Metered.Read(dst.Slice(done, done+int(want)))
		done += n
		c.at += audio.Frames(n)
		if n > 0 && c.at%c.curve.Step == 0 {
			c.curve.Momentary = append(c.curve.Momentary, float32(c.Meter().Momentary()))
			c.curve.Short = append(c.curve.Short, float32(c.Meter().ShortTerm()))
		}
		if err != nil {
			if done > 0 {
				return done, nil
			}
			return 0, err
		}
		if audio.Frames(n) < want {
			break
		}
	}
	return done, nil
}

// broadcast returns what the meter says for the head of a file.
func (c *curved) broadcast() *media.BroadcastLoudness {
	m := c.Measured()
	return &media.BroadcastLoudness{
		Integrated: float64(m.Integrated), Range: float64(m.Range), TruePeak: float64(m.TruePeak),
		MaxMomentary: float64(c.Meter().MaxM()), MaxShort: float64(m.MaxShort),
	}
}
