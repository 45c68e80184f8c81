package figure

import (
	"math"
	"sort"
)

// Note is one attack the figure makes, in guide time.
type Note struct {
	From, To float64 // seconds
	Pitch    int     // MIDI note number; of a chord the highest
	Level    float64 // 0 to 1
}

// Motion is everything a player does, ready to be asked about any moment.
type Motion struct {
	notes []Note
	clap  float64
	beats []float64 // guide times of all beats, to nod along
	bows  []float64 // where the bow is at each note's start, -1 frog to 1 tip
	held  []spell   // when the instrument is up
	phase float64   // sets players apart from each other, 0 to 1
}

// spell is a stretch of guide time.
type spell struct{ from, to float64 }

// NewMotion prepares a player: notes in order, the guide time of the clap, the
// beats of the guide in order, and a number of 0 to 1 that sets small habits
// (blinking, swaying) apart from other players'.
func NewMotion(notes []Note, clap float64, beats []float64, phase float64) *Motion {
	m := &Motion{notes: notes, clap: clap, beats: beats, phase: phase}
	m.bow()
	m.hold()
	return m
}

// bow lays out the strokes: each note has one, back and forth, long notes with
// more of the bow; at the ends of the bow the stroke is shortened.
func (m *Motion) bow() {
	m.bows = make([]float64, len(m.notes)+1)
	at, way := -0.6, 1.0
	for i, n := range m.notes {
		m.bows[i] = at
		stroke := min(max((n.To-n.From)*1.3, 0.25), 1.5)
		at = min(max(at+way*stroke, -0.95), 0.95)
		way = -way
	}
	m.bows[len(m.notes)] = at
}

// Seconds around the playing during which the instrument is up, and the rest
// that is long enough to put it down.
const (
	raiseTime = 0.9
	ready     = 1.3
	lingers   = 1.4
	putDown   = 6.0
)

// hold finds the stretches during which the instrument is up: from just before
// the first note to just after the last one before a long rest.
func (m *Motion) hold() {
	for i, n := range m.notes {
		if i == 0 || n.From-m.notes[i-1].To > putDown {
			m.held = append(m.held, spell{n.From - ready, 0})
		}
		m.held[len(m.held)-1].to = n.To + lingers
	}
}

// current returns the index of the last note that has begun, or -1.
func (m *Motion) current(t float64) int {
	return sort.Search(len(m.notes), func(i int) bool { return m.notes[i].From > t }) - 1
}

// sounding returns how much sound the player makes, 0 to 1: up within 60 ms of a
// note's start, down within some tenths of its end.
func (m *Motion) sounding(t float64) float64 {
	level := 0.0
	i := m.current(t)
	// The note before may still ring on louder than this one has risen.
	for j := max(i-1, 0); j <= i; j++ {
		n := m.notes[j]
		l := n.Level * smooth((t-n.From)/0.06)
		if t > n.To {
			l *= math.Exp(-(t - n.To) / 0.2)
		}
		level = max(level, l)
	}
	return level
}

// since returns the time since the last note began, and its level; a long time when
// none has.
func (m *Motion) since(t float64) (seconds, level float64) {
	i := m.current(t)
	if i < 0 {
		return 1e6, 0
	}
	return t - m.notes[i].From, m.notes[i].Level
}

// until returns the time to the next note; a long time when there is none.
func (m *Motion) until(t float64) float64 {
	i := m.current(t) + 1
	if i >= len(m.notes) {
		return 1e6
	}
	return m.notes[i].From - t
}

// up returns how far the instrument is raised, 0 in the lap to 1 in playing place.
func (m *Motion) up(t float64) float64 {
	u := 0.0
	for _, s := range m.held {
		u = max(u, smooth((t-s.from+raiseTime)/raiseTime)*(1-smooth((t-s.to)/raiseTime)))
	}
	return u
}

// lit returns how far the player's lamp is lit: it is, for good, from the first
// note on.
func (m *Motion) lit(t float64) float64 {
	if len(m.notes) == 0 {
		return 0
	}
	return smooth((t - m.notes[0].From) / 0.9)
}

