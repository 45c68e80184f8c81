// Package mask tells who is hidden behind the others of a mix, where, and by how
// much to lift them.
//
// It is a simplification of the excitation model behind loudness (ISO 532-1,
// after Zwicker): the power of every strip in the 24 critical bands (E. Zwicker,
// "Subdivision of the audible frequency range into critical bands", 1961), a
// quarter of a second at a time, spread to the bands beside with 27 dB a Bark
// downward and 24 + 230 Hz/f − 0.2·L dB a Bark upward (E. Terhardt, "Calculating
// virtual pitch", 1979; from memory). A strip is heard in a moment in which it
// stands, in some band, no more than 4 dB under the excitation of all others
// (Fastl and Zwicker, "Psychoacoustics": 2 to 6 dB; from memory). Masking over
// time, the outer ear and the threshold of hearing are left out.
package mask

import (
	"errors"
	"io"
	"math"
	"slices"

	"ripieno/mix/audio"
	"ripieno/mix/denoise"
	"ripieno/mix/robust"
)

// Version is the version of what [Listen] measures.
const Version = 1

// Bands is how many critical bands there are.
const Bands = 24

// edges are the limits of the critical bands in hertz (Zwicker 1961).
var edges = [Bands + 1]float64{0, 100, 200, 300, 400, 510, 630, 770, 920, 1080, 1270, 1480, 1720, 2000, 2320, 2700,
	3150, 3700, 4400, 5300, 6400, 7700, 9500, 12000, 15500}

// Step is how long a moment is.
const (
	momentFrames = 12
	Step         = audio.Frames(momentFrames * denoise.Hop)
)

// silent stands for nothing, dB.
const silent = -150

// Levels is how loud a strip is in every critical band, moment by moment: dB of
// full scale. The first moment begins with the strip's first frame.
type Levels struct{ Moments [][Bands]float32 }

// Listen reads a strip, which is at [audio.Rate], to its end. It fails with src.
func Listen(src audio.Source) (*Levels, error) {
	out, spec := &Levels{}, denoise.NewSpectrum()
	in, power := audio.NewBlock(src.Channels(), denoise.Size), make([]float64, denoise.Lines)
	var line [denoise.Lines]int
	for k := range line {
		hz := float64(k) * audio.Rate / denoise.Size
		line[k] = slices.IndexFunc(edges[1:], func(e float64) bool { return hz < e })
	}
	for {
		clear(power)
		got := 0
		for range momentFrames {
			for c := range in {
				copy(in[c], in[c][denoise.Hop:])
			}
			n, err := src.Read(in.Slice(denoise.Hop, denoise.Size))
			if err != nil && !errors.Is(err, io.EOF) {
				return nil, err
			}
			in.Slice(denoise.Hop+n, denoise.Size).Clear()
			if got += n; n == 0 {
				break
			}
			for _, x := range in {
				spec.AddPower(power, x)
			}
		}
		if got == 0 {
			return out, nil
		}
		var sums [Bands]float64
		for k, p := range power {
			if b := line[k]; b >= 0 {
				sums[b] += p
			}
		}
		// Of a sine of full scale the lines together have (Size/2)²·½, in one channel.
		scale := momentFrames * denoise.Size * denoise.Size / 8 * float64(len(in))
		var m [Bands]float32
		for b, p := range sums {
			m[b] = float32(math.Max(10*math.Log10(p/scale+1e-30), silent))
		}
		out.Moments = append(out.Moments, m)
	}
}

// Strip is one strip of a mix.
type Strip struct {
	Levels *Levels
	From   audio.Frames // guide frame of its first moment
	Gain   audio.Decibels
	Group  string // strips of a group, such as a desk of one part, are heard together
	Moves  []Move // changes of gain in places
}

// Move is a change of gain for the moments that begin in a span.
type Move struct {
	Span
	Gain audio.Decibels
}

// gainAt returns the gain of a strip, as a power, in the moment that begins at a guide frame.
func (s Strip) gainAt(frame audio.Frames) float64 {
	db := float64(s.Gain)
	for _, m := range s.Moves {
		if m.From <= frame && frame < m.To {
			db += float64(m.Gain)
		}
	}
	return math.Pow(10, db/10)
}

// Span is a stretch of guide frames.
type Span struct{ From, To audio.Frames }

// Hidden is how far a strip's group is covered by the others.
type Hidden struct {
	Share float64        // of the time in which it plays
	Lift  audio.Decibels // that would bring three quarters of the hidden moments out; 0: nothing is hidden
	Spans []Span         // of two seconds or more, in order
}

const (
	under    = 4.0   // dB under the others at which a strip is still heard
	asSPL    = 95.0  // dB from full scale to sound pressure: a strip at −30 LUFS is played at 65 dB
	resting  = 20.0  // dB under its own middle level at which a strip plays no more
	longSpan = 8     // moments: two seconds
	mostLift = 12.0  // dB; more is a mix for one
	most     = 100.0 // dB, of any need
)

// Find returns for every strip how far its group is covered by all other groups.
// A mix of one group hides nobody.
func Find(strips []Strip) []Hidden { return find(strips, nil) }

// FindWithin does what [Find] does for the moments that begin in the spans of each strip,
// such as those in which it has the tune; strips of one group have them together. A strip
// whose group has none is hidden in none.
func FindWithin(strips []Strip, spans [][]Span) []Hidden {
	of := map[string][]Span{}
	for i, s := range strips {
		of[s.Group] = append(of[s.Group], spans[i]...)
	}
	return find(strips, func(group string, at audio.Frames) bool {
		return slices.ContainsFunc(of[group], func(s Span) bool { return s.From <= at && at < s.To })
	})
}

