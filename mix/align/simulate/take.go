package simulate

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"

	"ripieno/mix/audio"
	"ripieno/mix/click"
	"ripieno/mix/resample"
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
	dev    device
	room   room
	touch  float64 // dB of the finger on the device over the music's peak
	codec  codec
	stereo bool
}

// newTake makes up a recording of p by their phone (kind 0) or their microphone (1): when it
// begins, how far its clock is off, and in what room, through what device it is heard.
// Shares of late starts and bad clocks are guesses, from no source.
func newTake(r *rand.Rand, p *player, kind int, o Options) *Take {
	t := &Take{
		Name: p.name + [...]string{"", "-mic"}[kind], Player: p.name, Device: kind, p: p,
		rate: o.Rate, r: [2]uint64{r.Uint64(), r.Uint64()},
		stereo: r.Float64() < 0.4, room: p.room, touch: -8 + 12*r.Float64(),
	}
	if t.rate == 0 {
		t.rate = []int{44100, 48000}[r.IntN(2)]
	}
	t.Truth.Offset = -p.early
	if kind == 1 {
		t.Truth.Offset = math.Max(-60, -p.early-3*r.Float64())
	}
	late := r.Float64()
	switch {
	case p.early > 12:
	case o.Level == Typical && late < 0.1:
		t.Truth.Offset = p.m.Cue() * 0.8 * r.Float64() // switched on during the count-in
	case o.Level == Hard && late < 0.03:
		t.Truth.Offset = p.m.Cue() + 1 + r.Float64() // and after the cue
	case o.Level == Hard && late < 0.04:
		t.Truth.Offset = math.Min(60*r.Float64(), p.m.End()-8) // in the middle of the piece
	}
	ppm := [...]float64{30, 80, 80}[o.Level]
	if kind == 1 {
		ppm = 30
	}
	t.Truth.DriftPPM = ppm * (2*r.Float64() - 1)
	if o.Level == Hard && r.Float64() < 0.05 {
		t.Truth.DriftPPM = 450 * (2*r.Float64() - 1)
	}
	t.dev = newDevice(r, o.Level, kind == 1)
	if kind == 1 { // it stands closer
		t.room.direct, t.touch = t.room.direct+7, t.touch-8
	}
	after := 1.5 + 3.5*r.Float64()
	if r.Float64() < 0.15 {
		after += 6 * r.Float64()
	}
	t.frames = int((p.m.End() + after - t.Truth.Offset) / ratio(t) * float64(t.rate))
	t.finishTruth()
	return t
}

// ratio returns the guide seconds that pass in one second of the file.
func ratio(t *Take) float64 { return audio.PPM(t.Truth.DriftPPM).Ratio() }

// file turns a guide time into a time of the file.
func (t *Take) file(guide float64) float64 {
	return audio.Clock{Offset: t.Truth.Offset, Drift: audio.PPM(t.Truth.DriftPPM)}.File(guide)
}

// finishTruth writes down what is true of the file once its clock is known: where its cue
// and how many of its notes are in it.
func (t *Take) finishTruth() {
	p := t.p
	t.Truth.Lateness, t.Truth.Attack, t.Truth.Cued = p.late, p.inst.attack+p.inst.swell, p.cued
	t.Truth.slow = p.inst.slow()
	t.Truth.Cue = t.file(p.cue)
	if !(t.Truth.Cue > 0.05) {
		t.Truth.Cue = math.NaN()
		t.Truth.Cued = "none"
	}
	for _, n := range p.notes {
		if t.file(n.Played) > 0.1 {
			t.Truth.Notes++
		}
	}
}

// Source renders the file. Each call makes the same samples anew.
func (t *Take) Source() audio.Source {
	x := make([]float64, t.frames)
	for _, s := range t.p.sounds {
		if s.kind == "note" {
			play(x, float64(t.rate), s, t.file(s.begin), rand.New(rand.NewPCG(math.Float64bits(s.at), uint64(s.pitch))))
		}
	}
	return t.record(x)
}