// bowAt returns the place of the bow on the string, -1 frog to 1 tip.
func (m *Motion) bowAt(t float64) float64 {
	i := m.current(t)
	if i < 0 {
		return m.bows[0]
	}
	n := m.notes[i]
	x := min((t-n.From)/max(n.To-n.From, 0.05), 1)
	return m.bows[i] + (m.bows[i+1]-m.bows[i])*x
}

// pitch glides to the pitch of the coming note just before it begins.
func (m *Motion) pitch(t float64) float64 {
	if len(m.notes) == 0 {
		return 60
	}
	i := m.current(t)
	if i < 0 {
		return float64(m.notes[0].Pitch)
	}
	now := float64(m.notes[i].Pitch)
	if i+1 < len(m.notes) {
		next := m.notes[i+1]
		now += (float64(next.Pitch) - now) * smooth((t-next.From+0.09)/0.09)
	}
	return now
}

// nod returns 1 on a beat and falls to 0 until the next one.
func (m *Motion) nod(t float64) float64 {
	i := sort.Search(len(m.beats), func(i int) bool { return m.beats[i] > t }) - 1
	if i < 0 || i+1 >= len(m.beats) {
		return 0
	}
	x := (t - m.beats[i]) / (m.beats[i+1] - m.beats[i])
	return 0.5 + 0.5*math.Cos(2*math.Pi*x)
}

// sway returns a slow movement, -1 to 1.
func (m *Motion) sway(t float64) float64 {
	return 0.6*math.Sin(2*math.Pi*(0.11*t+m.phase)) + 0.4*math.Sin(2*math.Pi*(0.23*t+2*m.phase))
}

// breath returns the chest, 0 to 1: slow while waiting, and a deep one just before
// the instrument sounds after a silence.
func (m *Motion) breath(t float64) float64 {
	calm := 0.25 + 0.25*math.Sin(2*math.Pi*(0.27*t+m.phase))
	if next := m.until(t); next < 0.5 {
		if since, _ := m.since(t); since > 0.3 {
			return max(calm, smooth((0.5-next)/0.35))
		}
	}
	since, _ := m.since(t)
	return max(calm, 1-since/0.8)
}

// eyes returns how far the eyes are open, 0 to 1. One blink of 0.16 s falls into
// every stretch of about three and a half seconds, at a place of its own.
func (m *Motion) eyes(t float64) float64 {
	period := 3.1 + 0.9*m.phase
	k := math.Floor(t / period)
	_, place := math.Modf(math.Abs(math.Sin(k*12.9898+m.phase*78.233)) * 43.7)
	at := (k + 0.15 + 0.7*place) * period
	return min(math.Abs(t-at)/0.08, 1)
}

// The clap: hands come up, open, close ever faster, meet, and go down.
const (
	clapRise = 1.5  // seconds before the clap that the hands leave the lap
	clapOpen = 0.4  // and that they are widest
	clapRest = 0.14 // they stay together so long
	clapFall = 1.1  // and are back in the lap this long after it
)

// clapping returns how far the hands are in front of the chest (0 lap, 1 chest) and
// how far apart they are (0 touching, 1 widest).
func (m *Motion) clapping(t float64) (raised, apart float64) {
	d := t - m.clap
	raised = smooth((d+clapRise)/(clapRise-clapOpen)) * (1 - smooth((d-clapRest)/(clapFall-clapRest)))
	switch {
	case d < -clapOpen:
		apart = 0.35 + 0.65*smooth((d+clapOpen+0.5)/0.5)
	case d < 0:
		// They fall together like something thrown: fastest at the end, so
		// that the moment they meet is plain to see.
		apart = 1 - math.Pow(1+d/clapOpen, 2)
	case d < clapRest:
		apart = 0
	default:
		apart = smooth((d - clapRest) / 0.5)
	}
	return raised, apart
}

// smooth returns a value that goes from 0 to 1 as x does, with level ends; outside it stays.
func smooth(x float64) float64 {
	x = min(max(x, 0), 1)
	return x * x * (3 - 2*x)
}
