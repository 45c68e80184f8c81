package click

import (
	"fmt"
	"io"

	"ripieno/mix/audio"
	"ripieno/mix/limit"
)

// Over lays a guide over a mix of other parts, for players who want to hear
// what they play to. Frame 0 of the mix is guide time 0; it is played mixDB
// louder than it is, and the guide sounds in the middle of its channels. The
// result has the mix's channels, ends with the guide whatever the mix's
// length, and is limited to [Ceiling], which leaves the clicks' times alone.
//
// A mix at another rate than [audio.Rate] is an error. An error while reading
// either source is the result's too.
func Over(guide, mix audio.Source, mixDB audio.Decibels) (audio.Source, error) {
	if guide.Channels() != 1 || guide.Rate() != audio.Rate || mix.Rate() != audio.Rate {
		return nil, fmt.Errorf("click: a guide of %d channels at %d Hz over a mix at %d Hz; 1 channel and %d Hz "+
			"are needed",
			guide.Channels(), guide.Rate(), mix.Rate(), audio.Rate)
	}
	return limit.New(&sum{guide: guide, mix: mix, gain: mixDB.Gain()}, Ceiling), nil
}

// sum adds the guide to every channel of the mix.
type sum struct {
	guide, mix audio.Source
	gain       float64
	mono       audio.Block
	silent     bool  // the mix has ended
	err        error // final
}

// Channels implements audio.Source.
func (s *sum) Channels() int { return s.mix.Channels() }

// Rate implements audio.Source.
func (s *sum) Rate() int { return audio.Rate }

// Read implements audio.Source.
func (s *sum) Read(dst audio.Block) (int, error) {
	if s.err != nil {
		return 0, s.err
	}
	want := dst.Frames()
	if s.mono.Frames() < want {
		s.mono = audio.NewBlock(1, want)
	}
	n, err := s.guide.Read(s.mono.Slice(0, want))
	if n == 0 && err != nil {
		s.err = err
		return 0, err
	}
	have := 0
	if !s.silent {
		have, err = s.mix.Read(dst.Slice(0, n))
		switch {
		case err == io.EOF:
			s.silent = true
		case err != nil:
			// Nothing of this call is returned: a guide that goes on alone
			// would hide that the mix could not be read.
			s.err = err
			return 0, err
		}
	}
	for _, ch := range dst {
		clear(ch[have:n])
		for i, v := range s.mono[0][:n] {
			ch[i] = ch[i]*s.gain + v
		}
	}
	return n, nil
}
