package simulate

import (
	"math"
	"math/rand/v2"

	"ripieno/mix/audio"
)

// Take is one file of one player.
type Take struct {
	Name   string // of the file, unique in the ensemble
	Player string
	Device int // 0 the phone, 1 the separate microphone
	Truth  Truth

	p      *player
	rate   int
	frames int
	r      [2]uint64 // numbers its noise and room are made from
	noise  float64
	hum    float64
	wet    float64
	gain   float64
	riding bool // automatic gain control
	cutoff float64
	codec  codec
	stereo bool
}

func newTake(r *rand.Rand, p *player, device int, o Options) *Take {
	t := &Take{
		Name: p.name + [...]string{"", "-mic"}[device], Player: p.name, Device: device, p: p,
		rate: o.Rate, r: [2]uint64{r.Uint64(), r.Uint64()},
		stereo: r.Float64() < 0.4,
	}
	if t.rate == 0 {
		t.rate = []int{44100, 48000}[r.IntN(2)]
	}
	early := 1 + 20*r.Float64()
	if o.Level == Hard {
		early = 60 * r.Float64()
	}
	t.Truth.Offset = -early
	if o.Level == Typical && r.Float64() < 0.15 {
		t.Truth.Offset = p.m.Cue() * 0.8 * r.Float64() // switched on during the count-in
	}
	if o.Level == Hard && r.Float64() < 0.1 {
		t.Truth.Offset = math.Min(60*r.Float64(), p.m.End()-8) // late, maybe past the cue
	}
	ppm := [...]float64{40, 80, 80}[o.Level]
	if device == 1 {
		ppm = 30
	}
	t.Truth.DriftPPM = ppm * (2*r.Float64() - 1)
	if o.Level == Hard && r.Float64() < 0.08 {
		t.Truth.DriftPPM = 450 * (2*r.Float64() - 1)
	}
	t.noise = math.Pow(10, ([...]float64{-72, -62, -54}[o.Level]+10*r.Float64()-5)/20)
	if r.Float64() < 0.4 {
		t.hum = t.noise * (1 + 3*r.Float64())
	}
	t.wet = [...]float64{0.1, 0.2, 0.35}[o.Level] * (0.3 + r.Float64())
	t.gain = 0.25 * math.Pow(10, (r.Float64()*16-10)/20)
	if o.Level == Hard && r.Float64() < 0.25 {
		t.gain *= 4 // clips
	}
	t.riding = o.Level > Easy && r.Float64() < 0.35
	t.cutoff = 5000 + 12000*r.Float64()
	if device == 1 {
		t.wet, t.noise = t.wet*0.4, t.noise*0.5 // it stands closer
	}
	after := 1 + 8*r.Float64()
	t.frames = int((p.m.End() + after - t.Truth.Offset) / ratio(t) * float64(t.rate))
	t.finishTruth()
	return t
}

func ratio(t *Take) float64 { return 1 + t.Truth.DriftPPM*1e-6 }

// file turns a guide time into a time of the file.
func (t *Take) file(guide float64) float64 { return (guide - t.Truth.Offset) / ratio(t) }

func (t *Take) finishTruth() {
	p := t.p
	t.Truth.Lateness, t.Truth.Attack, t.Truth.Cued = p.late, p.inst.attack, p.cued
	t.Truth.Cue = t.file(p.cue)
	if !(t.Truth.Cue > 0.05) {
		t.Truth.Cue = math.NaN()
		t.Truth.Cued = "none"
	}
	for _, s := range p.sounds {
		if s.kind == "note" && s.at > p.m.Start()-0.2 && s.at < p.m.End() && t.file(s.at) > 0 {
			t.Truth.Notes++
		}
	}
}

// Source renders the file.
func (t *Take) Source() audio.Source {
	r := rand.New(rand.NewPCG(t.r[0], t.r[1]))
	x := make([]float64, t.frames)
	for _, s := range t.p.sounds {
		t.add(x, s, t.file(s.at), rand.New(rand.NewPCG(math.Float64bits(s.at), uint64(s.pitch))))
	}
	reverberate(r, x, t.rate, t.wet)
	lowpass(x, t.cutoff, t.rate)
	t.disturb(r, x)
	t.codec.apply(x, t.rate)
	b := audio.Block{x}
	if t.stereo {
		other := make([]float64, len(x))
		for i := range other {
			if i >= 8 {
				other[i] = 0.8 * x[i-8]
			}
		}
		b = append(b, other)
	}
	return audio.NewMemory(b, t.rate)
}

// disturb adds noise and hum and does to the signal what a cheap device does.
func (t *Take) disturb(r *rand.Rand, x []float64) {
	var pink, env float64
	gain := 1.0
	release := math.Exp(-1 / (1.5 * float64(t.rate)))
	w := 2 * math.Pi * 50 / float64(t.rate)
	for i, v := range x {
		white := 2*r.Float64() - 1
		pink = 0.97*pink + 0.24*white
		v = v*t.gain + t.noise*(0.7*white+pink)
		v += t.hum * (math.Sin(w*float64(i)) + 0.4*math.Sin(3*w*float64(i)))
		if t.riding {
			// Level control of phones: fast down, slow up, 20 dB at most.
			env = math.Max(math.Abs(v), env*release)
			want := math.Min(10, 0.3/math.Max(env, 1e-4))
			if want < gain {
				gain += (want - gain) * 0.003
			} else {
				gain += (want - gain) * 0.00002
			}
			v *= gain
		}
		x[i] = math.Max(-1, math.Min(1, v))
	}
}

// Written is the guide times at which the notes of the player's part are
// written to begin, in order.
func (t *Take) Written() []float64 { return t.p.wrote }

// Instrument is what the player plays.
func (t *Take) Instrument() string { return t.p.inst.name }
