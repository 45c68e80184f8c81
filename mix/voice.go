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
	rest     audio.Rest
	err      error
}

// Channels implements [audio.Source].
func (v *voice) Channels() int { return v.channels }

// Rate implements [audio.Source]: the mix's.
func (v *voice) Rate() int { return audio.Rate }

// Read implements [audio.Source].
func (v *voice) Read(dst audio.Block) (int, error) {
	if len(dst) != v.channels {
		return 0, fmt.Errorf("mix: read into %d channels from a voice of %d", len(dst), v.channels)
	}
	return v.rest.ReadUntil(dst, v.next, &v.err)
}

// next computes the next block; nil when there is none.
func (v *voice) next() audio.Block {
	if v.err != nil {
		return nil
	}
	n := int(min(block, v.left))
	if n == 0 {
		v.err = io.EOF
		if v.channel.close(); v.channel.err != nil {
			v.err = &StripError{v.channel.strip.Name, v.channel.err}
		}
		return nil
	}
	b := v.channel.sound(n)
	if v.channel.err != nil {
		v.err = &StripError{v.channel.strip.Name, v.channel.err}
		v.channel.close()
		return nil
	}
	if b == nil {
		b = audio.NewBlock(v.channels, n)
	}
	v.left -= audio.Frames(n)
	return b
}

// Close lets go of the recording.
func (v *voice) Close() error {
	v.channel.close()
	if v.err == nil {
		v.err, v.rest = fmt.Errorf("mix: the voice of %q was closed", v.channel.strip.Name), audio.Rest{}
	}
	return v.channel.err
}