// find does the work of Find for the moments of a group that counts wants, nil for all.
func find(strips []Strip, counts func(group string, at audio.Frames) bool) []Hidden {
	groups, first, moments := collect(strips)
	out := make([]Hidden, len(strips))
	total := make([][Bands]float64, moments)
	for _, g := range groups {
		for i := range g.excitation {
			for b, e := range g.excitation[i] {
				total[i][b] += e
			}
		}
	}
	found := map[string]Hidden{}
	for name, g := range groups {
		if len(groups) > 1 {
			playing := g.playing()
			for i := range playing {
				playing[i] = playing[i] && (counts == nil || counts(name, first+audio.Frames(i)*Step))
			}
			found[name] = g.hidden(total, first, playing)
		}
	}
	for i, s := range strips {
		out[i] = found[s.Group]
	}
	return out
}

// group is all strips of one group: power and excitation in every band.
type group struct {
	power, excitation Powers
	listed            bool
}

// collect adds the strips of every group up. Moments count from the first one of
// all, which begins at frame first.
func collect(strips []Strip) (groups map[string]*group, first audio.Frames, moments int) {
	groups = map[string]*group{}
	last := audio.Frames(math.MinInt64)
	first = math.MaxInt64
	for _, s := range strips {
		first = min(first, s.From)
		last = max(last, s.From+audio.Frames(len(s.Levels.Moments))*Step)
	}
	if last <= first {
		return groups, 0, 0
	}
	moments = int((last-first)/Step) + 2
	for _, s := range strips {
		g := groups[s.Group]
		if g == nil {
			g = &group{power: make(Powers, moments), excitation: make(Powers, moments)}
			groups[s.Group] = g
		}
		at := int((s.From - first + Step/2) / Step)
		for i, m := range s.Levels.Moments {
			gain := s.gainAt(s.From + audio.Frames(i)*Step)
			for b, l := range m {
				g.power[at+i][b] += gain * math.Pow(10, float64(l)/10)
			}
		}
	}
	for _, g := range groups {
		for i := range g.power {
			g.excitation[i] = spread(g.power[i])
		}
	}
	return groups, first, moments
}

// spread returns the excitation that powers in the bands give: each spreads to
// the bands beside, the strongest counts where several do.
func spread(power [Bands]float64) (out [Bands]float64) {
	for b, p := range power {
		if p < 1e-14 {
			continue
		}
		up := slopeUp(b, 10*math.Log10(p)+asSPL)
		for k := range out {
			fall := powerDown[max(0, b-k)]
			if k > b {
				fall = math.Pow(10, -up*float64(k-b)/10)
			}
			out[k] = max(out[k], p*fall)
		}
	}
	return out
}

// slopeDown is how steeply excitation falls below a band, dB a Bark.
const slopeDown = 27.0

// powerDown is what is left of power so many bands below.
var powerDown = falling(10)

// falling returns what is left of a quantity, of which so many dB make a factor of ten, so many
// bands below.
func falling(decade float64) (left [Bands]float64) {
	for n := range left {
		left[n] = math.Pow(10, -slopeDown*float64(n)/decade)
	}
	return left
}

// slopeUp returns how steeply it falls above band b at a level in dB of sound pressure, dB a Bark.
func slopeUp(b int, level float64) float64 {
	return math.Max(24+230/((edges[b]+edges[b+1])/2)-0.2*level, 5)
}

// hidden returns how far a group is covered by the rest of total in the moments in which
// it is playing.
func (g *group) hidden(total [][Bands]float64, first audio.Frames, playing []bool) Hidden {
	var h Hidden
	var needs []float64
	run, count := 0, 0
	end := func(i int) {
		if run >= longSpan {
			h.Spans = append(h.Spans, Span{first + audio.Frames(i-run)*Step, first + audio.Frames(i)*Step})
		}
		run = 0
	}
	for i, plays := range playing {
		if !plays {
			end(i)
			continue
		}
		count++
		var others [Bands]float64
		for b := range others {
			others[b] = total[i][b] - g.excitation[i][b]
		}
		need := Need(g.power[i], others)
		if need <= 0 {
			end(i)
			continue
		}
		needs = append(needs, need)
		run++
	}
	end(len(playing))
	if len(needs) == 0 {
		return h
	}
	slices.Sort(needs)
	h.Share = float64(len(needs)) / float64(count)
	h.Lift = audio.Decibels(math.Min(math.Ceil(needs[len(needs)*3/4]*2)/2, mostLift))
	return h
}

// playing returns in which moments the group plays: those that are not far under
// the middle one of what sounds at all.
func (g *group) playing() []bool {
	sums, sounding := make([]float64, len(g.power)), []float64(nil)
	for i, m := range g.power {
		for _, p := range m {
			sums[i] += p
		}
		if sums[i] > 1e-8 { // −80 dB of full scale
			sounding = append(sounding, sums[i])
		}
	}
	out := make([]bool, len(sums))
	if len(sounding) == 0 {
		return out
	}
	bar := robust.Quantile(sounding, 0.5) * math.Pow(10, -resting/10)
	for i, s := range sums {
		out[i] = s > 1e-8 && s >= bar
	}
	return out
}
