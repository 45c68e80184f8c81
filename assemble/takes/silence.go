package takes

import (
	"io"
	"math"

	"ripieno/assemble/media"
	"ripieno/assemble/task"
	"ripieno/mix/align"
	"ripieno/mix/audio"
)

// digitalSilence is the level below which a sample counts as none: what is left of
// silence after a coder, about -90 dBFS.
const digitalSilence = 3e-5

// silenceAround is how far from where a silence was heard its ends are looked for,
// seconds.
const silenceAround = 0.06

// exactly returns a break that a silence shows with the silence's own ends, to the
// sample; another break as it is, and one whose silence is soft but not digital too.
// It fails when the sound cannot be read.
func (r *Recording) exactly(res task.Result, b align.Break) (align.Break, error) {
	if b.By != "silence" {
		return b, nil
	}
	path, ok, err := r.Sound.Result(res)
	if !ok || err != nil {
		return b, err
	}
	wav, err := media.OpenWAV(path)
	if err != nil {
		return b, err
	}
	defer wav.Close()
	from, to, err := silentRun(wav, b.At-silenceAround, b.At-b.Jump+silenceAround)
	if err != nil {
		return b, err
	}
	if length := to - from; length > 0 && math.Abs(length+b.Jump) < silenceAround {
		b.At, b.Jump = from, -length
	}
	return b, nil
}

// silentRun returns the longest stretch without sound between two seconds of src, the
// first of several as long; both ends are 0 for none. It fails with src.
func silentRun(src audio.Source, from, to float64) (begin, end float64, err error) {
	rate := float64(src.Rate())
	buf := audio.NewBlock(src.Channels(), 1<<13)
	first, last := int(math.Max(0, from)*rate), int(to*rate)
	var run, best, bestEnd int
	for at := 0; at < last; {
		n, err := src.Read(buf)
		for i := range n {
			silent := at+i >= first && at+i < last
			for _, ch := range buf {
				silent = silent && math.Abs(ch[i]) < digitalSilence
			}
			if !silent {
				run = 0
				continue
			}
			if run++; run > best {
				best, bestEnd = run, at+i+1
			}
		}
		at += n
		if err == io.EOF {
			break
		}
		if err != nil {
			return 0, 0, err
		}
	}
	return float64(bestEnd-best) / rate, float64(bestEnd) / rate, nil
}
