package align

import (
	"cmp"
	"math"
	"runtime"
	"slices"
	"sync"

	"ripieno/mix/tempo"
)

// Break is a place at which a recording is not one piece of time: samples were
// dropped there, something was cut out, or something was put in.
type Break struct {
	Name string // of the recording
	// At is the second of the file at which the first part ends. By the playing it is
	// known to a note or two.
	At float64
	// Jump is by how much guide time runs on at the break while the file's stands
	// still, seconds: positive where time is missing from the file. Negative: from At
	// on the file has so much that is in no part.
	Jump float64
	// Offset is the guide time at the file's time zero by the first part.
	Offset float64
	// Guide is the guide time at which the first part ends.
	Guide float64
	// Gain is how much likelier the two parts make the playing than one does, in
	// nats, and Margin by how much the jump leads over Rival, the next best.
	Gain, Margin, Rival float64
	// By says what tells how long the jump is beside the playing: "silence" of a stretch
	// that is digitally silent, "device" of the player's other recording, "picture" of its
	// own picture, which is longer than its sound, "" of nothing.
	By string
	// Sure reports whether the recording may be taken for two parts without asking.
	Sure bool
}

// Hint is a break that something other than the playing shows.
type Hint struct {
	At, Jump float64 // as in [Break]; At is NaN where only the jump is known, about
	By       string
}

// Bounds of what is looked for.
const (
	breakReach   = 12.4  // seconds that a part may be displaced by
	breakStep    = 0.01  // seconds between two displacements tried
	breakNotes   = 5.0   // weight of the notes that each part needs
	breakApart   = 0.07  // seconds by which two jumps differ at least
	breakPeaks   = 6     // places that are weighed closely
	breakEdges   = 48    // places that are tried
	breakTuned   = 3     // jumps of a place that are weighed as closely as can be
	breakSlack   = 0.05  // seconds before its first note at which a part begins at most
	breakRhythm  = 0.5   // weight of the others' rhythm
	breakHint    = 5.0   // nats for a jump as long as a silence
	pictureHint  = 3.0   // nats for a jump as long as the picture is longer than the sound
	deviceHint   = 12.0  // nats for a jump that shows between two devices: one of them has it
	breakSilence = -98.0 // dBFS, of what is digitally silent
	mostSilences = 12
	breakLeast   = 0.025 // seconds; less nobody hears
	breakTold    = 7.0   // nats from which a break that something else shows is told when it leads
	breakDoubt   = 2.0   // by so many over the next best, or by half of them and
	breakSure    = 9.0   // nats speak for it; one that the playing shows is believed when it leads
	breakClear   = 3.0   // by so many
	breakOnBeat  = 0.06  // beats by which a jump is still one of whole beats
	breakLate    = 0.07  // seconds from its place at which a note is still taken for it
	breakBins    = 64    // of a beat
)

// FindBreaks looks at placed recordings, each by itself, for the break that explains
// its playing best, and returns those for which much speaks. hints, by the names of
// recordings, are breaks that something else shows. A recording whose place the user
// fixed has none.
func FindBreaks(m *tempo.Map, recs []Recording, placed []Placement, hints map[string][]Hint) []Break {
	g := newGrid(m)
	takes := make([]*take, len(recs))
	for k := range recs {
		takes[k] = newTake(&recs[k])
	}
	p, all := newBeatPhases(g), gatherCompany(g, takes, placed)
	found := make([]*Break, len(recs))
	var wait sync.WaitGroup
	slot := make(chan struct{}, runtime.GOMAXPROCS(0))
	for k, t := range takes {
		if recs[k].Offset != nil || recs[k].CueAt != nil || len(t.f.Events) == 0 || placed[k].Method == "none" {
			continue
		}
		c := all.without(g, p, takes, placed, t.voice())
		wait.Add(1)
		slot <- struct{}{}
		go func() {
			defer wait.Done()
			found[k] = t.findBreak(g, p, c, placed[k].Offset, hints[recs[k].Name])
			<-slot
		}()
	}
	wait.Wait()
	var out []Break
	for k, b := range found {
		if b != nil {
			b.Name = recs[k].Name
			out = append(out, *b)
		}
	}
	return out
}

// findBreak returns the break of a take that lies at o when enough speaks for it; nil
// for none.
func (t *take) findBreak(g *grid, p *beatPhases, c *company, o float64, hints []Hint) *Break {
	s := newBreakScan(g, p, t, o, c)
	b, ok := s.best(append(s.silences(), hints...))
	if !ok || math.Abs(b.Jump) < breakLeast {
		return nil
	}
	b.Sure = b.Margin >= breakClear && (b.Gain >= breakSure || b.By == "silence" || b.By == "device")
	if !b.Sure && !b.isWorthAsking(s.beatAt(b.Guide)) {
		return nil
	}
	return &b
}

// isWorthAsking reports whether enough speaks for a break that is not sure to trouble a
// person with it; beat is the length of a beat there, in seconds. What the playing alone
// shows has to be as likely as a sure one. Of whole beats it is never asked about: what
// is played as well a few beats later in the piece looks the same.
func (b Break) isWorthAsking(beat float64) bool {
	if b.By != "" {
		return b.Gain >= breakTold && b.Margin >= breakDoubt || b.Gain >= breakSure && b.Margin >= breakDoubt/2
	}
	beats := math.Abs(b.Jump) / beat
	whole := math.Round(beats)
	if whole > 0 && math.Abs(beats-whole) < breakOnBeat {
		return false
	}
	return b.Gain >= breakSure && b.Margin >= breakDoubt
}

// best returns the likeliest break.
func (s *breakScan) best(hints []Hint) (Break, bool) {
	if len(s.at) < 8 {
		return Break{}, false
	}
	whole := s.unbroken()
	var splits []split
	for _, x := range s.shifted() {
		splits = append(splits, s.jumps(x)...)
	}
	for _, h := range hints {
		splits = append(splits, s.hinted(h)...)
	}
	for i := range splits {
		switch splits[i].by {
		case "device":
			splits[i].v -= whole - deviceHint
			continue
		case "silence":
			splits[i].v -= whole - breakHint
			continue
		case "picture":
			splits[i].v -= whole - pictureHint
			continue
		}
		// Small jumps are as common as ones twice as large: 1/x.
		splits[i].v -= whole + math.Log(math.Max(0.03, math.Abs(splits[i].last-splits[i].first))/0.1)
	}
	slices.SortStableFunc(splits, func(a, b split) int { return cmp.Compare(b.v, a.v) })
	if len(splits) == 0 || splits[0].v <= 0 {
		return Break{}, false
	}
	top := splits[0]
	if math.IsNaN(top.at) || top.by == "" {
		top = s.polished(top)
	}
	b := Break{Gain: top.v, Margin: math.Inf(1), Jump: top.last - top.first, By: top.by}
	for _, x := range splits[1:] {
		if math.Abs(x.last-x.first-b.Jump) > breakApart {
			b.Margin, b.Rival = top.v-x.v, x.last-x.first
			break
		}
	}
	clock := 1 + s.t.ppm*1e-6
	b.Offset = s.o + top.first
	b.At = (s.extra(top) - s.o) / clock
	if top.by != "" && !math.IsNaN(top.at) {
		b.At = top.at
	}
	b.Guide = b.Offset + b.At*clock
	return b, true
}
