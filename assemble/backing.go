package assemble

import (
	"context"
	"errors"
	"fmt"
	"io"
	"math"
	"path/filepath"
	"slices"
	"strings"

	"ripieno/assemble/fault"
	"ripieno/assemble/media"
	"ripieno/assemble/plan"
	"ripieno/assemble/session"
	"ripieno/assemble/task"
	"ripieno/mix/audio"
	"ripieno/mix/click"
	"ripieno/mix/loudness"
)

// backingLUFS is the integrated loudness of the other parts under a guide at
// level 0: a little below a guide in two channels, whose clicks stand out by
// 15 dB and more (common practice, no source).
const backingLUFS = -30

// backingFade is how many frames the other parts take to come in before the
// first measure of a re-take and to go out after its last.
const backingFade = audio.Rate / 50

// backing is the parts that are heard in a guide.
type backing struct {
	path     string       // the sum of the strips, float samples
	first    audio.Frames // guide frame of the sum's first sample
	shift    audio.Frames // guide frame of the guide's own first sample
	from, to audio.Frames // guide frames between which it is heard
	gain     audio.Decibels
	takes    []string
	notes    []string
}

// backing mixes the parts that a variant is to have in it, as `mix` would mix
// them now. bad says why there are none yet.
func (p *Production) backing(ctx context.Context, j guideJob) (b *backing, bad *Bad, err error) {
	v := j.variant
	none := func(why, hint string) (*backing, *Bad, error) {
		f := fault.At(fault.Decision, v.Mark, fmt.Sprintf("the guide %q was not made: %s", v.Name, why), hint)
		return nil, &Bad{What: f.Error(), Hint: f.Hint, Kind: kindMissing}, nil
	}
	if p.Manifest().NeedTakes() != nil {
		return none("there are no takes to mix", "write it when the first takes are in, or leave with out")
	}
	all, err := p.locate(ctx)
	if err != nil {
		return nil, nil, err
	}
	pl, faults, err := p.plan(all, nil)
	if err != nil {
		return nil, nil, err
	}
	line := pl.Timeline
	b = &backing{first: line.AudioStart, from: line.AudioStart + backingFade, to: line.AudioStart + line.AudioLen - backingFade}
	if v.With == "others" {
		pl.Strips = slices.DeleteFunc(pl.Strips, func(s plan.Strip) bool { return p.playsTo(s.Take, v.Name) })
	}
	if len(pl.Strips) == 0 {
		return none("no other take is in and placed yet", "ripieno sync shows which takes are; run ripieno click again then")
	}
	for _, s := range pl.Strips {
		b.takes = append(b.takes, s.Take)
	}
	if out := absent(faults); len(out) > 0 {
		b.notes = append(b.notes, "without "+strings.Join(out, ", ")+", which could not be used yet")
	}
	if v.To > 0 {
		b.shift = audio.FramesAt(v.Shift)
		b.from, b.to = max(b.from, audio.FramesAt(v.Tempo.Start()+v.Shift)), min(b.to, audio.FramesAt(v.Tempo.End()+v.Shift))
	}
	if b.path, err = p.sumOf(ctx, pl, all); err != nil {
		return nil, nil, err
	}
	return b, nil, b.level(audio.Decibels(j.sound.MixDB))
}

// playsTo tells whether a take is recorded to a variant of the guide.
func (p *Production) playsTo(take, variant string) bool {
	for _, t := range p.Manifest().Takes {
		if t.Name == take {
			return t.Guide == variant
		}
	}
	return false
}

// absent lists the takes among the faults, each once.
func absent(faults []Bad) []string {
	var list []string
	for _, f := range faults {
		if f.Kind != kindShort && !slices.Contains(list, f.Take) {
			list = append(list, f.Take)
		}
	}
	return list
}

