package mix

import (
	"fmt"
	"io"

	"ripieno/mix/audio"
)

// Voice returns what a strip costs most to compute: its recording repaired, freed of
// noise, put on guide time, filtered, compressed, trimmed and muted, with its
// own one or two channels at [audio.Rate]. Kept in a file it can be mixed again
// and again, with other gains and in another place, through [FromVoice]. The
// strip's Gain, Rides, Pan, Law, Narrow and Send play no part in it.
//
// The voice begins at guide frame from, which is [DefaultFade] before the first
// frame that can sound, and ends as long after the last: From and To of the
// strip must both be set. An error, also a later one, is a [*StripError].
func Voice(s Strip) (src audio.Source, from audio.Frames, err error) {
	s.Gain, s.Rides, s.Send, s.Mute = 0, nil, 0, false
	if err := s.check(); err != nil {
		return nil, 0, err
	}
	if s.To <= s.From {
		return nil, 0, &StripError{s.Name, fmt.Errorf("a voice from frame %d to %d", s.From, s.To)}
	}
	raw, err := s.Open()
	if err != nil {
		return nil, 0, &StripError{s.Name, err}
	}
	v := &voice{channels: s.Repair.outputs(raw.Channels())}
	if err := audio.Close(raw); err != nil {
		return nil, 0, &StripError{s.Name, err}
	}
	from = s.From - DefaultFade
	v.left = s.To + DefaultFade - from
	v.channel = newChannel(&s, from)
	return v, from, nil
}

// FromVoice returns a strip that sounds as s does from a recording of its [Voice],
// which begins at guide frame from.
func FromVoice(s Strip, from audio.Frames, open func() (audio.Source, error)) Strip {
	return Strip{
		Name: s.Name, Section: s.Section, Open: open, Offset: from.Seconds(), LowCut: -1, Mute: s.Mute,
		Gain: s.Gain, Rides: s.Rides, Pan: s.Pan, Law: s.Law, Narrow: s.Narrow, Send: s.Send,
	}
}

// voice is a strip on its own.
type voice struct {
	channel  *channel
	channels int
	left     audio.Frames // not computed yet
	block    audio.Block  // computed, not delivered yet
	err      error
}

func (v *voice) Channels() int { return v.channels }
func (v *voice) Rate() int     { return audio.Rate }

func (v *voice) Read(dst audio.Block) (int, error) {
	if len(dst) != v.channels {
		return 0, fmt.Errorf("mix: read into %d channels from a voice of %d", len(dst), v.channels)
	}
	n := 0
	for n < dst.Frames() && v.more() {
		k := min(dst.Frames()-n, v.block.Frames())
		for c := range dst {
			copy(dst[c][n:n+k], v.block[c])
		}
		v.block = v.block.Slice(k, v.block.Frames())
		n += k
	}
	if n == 0 && dst.Frames() > 0 {
		return 0, v.err
	}
	return n, nil
}

// more computes the next block when the last is used up, and tells whether
// there is one.
func (v *voice) more() bool {
	if v.block.Frames() > 0 {
		return true
	}
	if v.err != nil {
		return false
	}
	n := int(min(block, v.left))
	if n == 0 {
		v.err = io.EOF
		if v.channel.close(); v.channel.err != nil {
			v.err = &StripError{v.channel.strip.Name, v.channel.err}
		}
		return false
	}
	v.block = v.channel.sound(n)
	if v.channel.err != nil {
		v.err = &StripError{v.channel.strip.Name, v.channel.err}
		v.channel.close()
		v.block = nil
		return false
	}
	if v.block == nil {
		v.block = audio.NewBlock(v.channels, n)
	}
	v.left -= audio.Frames(n)
	return true
}

// Close lets go of the recording.
func (v *voice) Close() error {
	v.channel.close()
	if v.err == nil {
		v.err, v.block = fmt.Errorf("mix: the voice of %q was closed", v.channel.strip.Name), nil
	}
	return v.channel.err
}
