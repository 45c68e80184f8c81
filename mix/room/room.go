// Package room is the hall that all takes share: a stereo reverberation, so
// that players who recorded in many small rooms sound as if in one large one.
//
// The design is a shoebox. The first reflections from walls, ceiling and floor
// are computed as mirror images of the stage, two points of it for the two
// input channels, and the dense tail comes from a network of sixteen delay
// lines that feed each other through a Hadamard matrix, each with the loss of
// its own length at low and at high frequencies (after Jot and Chaigne 1991,
// "Digital delay networks for designing artificial reverberators"). Nothing in
// it moves: the room is linear and does not change with time, so the rooms of
// separate stems add up to the room of the sum, and tuned instruments stay in
// tune.
//
// It runs at [audio.Rate] with two channels in and two out, and gives the
// reverberation only, without the direct sound. Its level is normalised: two
// unrelated steady noises come out with the power they went in with. Memory
// and cost do not depend on the decay.
package room

import (
	"math"

	"ripieno/mix/audio"
)

// Hall describes a room. The zero value of every field is its default.
type Hall struct {
	Decay    float64 // seconds for 60 dB at middle frequencies, 0.2 to 12; 0: 1.8
	High     float64 // decay at 6 kHz as a share of Decay, 0.1 to 1, as near as a gentle filter comes; 0: 0.55
	PreDelay float64 // seconds before the tail begins, 0 to 0.2; 0: 0.018, negative: none
	Size     float64 // scale of the shoebox, 0.3 to 3; 0: 1, a hall of 18 × 27 × 11 m
}

// defaults brings every field into its range.
func (h Hall) defaults() Hall {
	within := func(v, standard, least, most float64) float64 {
		if v == 0 || math.IsNaN(v) {
			return standard
		}
		return math.Min(math.Max(v, least), most)
	}
	return Hall{
		Decay:    within(h.Decay, 1.8, 0.2, 12),
		High:     within(h.High, 0.55, 0.1, 1),
		PreDelay: within(h.PreDelay, 0.018, 0, 0.2),
		Size:     within(h.Size, 1, 0.3, 3),
	}
}

const (
	lines = 16
	// highHz is where Hall.High is meant.
	highHz = 6000.0
	// lowCutHz keeps the rumble of many rooms out of the hall.
	lowCutHz = 90.0
	// step is the most frames worked on at once; it is shorter than the
	// shortest line, so that no line needs what the same step writes. The
	// result does not depend on it.
	step = 256
)

// lengths are the delays of the lines at Size 1, in frames: primes between 21
// and 75 ms, spread so that no sum of few of them meets another.
var lengths = [lines]int{
	1009, 1153, 1279, 1423, 1549, 1693, 1823, 1979,
	2131, 2287, 2441, 2609, 2789, 2999, 3259, 3571,
}

// diffusers are the delays of the all-passes before the tail, left and right.
var diffusers = [2][4]int{{97, 179, 311, 523}, {109, 191, 293, 547}}

// Reverb is a running room. One Reverb serves one goroutine.
type Reverb struct {
	hall    Hall
	scale   float64
	cut     [2]lowCut
	pre     [2]delay
	walls   [2]delay
	taps    []tap
	diffuse [2][4]allpass
	line    [lines]line
	work    [lines][]float64
	early   audio.Block
	late    audio.Block
	feed    audio.Block
}

// New returns a room at rest: nothing sounds in it yet.
func New(h Hall) *Reverb {
	r := build(h)
	r.scale = 1 / math.Sqrt(build(h).energy())
	return r
}