// sumOf is the path of the plan's strips added up, made now if need be.
func (p *Production) sumOf(ctx context.Context, pl *plan.Plan, all []located) (string, error) {
	track, err := p.soundTrack(pl, all)
	if err != nil {
		return "", err
	}
	// The sum is what comes before the master, which is not wanted here.
	tasks := slices.Clone(track.tasks)
	tasks = slices.DeleteFunc(tasks, func(t task.Task) bool { return t.ID == track.final.ID })
	sum := tasks[len(tasks)-1].ID
	res, err := p.Run(ctx, tasks)
	if err != nil {
		return "", err
	}
	path := res.Path(sum)
	if path == "" {
		return "", session.FirstFailure(res)
	}
	return filepath.Join(path, "sum.wav"), nil
}

// level measures what will be heard and chooses the gain.
func (b *backing) level(more audio.Decibels) error {
	part, err := b.open()
	if err != nil {
		return err
	}
	defer part.Close()
	meter := loudness.NewMeter(part.Channels(), audio.Rate)
	block := audio.NewBlock(part.Channels(), 1<<14)
	for {
		n, err := part.Read(block)
		meter.Write(block.Slice(0, n))
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			return err
		}
	}
	b.gain = more
	if l := float64(meter.Integrated()); !math.IsInf(l, 0) {
		b.gain += audio.Decibels(backingLUFS - l)
	} else {
		b.notes = append(b.notes, "the other parts are silent here")
	}
	return nil
}

// under puts the parts under a guide. The caller closes the result.
func (b *backing) under(guide audio.Source) (audio.Source, error) {
	part, err := b.open()
	if err != nil {
		return nil, err
	}
	src, err := click.Over(guide, part, b.gain)
	if err != nil {
		return nil, errors.Join(err, part.Close())
	}
	return &closing{Source: src, file: part}, nil
}

// closing is a source that reads from an open file.
type closing struct {
	audio.Source
	file io.Closer
}

// Close implements io.Closer.
func (c *closing) Close() error { return c.file.Close() }

// open opens the parts on the guide's own clock.
func (b *backing) open() (*part, error) {
	wav, err := media.OpenWAV(b.path)
	if err != nil {
		return nil, err
	}
	p := &part{wav: wav, backing: b}
	if skip := b.shift - b.first; skip > 0 {
		wav.SeekFrame(skip)
	} else {
		p.wait = -skip
	}
	return p, nil
}

// part is the sum of the strips as a guide has it: frame 0 is the guide's own
// first sample, and what lies outside the measures it plays is silent.
type part struct {
	*backing
	wav  *media.WAV
	wait audio.Frames // silence before the file begins
	at   audio.Frames // frames read so far
}

// Close closes the file.
func (p *part) Close() error { return p.wav.Close() }

// Channels implements audio.Source.
func (p *part) Channels() int { return p.wav.Channels() }

// Rate implements audio.Source.
func (p *part) Rate() int { return p.wav.Rate() }

// Read implements audio.Source.
func (p *part) Read(dst audio.Block) (int, error) {
	n := 0
	var err error
	if silent := min(p.wait, audio.Frames(dst.Frames())); silent > 0 {
		n = int(silent)
		dst.Slice(0, n).Clear()
		p.wait -= silent
	}
	if n < dst.Frames() {
		var more int
		more, err = p.wav.Read(dst.Slice(n, dst.Frames()))
		n += more
	}
	for i := range n {
		if g := p.fade(p.shift + p.at + audio.Frames(i)); g < 1 {
			for _, ch := range dst {
				ch[i] *= g
			}
		}
	}
	p.at += audio.Frames(n)
	if n > 0 {
		err = nil // it comes again when nothing is left
	}
	return n, err
}

// fade is the gain at a guide frame: a raised cosine at both ends.
func (b *backing) fade(guide audio.Frames) float64 {
	into := min(guide-(b.from-backingFade), b.to+backingFade-guide)
	switch {
	case into <= 0:
		return 0
	case into >= backingFade:
		return 1
	}
	return 0.5 - 0.5*math.Cos(math.Pi*float64(into)/backingFade)
}
