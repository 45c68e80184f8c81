package plan

import (
	"slices"

	"ripieno/assemble/production"
	"ripieno/layout/shot"
	"ripieno/mix"
	"ripieno/mix/audio"
	"ripieno/mix/pan"
	"ripieno/mix/tempo"
)

// Strip is one take's path through the mix. What Treat describes is computed
// once and kept; the rest is cheap to change.
type Strip struct {
	Take    string
	Part    string
	Section string
	Sound   Sound
	Beside  *Sound // what the player's phone heard beside it; nil: nothing
	Treat   Treatment
	Clean   Cleaning

	Gain  audio.Decibels // the manifest's; balance is added when mixing
	Group audio.Decibels // its section's
	Pan   float64        // −100..100
	Law   pan.Law
	Width float64 // of a stereo recording; 1 as recorded
	Send  audio.Decibels
	Dry   bool       // sends nothing to the room
	Lifts []mix.Ride // while a shot shows the take alone
}

// Treatment is what happens to a recording before its level and place.
type Treatment struct {
	From, To audio.Frames // guide samples in which it may sound
	Mutes    []mix.Span
	LowCut   float64 // hertz; negative: none
	EQ       []mix.Band
	Compress *mix.Compressor
	Denoise  audio.Decibels // 0: none
	Delay    float64        // seconds
}

// Cleaning is what is done to a recording by itself, by what is heard of it. The
// zero value is nothing.
type Cleaning struct {
	Silence bool     // it is closed where nobody plays
	Noise   bool     // its noise under the playing is made softer
	Tone    bool     `key:"omitzero"` // the colour of the phone that recorded it is taken from it
	Tops    bool     `key:"omitzero"` // tops that were cut off are drawn again
	Hum     bool     `key:"omitzero"` // the hum of the mains is taken out
	Rumble  bool     `key:"omitzero"` // noise below its lowest note is cut
	Uncut   bool     `key:"omitzero"` // the low cut by its part is left out where nothing is to be cut
	Piece   mix.Span // where the piece lies, guide samples
}

// Any reports whether anything is done.
func (c Cleaning) Any() bool { return c.Silence || c.Noise || c.Tone || c.Hum || c.Tops || c.Rumble }

// cleaning returns what is done to a take by itself. Where a person has set
// denoise, the noise is in their hands, and where they have set an equaliser or a low cut
// the colour or the lows are. A phone may be silent before the piece only since it closes
// itself there, so it keeps its low cut.
func cleaning(take production.Take, sound Sound, music *tempo.Map) Cleaning {
	clean, own := take.Strip.Clean, take.Strip
	c := Cleaning{Silence: clean.Silence, Noise: clean.Noise && own.DenoiseDB == 0,
		Tone: clean.Tone && sound.Phone && len(own.EQ) == 0, Hum: clean.Hum, Tops: clean.Tops,
		Rumble: clean.Noise && own.DenoiseDB == 0 && own.LowCutHz == nil}
	if c.Any() {
		c.Uncut = own.LowCutHz == nil && !sound.Phone
		c.Piece = mix.Span{From: audio.FramesAt(music.Start()), To: audio.FramesAt(music.End())}
	}
	return c
}

// autoSpread is how far automatic panning goes to either side, of 100: wide
// enough to tell players apart, narrow enough for one ear of headphones
// (common practice, no source).
const autoSpread = 55

// strips returns the takes that are heard in the film, in the manifest's order.
func strips(p *production.Production, facts map[string]Facts, line Timeline, shots []shot.Shot) []Strip {
	var out []Strip
	places := places(p)
	for i, take := range p.Takes {
		f := facts[take.Name]
		if f.Sound == nil || take.Mute {
			continue
		}
		s := Strip{
			Take: take.Name, Part: take.Part, Section: take.Section, Sound: *f.Sound, Beside: f.Beside,
			Treat: treatment(take, line),
			Clean: cleaning(take, *f.Sound, p.Tempo),
			Gain:  audio.Decibels(take.GainDB), Pan: places[i], Law: p.Mix.PanLaw, Width: 1,
			Send: audio.Decibels(take.Strip.SendDB), Dry: take.Strip.Dry,
		}
		if s.Treat.To <= s.Treat.From {
			continue // trimmed away altogether
		}
		if w := take.Strip.Width; w != nil {
			s.Width = *w
		}
		s.Lifts = lifts(p, line, shots, take.Name)
		out = append(out, s)
	}
	return out
}

