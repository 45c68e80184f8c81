package limit

import (
	"io"
	"math"

	"ripieno/mix/audio"
	"ripieno/mix/loudness"
)

// produce limits the next chunk into s.out, or sets s.err at the end.
//
// Frame i asks for a gain. held is the least that frames i..i+ahead ask for,
// the envelope follows it down at once and up slowly, and the average of the
// envelope over frames i−ahead..i is the gain: every value in it is at most
// what frame i asked for, so the average is too.
func (s *Source) produce() {
	s.fill(s.done + chunk + int64(s.ahead) + loudness.Reach + 1)
	n := int64(chunk)
	if s.ended {
		n = min(n, s.total-s.done)
	}
	if n <= 0 {
		s.out, s.outAt, s.err = nil, 0, s.end
		return
	}
	s.outAt = 0
	if int64(s.out.Frames()) != n {
		s.out = audio.NewBlock(s.Channels(), int(n))
	}
	first := s.asked - int64(s.ahead) // the frame whose gain the next need completes
	s.ask(s.done + n + int64(s.ahead))
	for k, need := range s.need {
		gain := s.follow(need)
		frame := first + int64(k)
		if frame < s.done {
			continue // before the programme
		}
		s.apply(int(frame-s.done), gain)
	}
	s.done += n
	s.drop(min(s.done, s.asked-loudness.Reach))
}

// follow takes the need of one more frame and returns the gain of the frame
// ahead frames before it.
func (s *Source) follow(need float64) float64 {
	least := s.held.add(need)
	if s.envel += (1 - s.envel) * s.release; s.envel > 1-1e-6 {
		s.envel = 1 // arrive, instead of creeping for ever
	}
	s.envel = math.Min(s.envel, least)
	g := s.smooth[1].add(s.smooth[0].add(int64(s.envel * one)))
	return float64(g) / one
}

// apply writes output frame i of the running chunk.
func (s *Source) apply(i int, gain float64) {
	at := int(s.done-s.base) + i
	for c := range s.out {
		s.out[c][i] = s.frames[c][at] * gain
	}
	s.deepest = math.Min(s.deepest, gain)
	if gain < 0.98855 { // −0.1 dB
		s.lowered++
	}
}

// fill reads until the input reaches frame to or ends, and then adds silence
// up to there.
func (s *Source) fill(to int64) {
	for !s.ended && s.base+int64(s.frames.Frames()) < to {
		n, err := s.src.Read(s.inbox)
		for c := range s.frames {
			for _, v := range s.inbox[c][:n] {
				if !(v > -1e6 && v < 1e6) {
					v = 0
				}
				s.frames[c] = append(s.frames[c], v)
			}
		}
		s.total += int64(n)
		if err == nil && n == 0 {
			err = io.ErrNoProgress
		}
		if err != nil {
			s.ended, s.end = true, err
		}
	}
	if missing := to - s.base - int64(s.frames.Frames()); missing > 0 {
		for c := range s.frames {
			s.frames[c] = append(s.frames[c], make([]float64, missing)...)
		}
	}
}

// drop forgets the input before frame to.
func (s *Source) drop(to int64) {
	k := to - s.base
	if k <= 0 {
		return
	}
	for c, x := range s.frames {
		s.frames[c] = x[:copy(x, x[k:])]
	}
	s.base = to
}

// askRun is how many frames are judged at once: where the samples leave no
// room for a peak above the ceiling, nothing is interpolated.
const askRun = 64

// ask fills s.need with the gains that frames [asked, to) ask for.
func (s *Source) ask(to int64) {
	s.need = s.need[:0]
	for s.asked < to {
		n := int(min(askRun, to-s.asked))
		at := int(s.asked - s.base)
		if s.loudest(at-loudness.Reach, at+n+loudness.Reach)*s.in.Bound() <= s.ceiling {
			for range n {
				s.need = append(s.need, 1)
			}
			s.lastGap = 0
		} else {
			for i := at; i < at+n; i++ {
				s.need = append(s.need, s.neededGain(i))
			}
		}
		s.asked += int64(n)
	}
}

// neededGain returns the gain for the frame at index i: enough for its samples and for
// the wave on both sides of it.
func (s *Source) neededGain(i int) float64 {
	var gap, peak float64
	for _, x := range s.frames {
		peak = math.Max(peak, math.Abs(x[i]))
		gap = math.Max(gap, s.in.Peak(x[i-loudness.Reach+1:i+loudness.Reach+1]))
	}
	peak = math.Max(peak, math.Max(gap, s.lastGap))
	s.lastGap = gap
	if peak <= s.ceiling {
		return 1
	}
	return s.ceiling / peak
}

// loudest returns the largest sample in frames [from, to) by index.
func (s *Source) loudest(from, to int) float64 {
	var high float64
	for _, x := range s.frames {
		for _, v := range x[from:to] {
			if v < 0 {
				v = -v
			}
			if v > high {
				high = v
			}
		}
	}
	return high
}

// minimum is the least of the last size values, kept as a queue in which
// values only rise (Lemire 2006, "Streaming maximum-minimum filter").
type minimum struct {
	size   int64
	count  int64
	values []float64
	places []int64
	head   int
}

func newMinimum(size int) *minimum { return &minimum{size: int64(size)} }

// add takes the next value and returns the least of the last size ones.
func (m *minimum) add(v float64) float64 {
	for len(m.values) > m.head && m.values[len(m.values)-1] >= v {
		m.values = m.values[:len(m.values)-1]
		m.places = m.places[:len(m.places)-1]
	}
	m.values, m.places = append(m.values, v), append(m.places, m.count)
	m.count++
	if m.places[m.head] < m.count-m.size {
		m.head++
	}
	if m.head > 1024 {
		m.values = m.values[:copy(m.values, m.values[m.head:])]
		m.places = m.places[:copy(m.places, m.places[m.head:])]
		m.head = 0
	}
	return m.values[m.head]
}

// box is a running mean of gains in fixed point.
type box struct {
	ring []int64
	at   int
	sum  int64
}

// newBox starts with a past of gain 1.
func newBox(size int) box {
	b := box{ring: make([]int64, size), sum: int64(size) * one}
	for i := range b.ring {
		b.ring[i] = one
	}
	return b
}

// add takes the next gain and returns the mean, rounded down.
func (b *box) add(v int64) int64 {
	b.sum += v - b.ring[b.at]
	b.ring[b.at] = v
	if b.at++; b.at == len(b.ring) {
		b.at = 0
	}
	return b.sum / int64(len(b.ring))
}
