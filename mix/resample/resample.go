// Package resample puts a recording onto another clock: it changes the sample
// rate, moves the recording by any fraction of a sample and corrects its
// drift, all in one pass of a windowed-sinc filter.
//
// It knows two clocks and nothing of music or files. Times are seconds, file
// frames count from 0 at the file's time zero, and the relation is
//
//	guide = offset + frame/rate · (1 + drift·1e-6)
//
// Every output sample is computed from its own number alone, never from the
// one before, so the result is the same bit for bit whatever the block sizes,
// and nothing accumulates over an hour.
package resample

import (
	"fmt"
	"io"
	"math"

	"ripieno/mix/audio"
)

// edge is how far, in source samples, a position may miss the file's first or
// last sample and still count as inside: positions are rounded, samples are
// not.
const edge = 1e-6

// Rates and drifts the package accepts. The drift bound is far above any real
// device's; it catches a wrong unit.
const (
	MinRate  = 1000
	MaxRate  = 768000
	MaxDrift = audio.PPM(20000)
)

// New returns src as heard on the guide's clock. Frame n of the result sounds
// at guide time (startFrame+n)/toRate; frame k of src lies at offset seconds +
// k/src.Rate()·(1+drift·1e-6). Before the file begins the result is silent; it
// ends, with io.EOF, after the last frame that lies before the end of the
// file's last sample.
//
// An error of src ends the result: the frames before it are delivered, then
// the error. Rates outside MinRate..MaxRate, a drift beyond ±MaxDrift and
// offsets that are not finite give a source whose first Read fails.
func New(src audio.Source, toRate int, offset float64, drift audio.PPM, startFrame audio.Frames) audio.Source {
	s := &source{src: src, rate: toRate, from: src.Rate()}
	if s.err = check(src, toRate, offset, drift); s.err != nil {
		return s
	}
	first := (float64(startFrame)/float64(toRate) - offset) / drift.Ratio() * float64(s.from)
	s.choose(first, drift)
	s.taps, s.left = s.walk.reach()
	s.history = make(audio.Block, src.Channels())
	s.in = audio.NewBlock(src.Channels(), readFrames)
	s.skip()
	return s
}

// choose picks the way through the source: exact rows where few phases occur,
// doubling and a short filter where the rate does not fall, a long filter
// otherwise.
func (s *source) choose(first float64, drift audio.PPM) {
	if drift == 0 {
		if f := newFixed(s.from, s.rate, first); f != nil {
			s.walk = f
			return
		}
	}
	d := &drifting{first: first, step: float64(s.from) / float64(s.rate) / drift.Ratio()}
	if s.from <= s.rate {
		const context = 256 // more than the doubling filter reaches back
		skip := max(0, int64(math.Floor(first))-context)
		s.src = newDoubled(s.src, s.rate, skip)
		d.first, d.step = 2*(first-float64(skip)), 2*d.step
		pass := passOf(s.from, s.rate)
		d.table = tableOf(newKernel(pass, 2*float64(s.from)-pass, 2*float64(s.from), 4))
	} else {
		k := direct(s.from, s.rate)
		k.taps = (k.taps + 3) / 4 * 4
		d.table = tableOf(k)
	}
	s.walk = d
}

// check refuses rates and clocks that cannot be converted.
func check(src audio.Source, toRate int, offset float64, drift audio.PPM) error {
	switch {
	case src.Rate() < MinRate || src.Rate() > MaxRate || toRate < MinRate || toRate > MaxRate:
		return fmt.Errorf("resample: cannot go from %d Hz to %d Hz: rates must lie between %d and %d", src.Rate(),
			toRate, MinRate, MaxRate)
	case math.IsNaN(offset) || math.Abs(offset) > 1e7:
		return fmt.Errorf("resample: offset %v s is not a time", offset)
	case !(drift >= -MaxDrift && drift <= MaxDrift):
		return fmt.Errorf("resample: drift %v ppm is beyond ±%v", float64(drift), float64(MaxDrift))
	}
	return nil
}

// readFrames is how much is read from the source at a time.
const readFrames = 4096

// source reads another source at another rate and drift. It keeps as many frames of the
// past as a kernel is wide.
type source struct {
	src        audio.Source
	rate, from int
	walk       walk
	taps, left int

	n       int64       // next output frame
	history audio.Block // source frames [start, start+len) of every channel
	start   int64
	ended   bool  // the source has no more frames
	end     error // what ended it
	total   int64 // frames of the source, once ended
	in      audio.Block
	err     error // final
}

// Channels implements [audio.Source].
func (s *source) Channels() int { return s.src.Channels() }

// Rate implements [audio.Source].
func (s *source) Rate() int { return s.rate }

// skip sets the history's start to the first source frame that matters.
// Negative starts are filled with the silence before the file.
func (s *source) skip() {
	s.start = s.walk.frame(0) - int64(s.left)
	if s.start > 0 {
		return
	}
	// Nothing before frame −taps can be heard.
	s.start = max(s.start, -int64(s.taps))
	for c := range s.history {
		s.history[c] = make([]float64, -s.start)
	}
}

// Read implements [audio.Source].
func (s *source) Read(dst audio.Block) (int, error) {
	if s.err != nil {
		return 0, s.err
	}
	if len(dst) != len(s.history) {
		return 0, fmt.Errorf("resample: read into %d channels from a source of %d", len(dst), len(s.history))
	}
	done := 0
	for done < dst.Frames() {
		if s.walk.exact(s.n) < -edge {
			for c := range dst {
				dst[c][done] = 0
			}
			s.n++
			done++
			continue
		}
		limit := math.Inf(1)
		if !s.fill(s.walk.frame(s.n) - int64(s.left) + int64(s.taps)) {
			limit = float64(s.total) - edge
			if s.walk.exact(s.n) >= limit {
				s.err = s.end
				break
			}
		}
		k := s.walk.run(dst.Slice(done, dst.Frames()), s.history, s.start, s.n, limit)
		s.n += int64(k)
		done += k
	}
	if done == 0 && s.err != nil {
		return 0, s.err
	}
	return done, nil
}

// fill reads until the history reaches source frame to (exclusive), with
// silence after the file's end, and reports whether the file still goes on.
func (s *source) fill(to int64) bool {
	for s.start+int64(s.history.Frames()) < to && !s.ended {
		s.read()
	}
	if missing := to - s.start - int64(s.history.Frames()); missing > 0 {
		for c := range s.history {
			s.history[c] = append(s.history[c], make([]float64, missing)...)
		}
	}
	return !s.ended
}

// read appends one run of source frames to the history, after dropping what
// no later output frame can need.
func (s *source) read() {
	if need := s.walk.frame(s.n) - int64(s.left); need > s.start {
		drop := min(need-s.start, int64(s.history.Frames()))
		for c, h := range s.history {
			s.history[c] = h[:copy(h, h[drop:])]
		}
		s.start += drop
	}
	n, err := s.src.Read(s.in)
	s.total += int64(n)
	// Frames before the start of the history are read past.
	past := int(min(max(s.start-(s.total-int64(n)), 0), int64(n)))
	for c := range s.history {
		s.history[c] = append(s.history[c], s.in[c][past:n]...)
	}
	if err == nil && n == 0 {
		err = io.ErrNoProgress
	}
	if err != nil {
		s.ended, s.end = true, err
	}
}