// places returns where all takes sit, from −100 to 100: where the manifest says,
// on the stage with their section, or spread evenly in the order of seats.
// Seats that are still empty count, so that a late take moves nobody. What gives the
// bass sits nearer to the middle than its seat.
func places(p *production.Production) []float64 {
	order := inOrder(p.Takes, func(t production.Take) string { return t.Name }, Places(p))
	all := make([]float64, len(p.Takes))
	for i, x := range pan.Spread(len(p.Takes), autoSpread/100.) {
		if all[order[i]] = 100 * x; mix.GivesBass(p.Takes[order[i]].Part) {
			all[order[i]] *= p.Mix.LowPan / 100
		}
	}
	for _, place := range p.Mix.Stage {
		var seats []int
		for _, i := range order {
			if p.Takes[i].Section == place.Section {
				seats = append(seats, i)
			}
		}
		for k, x := range pan.Between(len(seats), place.From/100, place.To/100) {
			all[seats[k]] = 100 * x
		}
	}
	for i, t := range p.Takes {
		if t.Pan != nil {
			all[i] = *t.Pan
		}
	}
	return all
}

// AutoPans returns where all takes would sit, from −100 to 100, if the manifest gave
// none of them a place.
func AutoPans(p *production.Production) []float64 {
	free := *p
	free.Takes = slices.Clone(p.Takes)
	for i := range free.Takes {
		free.Takes[i].Pan = nil
	}
	return places(&free)
}

// treatment turns a take's own settings into those of the mix, its times into
// samples.
func treatment(take production.Take, line Timeline) Treatment {
	s := take.Strip
	frame := func(m production.Time) audio.Frames { return audio.FramesAt(line.guide(m)) }
	t := Treatment{
		From: line.AudioStart, To: line.AudioStart + line.AudioLen,
		LowCut: mix.LowCutFor(take.Part), Denoise: audio.Decibels(s.DenoiseDB), Delay: s.Delay,
	}
	if take.TrimFrom != nil {
		t.From = max(t.From, frame(*take.TrimFrom))
	}
	if take.TrimTo != nil {
		t.To = min(t.To, frame(*take.TrimTo))
	}
	for _, m := range s.Mutes {
		t.Mutes = append(t.Mutes, mix.Span{From: frame(m.From), To: frame(m.To)})
	}
	if s.LowCutHz != nil {
		t.LowCut = *s.LowCutHz
		if t.LowCut == 0 {
			t.LowCut = -1
		}
	}
	for _, b := range s.EQ {
		t.EQ = append(t.EQ, mix.Band{Shape: b.Shape, Hz: b.Hz, Gain: audio.Decibels(b.GainDB), Q: b.Q})
	}
	if c := s.Compress; c != nil {
		t.Compress = &mix.Compressor{
			Threshold: audio.Decibels(c.ThresholdDB), Ratio: c.Ratio, Knee: audio.Decibels(c.KneeDB),
			Attack: c.Attack, Release: c.Release, MakeUp: audio.Decibels(c.MakeUpDB),
		}
	}
	return t
}

// lifts returns the spans of guide samples in which shots show a take alone.
// Shots that follow each other are one span, or the take would be lifted twice
// where their ramps meet.
func lifts(p *production.Production, line Timeline, shots []shot.Shot, take string) []mix.Ride {
	if p.Mix.SoloLiftDB == 0 {
		return nil
	}
	var out []mix.Ride
	for _, s := range shots {
		if s.Show != shot.Solo || s.Want < 0 || p.Shots[s.Want].Take != take {
			continue
		}
		span := mix.Span{From: line.sample(s.From), To: line.sample(s.To)}
		if n := len(out); n > 0 && span.From-out[n-1].To < 2*mix.DefaultRamp {
			out[n-1].To = span.To
			continue
		}
		out = append(out, mix.Ride{Span: span, Gain: audio.Decibels(p.Mix.SoloLiftDB)})
	}
	return out
}

// sample returns the guide sample at the beginning of an output frame.
func (t Timeline) sample(frame int) audio.Frames {
	return t.AudioStart + audio.FramesAt(t.Rate.Seconds(frame))
}
