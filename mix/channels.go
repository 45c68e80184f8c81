package mix

import (
	"fmt"
	"io"

	"ripieno/mix/audio"
)

// Repair says what a strip makes of its recording's channels. [Analyse] finds
// out which is due.
type Repair int

// What can be wrong with a stereo recording, and what is done about it.
const (
	// AsRecorded keeps a mono recording mono and a stereo one stereo.
	AsRecorded Repair = iota
	// LeftOnly takes the left side: the right one is dead.
	LeftOnly
	// RightOnly takes the right side: the left one is dead.
	RightOnly
	// Fold takes the mean of the sides: both carry the same.
	Fold
	// FoldInverted takes half their difference: both carry the same, but one
	// is upside down, and adding them would leave nothing.
	FoldInverted
)

var repairs = [...]string{"as recorded", "left side only", "right side only", "both sides the same",
	"one side inverted"}

// String returns in a few words what was found.
func (r Repair) String() string {
	if r < 0 || int(r) >= len(repairs) {
		return fmt.Sprintf("repair %d", int(r))
	}
	return repairs[r]
}

// outputs returns how many channels a strip has after the repair of a recording.
func (r Repair) outputs(channels int) int {
	if channels == 1 || r != AsRecorded {
		return 1
	}
	return 2
}

// absurd is where a sample stops being sound: 60 dB over full scale.
const absurd = 1000.0

// folded is a recording after its broken samples and channels are repaired:
// one channel or two. It works at the recording's own rate, so that nothing
// downstream does work for a channel that is not needed.
type folded struct {
	src    audio.Source
	repair Repair
	in     audio.Block
	broken int64
}

// newFolded returns src with its channels repaired.
func newFolded(src audio.Source, repair Repair) *folded {
	return &folded{src: src, repair: repair}
}

// Channels implements [audio.Source]: one or two, by the repair.
func (f *folded) Channels() int { return f.repair.outputs(f.src.Channels()) }

// Rate implements [audio.Source]: the recording's own.
func (f *folded) Rate() int { return f.src.Rate() }

// Read implements [audio.Source]. Samples that are no numbers become silence and are
// counted.
func (f *folded) Read(dst audio.Block) (int, error) {
	if len(dst) != f.Channels() {
		return 0, fmt.Errorf("mix: read into %d channels from %d", len(dst), f.Channels())
	}
	n, in := dst.Frames(), dst
	if f.src.Channels() != len(dst) { // channels to fold
		if f.in.Frames() < n || f.in == nil {
			f.in = audio.NewBlock(f.src.Channels(), n)
		}
		in = f.in.Slice(0, n)
	}
	n, err := f.src.Read(in)
	if n == 0 {
		if err == nil && dst.Frames() > 0 {
			err = io.ErrNoProgress
		}
		return 0, err
	}
	for _, ch := range in {
		f.broken += cleanse(ch[:n])
	}
	if f.src.Channels() != len(dst) {
		f.fold(dst.Slice(0, n), in.Slice(0, n))
	}
	return n, nil
}

// cleanse silences what is not sane in x and counts it.
func cleanse(x []float64) (broken int64) {
	for i, v := range x {
		if !(v >= -absurd && v <= absurd) {
			x[i] = 0
			broken++
		}
	}
	return broken
}

// fold writes the repaired channels.
func (f *folded) fold(dst, in audio.Block) {
	if len(in) > 2 {
		downMix(in)
	}
	l, r := in[0], in[1]
	switch f.repair {
	case LeftOnly:
		copy(dst[0], l)
	case RightOnly:
		copy(dst[0], r)
	case Fold:
		for i := range l {
			dst[0][i] = (l[i] + r[i]) / 2
		}
	case FoldInverted:
		for i := range l {
			dst[0][i] = (l[i] - r[i]) / 2
		}
	default:
		copy(dst[0], l)
		copy(dst[1], r)
	}
}

// downMix adds a recording's further channels to its first two: centre and
// surrounds 3 dB down, the LFE left out (ITU-R BS.775-3 table 2). Orders of
// channels: L R C; L R Ls Rs; L R C Ls Rs; L R C LFE Ls Rs. What lies beyond six
// channels is left out.
func downMix(in audio.Block) {
	const down = 0.7071067811865476
	add := func(side, from int) {
		for i, v := range in[from] {
			in[side][i] += down * v
		}
	}
	switch n := min(len(in), 6); n {
	case 4:
		add(0, 2)
		add(1, 3)
	default:
		add(0, 2)
		add(1, 2)
		if n >= 5 {
			add(0, n-2)
			add(1, n-1)
		}
	}
}

// edged is a source with its first and last frames faded, so that a recording
// that begins or ends in the middle of a sound does not click.
type edged struct {
	src   audio.Source
	fade  int
	ahead audio.Block // read, not yet delivered; the last fade frames wait for the end
	at    int64       // frames delivered
	end   error
	in    audio.Block
	lead  int64 // where the recording begins; negative: before the first frame
}

// newEdged fades src in over fade frames from frame lead on, before which it is
// silent, and out over its last fade frames.
func newEdged(src audio.Source, fade int, lead int64) *edged {
	return &edged{src: src, fade: fade, lead: lead, ahead: make(audio.Block, src.Channels())}
}

// Channels implements [audio.Source].
func (e *edged) Channels() int { return e.src.Channels() }

// Rate implements [audio.Source].
func (e *edged) Rate() int { return e.src.Rate() }

// Read implements [audio.Source]. It holds back as many frames as the fade is long, since
// only the end tells which are the last ones.
func (e *edged) Read(dst audio.Block) (int, error) {
	want := dst.Frames()
	if e.in.Frames() < want {
		e.in = audio.NewBlock(e.Channels(), max(want, 1024))
	}
	for e.end == nil && e.ahead.Frames() < want+e.fade {
		n, err := e.src.Read(e.in)
		for c := range e.ahead {
			e.ahead[c] = append(e.ahead[c], e.in[c][:n]...)
		}
		if err != nil {
			e.end = err
			e.fadeOut()
		}
	}
	n := min(want, e.ahead.Frames())
	if n == 0 {
		return 0, e.end
	}
	for c := range dst {
		copy(dst[c][:n], e.ahead[c][:n])
		e.ahead[c] = e.ahead[c][:copy(e.ahead[c], e.ahead[c][n:])]
	}
	fadeTo := e.lead + int64(e.fade)
	for i := 0; i < n && e.at+int64(i) < fadeTo; i++ {
		g := 0.0
		if k := e.at + int64(i) - e.lead; k >= 0 {
			g = fadeGain(audio.Frames(k), audio.Frames(e.fade))
		}
		for c := range dst {
			dst[c][i] *= g
		}
	}
	e.at += int64(n)
	return n, nil
}

// fadeOut fades what is left at the source's end.
func (e *edged) fadeOut() {
	n := min(e.ahead.Frames(), e.fade)
	first := e.ahead.Frames() - n
	for k := range n {
		g := 1 - fadeGain(audio.Frames(k), audio.Frames(n))
		for c := range e.ahead {
			e.ahead[c][first+k] *= g
		}
	}
}
