package mix

import (
	"errors"
	"io"
	"math"

	"ripieno/mix/audio"
	"ripieno/mix/denoise"
	"ripieno/mix/pan"
	"ripieno/mix/resample"
	"ripieno/mix/room"
)

// block is how many frames the bus works on at a time. Nothing in the result
// depends on the sizes of the reads because of it. Recorded rooms want their
// partition.
const block = room.Partition

// settling is how long before its first audible frame a strip's filters run:
// the step of a recording with direct current has died away by then.
const settling = audio.Frames(audio.Rate / 2)

// channel is a running strip.
type channel struct {
	strip    *Strip
	src      audio.Source
	closer   io.Closer
	filters  []*section
	squeeze  *squeezer
	envelope envelope
	gain     float64
	send     float64 // relative to the strip's output
	mono     [2]float64
	stereo   pan.Matrix

	next  audio.Frames // first guide frame of the next block
	ended bool
	in    audio.Block // one block of the source's channels
	out   audio.Block // one block of the strip's output
	loud  bool        // out holds anything but silence
	was   audio.Block // the block before it, which is added up meanwhile
	heard bool        // was holds anything but silence
	err   error
}

// newChannel prepares a strip to sound from guide frame start.
func newChannel(s *Strip, start audio.Frames) *channel {
	c := &channel{strip: s, next: start, envelope: newEnvelope(s), gain: s.Gain.Gain(), send: s.Send.Gain(),
		out: audio.NewBlock(2, block), was: audio.NewBlock(2, block)}
	c.mono[0], c.mono[1] = s.Law.Gains(s.Pan)
	c.stereo = s.Law.Stereo(s.Pan, 1-s.Narrow)
	if s.LowCut >= 0 {
		hz := s.LowCut
		if hz == 0 {
			hz = DefaultLowCut
		}
		c.filters = append(c.filters, newSection(Band{Shape: LowCut, Hz: math.Min(hz, audio.Rate/2.1)}))
	}
	for _, b := range s.EQ {
		c.filters = append(c.filters, newSection(b))
	}
	if s.Compress != nil {
		c.squeeze = newSqueezer(*s.Compress)
	}
	if s.Mute || s.Gain.Gain() == 0 || c.envelope.to <= c.envelope.from {
		c.ended = true
	}
	return c
}

// open starts the recording so that its next frame is guide frame c.next, with
// the filters settled.
func (c *channel) open() error {
	raw, err := c.strip.Open()
	if err != nil {
		return err
	}
	c.closer, _ = raw.(io.Closer)
	if raw.Channels() < 1 {
		return errors.New("a source without channels")
	}
	s := c.strip
	from := c.next - settling
	offset := s.Offset + s.Delay
	// The recording's own edges are faded where they fall.
	lead := int64(math.Ceil(offset*audio.Rate-1e-6)) - int64(from)
	repaired := s.repaired(raw)
	if s.Denoise != nil {
		repaired = newHushed(repaired, s.Denoise)
	} else if s.Reduce != nil {
		if repaired, err = denoise.New(repaired, s.Reduce.Noise, s.Reduce.Depth); err != nil {
			return err
		}
	}
	placed := resample.New(repaired, audio.Rate, offset, s.Drift, from)
	c.src = newEdged(placed, int(c.envelope.fade), lead)
	c.in = audio.NewBlock(c.src.Channels(), block)
	for left := int(settling); left > 0 && !c.ended; {
		n := min(left, block)
		if err := c.process(n); err != nil {
			return err
		}
		left -= n
	}
	return nil
}

// process reads n frames into c.in, silence after the end, and filters them.
func (c *channel) process(n int) error {
	in := c.in.Slice(0, n)
	got, err := c.src.Read(in)
	if got > 0 && got < n {
		// A short read is an end or a failure: which one must be known now,
		// or the failure would sound like silence for a block.
		_, err = c.src.Read(in.Slice(got, n))
	}
	if err != nil && err != io.EOF {
		return err
	}
	if got == 0 {
		c.close()
		return nil
	}
	in.Slice(got, n).Clear()
	cascade(c.filters, in)
	if c.squeeze != nil {
		c.squeeze.apply(in)
	}
	return nil
}

// run computes the next n frames of the strip into c.out, at most a block.
func (c *channel) run(n int) {
	c.loud = false
	if in := c.sound(n); in != nil {
		c.place(in)
		c.loud = true
	}
}

// sound computes the next n frames of the strip as far as its own channels go,
// before gain and place; nil for silence.
func (c *channel) sound(n int) audio.Block {
	start := c.next
	c.next += audio.Frames(n)
	if c.ended || c.err != nil || c.next <= c.envelope.from {
		return nil
	}
	if start >= c.envelope.to {
		c.close()
		return nil
	}
	if c.src == nil {
		c.next = start
		if c.err = c.open(); c.err != nil {
			return nil
		}
		c.next = start + audio.Frames(n)
		if c.ended {
			return nil
		}
	}
	if c.err = c.process(n); c.err != nil || c.ended {
		return nil
	}
	in := c.in.Slice(0, n)
	c.envelope.apply(in, start)
	if c.strip.Playing != nil {
		c.strip.Playing.Apply(in, start)
	}
	return in
}

// place applies gain and pan, from in to the channel's two outputs; pan is a matrix, so that a
// stereo recording keeps its width.
func (c *channel) place(in audio.Block) {
	left, right := c.out[0][:in.Frames()], c.out[1][:in.Frames()]
	if len(in) == 1 {
		l, r := c.mono[0]*c.gain, c.mono[1]*c.gain
		for i, v := range in[0] {
			left[i], right[i] = l*v, r*v
		}
		return
	}
	ll, lr := c.stereo[0][0]*c.gain, c.stereo[0][1]*c.gain
	rl, rr := c.stereo[1][0]*c.gain, c.stereo[1][1]*c.gain
	a, b := in[0], in[1][:len(in[0])]
	for i, v := range a {
		w := b[i]
		left[i], right[i] = ll*v+lr*w, rl*v+rr*w
	}
}

// close ends the strip and lets go of its recording.
func (c *channel) close() {
	c.ended, c.src = true, nil
	if c.closer != nil {
		if err := c.closer.Close(); err != nil && c.err == nil {
			c.err = err
		}
		c.closer = nil
	}
}