// Record returns the file had the player's notes, [Take.Events], sounded as dry does:
// its first channel, which begins at a guide time. Everything else is as in
// Source. It fails when dry does.
func (t *Take) Record(dry audio.Source, from float64) (audio.Source, error) {
	moved := resample.New(dry, t.rate, t.file(from), audio.PPM((1/ratio(t)-1)*1e6), 0)
	b, err := audio.ReadAll(moved)
	if err != nil {
		return nil, fmt.Errorf("simulate: %w", err)
	}
	x := make([]float64, t.frames)
	copy(x, b[0])
	return t.record(x), nil
}

// record turns the sound of the notes into the file: what else is heard, the
// room, the device and its coder.
func (t *Take) record(x []float64) audio.Source {
	r := rand.New(rand.NewPCG(t.r[0], t.r[1]))
	rate := float64(t.rate)
	peak, scale := t.measure(x)
	for _, s := range t.p.sounds {
		if s.kind != "note" {
			add(x, rate, s, t.file(s.at), peak, rand.New(rand.NewPCG(math.Float64bits(s.at), 7)))
		}
	}
	t.leak(x, peak)
	t.room.apply(r, x, t.rate)
	touch := sound{kind: "touch", loud: t.touch}
	add(x, rate, touch, 0.04+0.04*r.Float64(), peak, r)
	add(x, rate, touch, float64(len(x))/rate-0.08-0.08*r.Float64(), peak, r)
	for i := range x {
		x[i] *= scale
	}
	t.dev.apply(r, x, t.rate)
	t.codec.apply(x, t.rate)
	b := audio.Block{x}
	if t.stereo {
		other := make([]float64, len(x))
		for i := 8; i < len(other); i++ {
			other[i] = 0.8 * x[i-8]
		}
		b = append(b, other)
	}
	return audio.NewMemory(b, t.rate)
}

// measure returns the peak of the music, that which a thousandth of it exceeds, and
// by what it is to be multiplied to lie at the device's level.
func (t *Take) measure(x []float64) (peak, scale float64) {
	from := max(0, int(t.file(t.p.m.Start())*float64(t.rate)))
	to := min(len(x), int(t.file(t.p.m.End())*float64(t.rate)))
	var some []float64
	var sum float64
	for i := from; i < to; i += 17 {
		some = append(some, math.Abs(x[i]))
		sum += x[i] * x[i]
	}
	if sum == 0 {
		return 0.3, math.Pow(10, (t.dev.level+10)/20) // nobody plays
	}
	slices.Sort(some)
	return some[len(some)-1-len(some)/1000], math.Pow(10, t.dev.level/20) / math.Sqrt(sum/float64(len(some)))
}

// leak lets the guide's clicks into the microphone.
func (t *Take) leak(x []float64, peak float64) {
	if math.IsNaN(t.p.leak) {
		return
	}
	guide, err := click.Guide(t.p.m, click.Options{})
	if err != nil {
		panic(err) // plain options are in range
	}
	moved := resample.New(guide, t.rate, t.file(0), audio.PPM((1/ratio(t)-1)*1e6), 0)
	b, err := audio.ReadAll(moved)
	if err != nil {
		panic(err) // a guide does not fail
	}
	loudest := 0.0
	for _, v := range b[0] {
		loudest = math.Max(loudest, math.Abs(v))
	}
	gain := peak * math.Pow(10, t.p.leak/20) / math.Max(loudest, 1e-9)
	for i, v := range b[0] {
		if i < len(x) {
			x[i] += gain * v
		}
	}
}

// Written returns the guide times at which the notes of the player's part are
// written to begin, in order.
func (t *Take) Written() []float64 { return t.p.wrote }

// Instrument returns what the player plays.
func (t *Take) Instrument() string { return t.p.inst.name }
