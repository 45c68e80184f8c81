package guide

import (
	"errors"
	"io"
	"math"

	"ripieno/assemble/media"
	"ripieno/assemble/plan"
	"ripieno/assemble/production"
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

// Backing is the parts that are heard in a guide. Two clocks meet here: guide frames
// are those of the whole piece, while a variant of a part of it begins at its own
// frame 0, which is guide frame shift.
type Backing struct {
	path     string       // the sum of the strips, float samples
	first    audio.Frames // guide frame of the sum's first sample
	shift    audio.Frames // guide frame of the guide's own first sample
	from, to audio.Frames // guide frames between which it is heard
	gain     audio.Decibels
	Takes    []string // that are heard
	Notes    []string
}

// NewBacking returns the parts of a mix that a variant is to have in it. sum is
// the file with those strips added up, line that of the film. more is added to the
// gain, in decibels; the manifest's level of the mix.
func NewBacking(sum string, line plan.Timeline, v *production.Variant, more audio.Decibels) (*Backing, error) {
	b := &Backing{path: sum, first: line.AudioStart, from: line.AudioStart + backingFade,
		to: line.AudioStart + line.AudioLen - backingFade}
	if v.To > 0 {
		b.shift = audio.FramesAt(v.Shift)
		b.from, b.to = max(b.from, audio.FramesAt(v.Tempo.Start()+v.Shift)),
			min(b.to, audio.FramesAt(v.Tempo.End()+v.Shift))
	}
	return b, b.level(more)
}

// level measures what will be heard and chooses the gain. Silence keeps the gain
// asked for and adds a note, since there is nothing to measure.
func (b *Backing) level(more audio.Decibels) error {
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
		b.Notes = append(b.Notes, "the other parts are silent here")
	}
	return nil
}

// under puts the parts under a guide. The caller closes the result.
func (b *Backing) under(guide audio.Source) (audio.Source, error) {
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

// open opens the parts on the guide's own clock. Frames before the sum begins are
// silent, frames past its end are its end.
func (b *Backing) open() (*part, error) {
	wav, err := media.OpenWAV(b.path)
	if err != nil {
		return nil, err
	}
	p := &part{wav: wav, Backing: b}
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
	*Backing
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

// fade returns the gain at a guide frame: a raised cosine at both ends. It is 0
// outside the measures that the guide plays.
func (b *Backing) fade(guide audio.Frames) float64 {
	into := min(guide-(b.from-backingFade), b.to+backingFade-guide)
	switch {
	case into <= 0:
		return 0
	case into >= backingFade:
		return 1
	}
	return 0.5 - 0.5*math.Cos(math.Pi*float64(into)/backingFade)
}
