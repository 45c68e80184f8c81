package audio

import (
	"fmt"
	"io"
	"math"
)

// Crossfade is how long the parts of a recording fade into each other where they meet,
// and into silence where something is missing, in seconds: too short to be heard as a
// fade, and long enough not to click (common practice, no source).
const Crossfade = 0.01

// splice joins the parts of a source.
type splice struct {
	src   Source
	parts []span
	at    Frames // frames of the source that were read
	whole Frames // frames of whole time that were given out
	part  int    // that comes next, or is being given out
	begun bool   // the head of part was given out
	tail  Block  // the end of the part before, which fades into the next
	buf   Block
	rest  Rest
	err   error
}

// span is a part in frames of the source; shift is by how much later they are given out.
type span struct {
	from, to, shift Frames
	in, out         fade
}

// fade is how a part begins or ends.
type fade struct {
	frames Frames
	meets  bool // the next part follows at once: both sound over these frames
}

// never is a frame that is not reached.
const never = math.MaxInt64 / 4

// Splice returns src with its parts put together to whole time: what lies in no part is
// left out, what is missing is silent, and parts fade over [Crossfade]. Without parts it
// is src. Parts that overlap, or whose order changes, are an error.
func Splice(src Source, parts Parts) (Source, error) {
	if len(parts) == 0 {
		return src, nil
	}
	rate := float64(src.Rate())
	frames := func(t float64) Frames {
		if t > never/rate {
			return never
		}
		return Frames(math.Round(t * rate))
	}
	s := &splice{src: src}
	for i, p := range parts {
		x := span{from: frames(p.From), to: frames(p.To), shift: frames(p.Shift)}
		if i > 0 {
			y := s.parts[i-1]
			// Rounding may be a frame or two off.
			if x.from < y.to-2 || x.from+x.shift < y.to+y.shift-2 {
				return nil, fmt.Errorf("audio: part %d of a recording overlaps the one before", i+1)
			}
			x.from = max(x.from, y.to, y.to+y.shift-x.shift)
		} else {
			x.from = max(x.from, -x.shift)
		}
		if x.to <= x.from {
			return nil, fmt.Errorf("audio: part %d of a recording is empty", i+1)
		}
		s.parts = append(s.parts, x)
	}
	for i := 1; i < len(s.parts); i++ {
		s.join(&s.parts[i-1], &s.parts[i], frames(Crossfade))
	}
	const step = 1 << 13
	s.buf, s.tail = NewBlock(src.Channels(), step), NewBlock(src.Channels(), int(frames(Crossfade))+1)
	return s, nil
}

// join decides how part x ends and y begins.
func (s *splice) join(x, y *span, most Frames) {
	if y.from+y.shift > x.to+x.shift {
		x.out, y.in = fade{frames: min(most, (x.to-x.from)/2)}, fade{frames: min(most, (y.to-y.from)/2)}
		return
	}
	// Each sounds for half of the time beyond its end; what lies between them in the
	// source may not be read twice.
	n := min(most, y.from-x.to, x.to-x.from, y.to-y.from) / 2 * 2
	x.out, y.in = fade{n, true}, fade{n, true}
}

// Channels implements [Source].
func (s *splice) Channels() int { return s.src.Channels() }

// Rate implements [Source].
func (s *splice) Rate() int { return s.src.Rate() }

// Close closes the source whose parts these are.
func (s *splice) Close() error { return Close(s.src) }

// Read implements [Source].
func (s *splice) Read(dst Block) (int, error) {
	if len(dst) != s.Channels() {
		return 0, fmt.Errorf("audio: read into %d channels from a source of %d", len(dst), s.Channels())
	}
	return s.rest.ReadUntil(dst, s.next, &s.err)
}

// next returns the next frames of whole time, none at the end.
func (s *splice) next() Block {
	for s.err == nil {
		if s.part == len(s.parts) {
			s.err = io.EOF
			break
		}
		x := s.parts[s.part]
		begin, end := x.from-half(x.in), x.to-half(x.out)
		if !x.out.meets {
			end = x.to - x.out.frames
		}
		var out Block
		switch {
		case s.whole < begin+x.shift:
			out = s.silence(begin + x.shift - s.whole)
		case s.at < begin:
			s.fetch(min(begin-s.at, Frames(s.buf.Frames())))
		case !s.begun:
			out, s.begun = s.head(x.in), true
		case s.at < end:
			out = s.fetch(min(end-s.at, Frames(s.buf.Frames())))
		default:
			out = s.foot(x.out)
			s.part, s.begun = s.part+1, false
		}
		if out.Frames() > 0 {
			s.whole += Frames(out.Frames())
			return out
		}
	}
	return nil
}

// half returns how far a part sounds beyond its end where the next one follows at once.
func half(f fade) Frames {
	if f.meets {
		return f.frames / 2
	}
	return 0
}

// silence returns some of n silent frames.
func (s *splice) silence(n Frames) Block {
	b := s.buf.Slice(0, int(min(n, Frames(s.buf.Frames()))))
	b.Clear()
	return b
}

// fetch reads n frames, fewer at the end of the source.
func (s *splice) fetch(n Frames) Block {
	got, err := s.src.Read(s.buf.Slice(0, int(n)))
	s.at += Frames(got)
	if Frames(got) < n || err != nil {
		if s.err = err; err == nil {
			s.err = io.EOF
		}
	}
	return s.buf.Slice(0, got)
}

// head returns the first frames of a part, faded in.
func (s *splice) head(f fade) Block {
	if f.frames == 0 {
		return nil
	}
	b := s.fetch(f.frames)
	for c := range b {
		for i := range b[c] {
			in, out := gains(i, int(f.frames))
			b[c][i] *= in
			if f.meets {
				b[c][i] += out * s.tail[c][i]
			}
		}
	}
	return b
}

// foot returns the last frames of a part, faded out, or keeps them for the next one.
func (s *splice) foot(f fade) Block {
	if f.frames == 0 {
		return nil
	}
	b := s.fetch(f.frames)
	if f.meets {
		s.tail.Clear()
		for c := range b {
			copy(s.tail[c], b[c])
		}
		return nil
	}
	for c := range b {
		for i := range b[c] {
			_, out := gains(i, int(f.frames))
			b[c][i] *= out
		}
	}
	return b
}

// gains returns those of what comes and of what goes at frame i of n, of equal power
// together: the two are not alike.
func gains(i, n int) (in, out float64) {
	x := (float64(i) + 0.5) / float64(n) * math.Pi / 2
	return math.Sin(x), math.Cos(x)
}
