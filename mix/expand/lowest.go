package expand

import (
	"math"

	"ripieno/mix/denoise"
)

// What the lowest note is, and when something below it is worth taking out. The
// figures were chosen on simulated takes; they have no source.
const (
	lowestTop   = 260.0 // hertz: who plays nothing lower counts as this high
	lowestStand = 4.0   // power over the noise of a line that a note is heard in: 6 dB
	surelyStand = 10.0  // and surely: 10 dB, which noise alone reaches once in 20,000 frames
	// A note stays: it falls by less than 6 dB in this time, where a step on the floor or a door
	// falls by more, also in a live room. One that is not surely heard must stay for twice as long.
	heldFor  = 0.128 // seconds
	heldFall = 0.25  // of power: 6 dB
	heldAll  = 0.2   // seconds that notes are held in all before they count
	// Lows that come so near to all that is played are played, whatever they look like: a
	// bass drum's are not held either.
	struckLows = 0.03 // of power: −15 dB
	belowNotes = 0.8  // of the lowest note: what lies lower is none of its own
	smeared    = 4.0  // power over what a stronger tone leaves beside it
)

// lowLines are the lowest lines of every frame, from line 1 on. A note is looked for in the lower
// half of them; the upper half shows what its window smears down.
type lowLines struct {
	count int       // of a frame, even
	all   []float32 // power, frame after frame
	total []float32 // power of all lines of the frame
}

// add keeps the lines of a frame.
func (l *lowLines) add(power []float64) {
	total := 0.0
	for _, p := range power {
		total += p
	}
	l.total = append(l.total, float32(total))
	for _, p := range power[1 : l.count+1] {
		l.all = append(l.all, float32(p))
	}
}

// holding follows how long a peak has stayed at one line or the ones beside it.
type holding struct {
	weight int // of its frames: 2 where it is surely heard, else 1
	most   float32
}

// held returns for how many frames of the runs a note is held at each line.
func (l *lowLines) held(runs []run, noise []float64, need int) []int {
	out := make([]int, l.count/2)
	at, peaks := make([]holding, len(out)), make([]float32, len(out))
	for _, r := range runs {
		clear(at)
		for f := r.from; f < r.to; f++ {
			x := l.all[f*l.count : (f+1)*l.count]
			l.findPeaks(peaks, x, noise[1:], float64(l.total[f]))
			for k := range at {
				peak, weight := float32(0), 1
				for j := max(k-1, 0); j < min(k+2, len(peaks)); j++ {
					if peak = max(peak, peaks[j]); float64(peaks[j]) > surelyStand*noise[j+1] {
						weight = 2
					}
				}
				h := &at[k]
				if peak == 0 {
					*h = holding{}
					continue
				}
				if peak < heldFall*h.most {
					*h = holding{}
				}
				h.weight, h.most = h.weight+weight, max(h.most, peak)
				if h.weight >= 2*need && peaks[k] > 0 {
					out[k]++
				}
			}
		}
	}
	return out
}

// findPeaks writes the power of the lines that are higher than both their neighbours (the first one
// has one), than the noise, and than what the window smears there from the lines above; 0 for others.
func (l *lowLines) findPeaks(peaks, x []float32, noise []float64, total float64) {
	for j := range peaks {
		peaks[j] = 0
		p := float64(x[j])
		if x[j] < x[j+1] || j > 0 && x[j] < x[j-1] || p <= lowestStand*noise[j] ||
			p <= smeared*total*smear(l.count-j) {
			continue
		}
		alone := true
		for m := j + 2; m < l.count && alone; m++ {
			alone = p > smeared*float64(x[m])*smear(m-j)
		}
		if alone {
			peaks[j] = x[j]
		}
	}
}

// smear returns how strong a tone's envelope is n lines from it, against its peak, in power: of the
// half sine that every frame is weighed with (F. J. Harris, "On the use of windows for harmonic
// analysis with the discrete Fourier transform", Proc. IEEE 66 (1978): cosine lobe).
func smear(n int) float64 {
	d := float64(4*n*n - 1)
	return 1 / (d * d)
}

// lowest returns the lowest note that the runs hold, hertz, a little low rather than high, and how
// far the noise below it lies under the playing, dB: while it is played, and all of it before the
// piece. The note is 0 where it is not to be told: nothing is played, or what is below looks struck.
func (t *trace) lowest(runs []run) (hz, under, idle float64) {
	line, l := t.rate/denoise.Size, &t.notes
	held := l.held(runs, t.noise.Power, max(2, t.frames(heldFor)))
	hz, sum := lowestTop, 0
	for k, n := range held {
		if sum += n; sum >= max(1, t.frames(heldAll)) {
			hz = math.Min((float64(k+1)-0.5)*line, lowestTop)
			break
		}
	}
	to := max(min(int(belowNotes*hz/line), l.count)-1, 0) // the last one hears the note
	total, below, still := 0.0, 0.0, 0.0
	for _, r := range runs {
		for f := r.from; f < r.to; f++ {
			total += float64(l.total[f])
			for _, p := range l.all[f*l.count : f*l.count+to] {
				below += float64(p)
			}
			for _, p := range t.noise.Under[1 : to+1] {
				still += p
			}
		}
	}
	if !(total > 0) {
		return 0, math.Inf(1), math.NaN()
	}
	idle = t.playedOver(total, runs, to)
	if below-still > struckLows*(total-still) {
		return 0, math.Inf(1), idle
	}
	return hz, 10 * math.Log10(total/math.Max(still, 1e-12*total)), idle
}

// playedOver returns how far total, the power of all frames of the runs, lies over what the noise of
// the lines up to to has in as many frames where nobody plays, dB; 120 at most.
func (t *trace) playedOver(total float64, runs []run, to int) float64 {
	frames, noise := 0, 0.0
	for _, r := range runs {
		frames += r.to - r.from
	}
	for _, p := range t.noise.Power[:to+1] {
		noise += float64(frames) * p
	}
	return 10 * math.Log10(total/math.Max(noise, 1e-12*total))
}