// build makes the parts of a room, whose loudness is not set yet.
func build(h Hall) *Reverb {
	h = h.defaults()
	r := &Reverb{hall: h, scale: 1, taps: reflections(h.Size)}
	longest := 0
	for _, t := range r.taps {
		longest = max(longest, t.frames)
	}
	for c := range 2 {
		r.cut[c] = lowCut{keep: math.Exp(-2 * math.Pi * lowCutHz / audio.Rate)}
		r.pre[c] = newDelay(int(math.Round(h.PreDelay*audio.Rate)) + step)
		r.walls[c] = newDelay(longest + step)
		for i, n := range diffusers[c] {
			r.diffuse[c][i] = allpass{ring: make([]float64, n), gain: 0.62}
		}
	}
	for i, n := range lengths {
		frames := max(step, int(math.Round(float64(n)*h.Size)))
		r.line[i] = newLine(frames, h)
		r.work[i] = make([]float64, step)
	}
	r.early, r.late, r.feed = audio.NewBlock(2, step), audio.NewBlock(2, step), audio.NewBlock(2, step)
	return r
}

// energy returns the sum of the squares of the responses to one impulse on each
// side, halved: the gain in power for unrelated inputs.
func (r *Reverb) energy() float64 {
	in, out := audio.NewBlock(2, step), audio.NewBlock(2, step)
	var sum float64
	for side := range 2 {
		in[side][0] = 1
		for range int(r.hall.Decay*audio.Rate)/step + audio.Rate/step {
			r.Process(out, in)
			in[side][0] = 0
			for c := range out {
				for _, v := range out[c] {
					sum += v * v
				}
			}
		}
	}
	return sum / 2
}

// Tail returns how long the room sounds after its input ends, down by 60 dB.
func (r *Reverb) Tail() audio.Frames {
	return audio.FramesAt(r.hall.Decay + r.hall.PreDelay)
}

// Process writes to out what the room answers to in, both of two channels and
// the same length; out may be in. Broken samples count as silence.
func (r *Reverb) Process(out, in audio.Block) {
	for at := 0; at < in.Frames(); at += step {
		end := min(at+step, in.Frames())
		r.run(out.Slice(at, end), in.Slice(at, end))
	}
}

// run does one step, of at most step frames: low cut, walls and delay, diffusion, the first
// reflections and the late sound.
func (r *Reverb) run(out, in audio.Block) {
	n := in.Frames()
	early, late := r.early.Slice(0, n), r.late.Slice(0, n)
	for c := range 2 {
		r.cut[c].apply(late[c], in[c])
		r.walls[c].write(late[c])
		r.pre[c].write(late[c])
		r.pre[c].read(late[c], len(r.pre[c].ring)-step)
		for i := range r.diffuse[c] {
			r.diffuse[c][i].apply(late[c])
		}
	}
	early.Clear()
	for _, t := range r.taps {
		r.walls[t.from].add(early[t.to], t.frames, t.gain)
	}
	r.tail(late)
	for c := range 2 {
		e, l, o := early[c], late[c], out[c]
		for i := range o {
			o[i] = (e[i] + l[i]) * r.scale
		}
	}
}

// tail runs the delay network on a step of diffused input and replaces it by
// the network's output.
func (r *Reverb) tail(b audio.Block) {
	n := b.Frames()
	for i := range r.line {
		r.line[i].read(r.work[i][:n])
	}
	left, right := b[0], b[1]
	feed := r.feed.Slice(0, n)
	copy(feed[0], left)
	copy(feed[1], right)
	// Left and right listen to all lines through two orthogonal patterns of
	// signs, so that they share no pattern of arrival.
	clear(left)
	clear(right)
	for i := range r.line {
		l, m := sign(i, 0b0101), sign(i, 0b0110)
		for k, v := range r.work[i][:n] {
			left[k] += l * v
			right[k] += m * v
		}
	}
	hadamard(&r.work, n)
	for i := range r.line {
		s := sign(i, 0b1011)
		w := r.work[i][:n]
		for k, v := range feed[i%2] { // left feeds the even lines, right the odd ones
			w[k] = w[k]*0.25 + s*v // 1/√16 makes the matrix keep the power
		}
		r.line[i].write(w)
	}
}
