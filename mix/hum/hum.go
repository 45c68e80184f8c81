// Package hum takes the hum of the mains out of a recording.
//
// Mains are 50 or 60 Hz, everywhere and to a few hundredths of a hertz, and what they
// leave in a recording are steady lines at whole multiples: 50 Hz itself from a
// cable, 100 Hz from a rectifier or a transformer, and so on. [Find] looks for them
// where nobody plays. [New] takes each line out by a notch a hertz wide, in which no
// note of an instrument lies long enough to be missed: in equal temperament at
// 440 Hz the nearest notes to lines below 600 Hz are 0.9 Hz (G sharp 1) and more away.
//
// Lines between those of a transform of 43 ms, by which noise is reduced, would need
// all of a semitone round them lowered, under whatever bass is played there.
package hum

import (
	"errors"
	"io"
	"math"
	"slices"

	"ripieno/mix/audio"
	"ripieno/mix/fourier"
	"ripieno/mix/robust"
)

// How hum is looked for. The figures were chosen for being sure: noise alone passes
// them once in ten thousand recordings of the shortest kind, and a note or a voice
// neither stays for half of a count-in nor has two partials on such lines.
const (
	size      = 2048 // of a frame, at about 2 kHz: lines a hertz apart
	hop       = size / 2
	lowRate   = 2000
	stands    = 10.0 // of power over that beside it: 10 dB
	least     = 3    // frames: 2 s
	most      = 60   // frames: 31 s, the last before the piece
	harmonics = 10
	off       = 0.3 // hertz by which the fundamental may be off
	inner     = 3   // lines beside a line that its own window fills
	outer     = 9   // and up to where the power beside it is taken
	fewest    = 2   // lines that are hum together
)

// frame is a transformed piece of a recording.
type frame struct{ re, im []float64 }

// Find reads src up to frame to, before which nobody plays, and returns the lines of the
// hum in it, in hertz of src; none where there is none or too little to tell. It fails with
// src.
func Find(src audio.Source, to int64) ([]float64, error) {
	x, rate, err := lows(src, to)
	if err != nil {
		return nil, err
	}
	frames := transform(x)
	if len(frames) < least {
		return nil, nil
	}
	power := middle(frames)
	var found []float64
	sum := 0.0
	for _, mains := range []float64{50, 60} {
		lines, over := linesOf(frames, power, mains, rate/size)
		if len(lines) >= fewest && over > sum {
			found, sum = lines, over
		}
	}
	return found, nil
}

// lows returns the last of src before frame to, its channels added up and brought to about
// lowRate by two running means, and the rate it has then.
func lows(src audio.Source, to int64) (x []float64, rate float64, err error) {
	step := max(1, src.Rate()/lowRate)
	in := audio.NewBlock(src.Channels(), 4096)
	// Two means of step samples in a row weigh 2·step−1 samples by a triangle.
	at, low, next := 0, 0.0, 0.0
	for n := int64(0); n < to; {
		k, err := src.Read(in.Slice(0, int(min(int64(in.Frames()), to-n))))
		for i := range k {
			v := 0.0
			for c := range in {
				v += in[c][i]
			}
			w := float64(at+1) / float64(step)
			low += float64(w * v)
			next += float64((1 - w) * v)
			if at++; at == step {
				x = append(x, low)
				at, low, next = 0, next, 0
			}
		}
		if len(x) > 2*most*hop {
			x = append(x[:0], x[len(x)-(most+1)*hop:]...)
		}
		n += int64(k)
		if errors.Is(err, io.EOF) || err == nil && k == 0 {
			break
		}
		if err != nil {
			return nil, 0, err
		}
	}
	return x[max(0, len(x)-(most+1)*hop):], float64(src.Rate()) / float64(step), nil
}

// transform returns the frames of x.
func transform(x []float64) []frame {
	window := make([]float64, size)
	for i := range window {
		window[i] = 0.5 - 0.5*math.Cos(2*math.Pi*(float64(i)+0.5)/size)
	}
	t := fourier.New(size, window)
	var out []frame
	for at := 0; at+size <= len(x); at += hop {
		f := frame{make([]float64, t.Lines()), make([]float64, t.Lines())}
		t.Forward(f.re, f.im, x[at:at+size])
		out = append(out, f)
	}
	return out
}

// middle returns the middle power of every line: what sounds for less than half of the
// time, as claps, words and steps do, plays no part in it.
func middle(frames []frame) []float64 {
	power, all := make([]float64, len(frames[0].re)), make([]float64, len(frames))
	for k := range power {
		for i, f := range frames {
			all[i] = float64(f.re[k]*f.re[k]) + float64(f.im[k]*f.im[k])
		}
		power[k] = robust.Median(all)
	}
	return power
}

// linesOf returns the multiples of the mains that stand out of the power beside them, and
// by how many decibels together. Lines are apart by step hertz.
func linesOf(frames []frame, power []float64, mains, step float64) (lines []float64, over float64) {
	var numbers []int
	base, weights := 0.0, 0.0
	for n := 1; n <= harmonics; n++ {
		k := int(math.Round(float64(n) * mains / step))
		if k+outer >= len(power) {
			break
		}
		top := k - 1
		for j := k - inner; j <= k+inner; j++ {
			if power[j] > power[top] {
				top = j
			}
		}
		beside := slices.Concat(power[k-outer:k-inner+1], power[k+inner:k+outer+1])
		ratio := power[top] / math.Max(robust.Median(beside), 1e-30)
		if top < k-1 || top > k+1 || !(ratio > stands) {
			continue
		}
		hz := exactly(frames, power, top, step)
		if math.Abs(hz/float64(n)-mains) > off {
			continue
		}
		numbers = append(numbers, n)
		weight := float64(n) * ratio
		base, weights = base+weight*hz/float64(n), weights+weight
		over += 10 * math.Log10(ratio)
	}
	for _, n := range numbers {
		lines = append(lines, float64(n)*base/weights)
	}
	return lines, over
}

// exactly returns the frequency of the tone whose highest line is k: roughly by a parabola
// through three lines, and exactly by how far its phase goes from frame to frame.
func exactly(frames []frame, power []float64, k int, step float64) float64 {
	a, b, c := math.Log(power[k-1]+1e-300), math.Log(power[k]+1e-300), math.Log(power[k+1]+1e-300)
	place := float64(k)
	if bend := a - 2*b + c; bend < 0 {
		place += min(max((a-c)/(2*bend), -0.5), 0.5)
	}
	var re, im float64
	for i, f := range frames[1:] {
		before := frames[i]
		x := f.re[k]*before.re[k] + f.im[k]*before.im[k]
		y := f.im[k]*before.re[k] - f.re[k]*before.im[k]
		if size := math.Hypot(x, y); size > 0 {
			re, im = re+x/size, im+y/size
		}
	}
	// A tone on line p turns by p·hop/size of a full turn.
	turn := math.Atan2(im, re)/(2*math.Pi) - place*hop/size
	return (place + (turn-math.Round(turn))*size/hop) * step
}
