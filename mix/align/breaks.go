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
	// Rivals are other jumps that are nearly as likely, the likeliest first. From and To are
	// the guide times between which the first part may end. Both are of breaks that are
	// not Sure; else there are no rivals, and From and To are Guide.
	Rivals   []float64
	From, To float64
	// By says what tells how long the jump is beside the playing: "silence" of a stretch
	// that is digitally silent, "device" of the player's other recording, "picture" of its
	// own picture, which is longer than its sound, "splice" of a jump of the waveform (which
	// tells the place alone), "" of nothing.
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
	breakSide    = 2.5   // seconds of the piece that each part holds at least
	breakEdge    = 0.4   // seconds between places that are tried, at least
	breakFine    = 0.1   // the same where they are weighed closely
	breakEdges   = 48    // places that are tried
	breakApart   = 0.07  // seconds by which two jumps differ at least
	breakPeaks   = 8     // jumps that are weighed closely
	breakBlurred = 0.35  // share of what two parts say by each other's profile that they say by a common one
	breakFar     = 15.0  // nats behind the best from which a jump is no rival
	breakHint    = 8.0   // nats for a jump as long as a silence
	holeHint     = 9.0   // nats more where the picture has no frames for as long: as much as a device says
	pictureHint  = 3.0   // nats for a jump as long as the picture is longer than the sound
	deviceHint   = 12.0  // nats for a jump that shows between two devices: one of them has it
	breakSilence = -98.0 // dBFS, of what is digitally silent
	mostSilences = 12
	breakLeast   = 0.025 // seconds; less nobody hears
	breakDropped = 1.0   // nats that every note costs which would be in no part
	breakTold    = 7.0   // nats from which a break that something else shows is told when it leads
	breakDoubt   = 2.0   // by so many over the next best, or by half of them and
	breakSure    = 9.0   // nats speak for it; one that the playing alone shows is asked about then,
	breakAlone   = 12.0  // and believed from so many, when it leads
	breakClear   = 6.0   // by so many, and by a share of what speaks for it: what a place of the beat
	breakShare   = 0.05  // says of a jump, it says of others too
	spliceLead   = 2.0   // nats by which a jump at a splice leads besides,
	silenceLead  = 3.0   // and one as long as a silence
	breakOnBeat  = 0.06  // beats by which a jump is still one of whole or half beats,
	breakHeard   = 6.0   // for which the others' harmony has to say so many nats
	breakMayHear = 2.0   // or so many, to be asked about where it leads
	breakNearly  = 5.0   // nats behind the best within which another jump or place is told with it,
	mostRivals   = 3     // of jumps so many
	breakAsked   = 0.75  // share of all that from which it is told where the file is asked about anyhow
	spliceSteady = 0.25  // share of [steady] that a splice leaves
	breakPutIn   = 2.0   // nats against sound that was put in: recorders lose it, or write silence
	breakWander  = 0.06  // seconds; see steady
	breakPlace   = 4.0   // seconds between which a break that is sure may lie
	breakExact   = 0.05  // seconds by which another jump than a sure one
	breakSharp   = 2.0   // has to be less likely by so many nats
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
			found[k] = t.findBreak(g, p, c, placed[k], hints[recs[k].Name])
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

// findBreak returns the break of a take that was placed when enough speaks for it; nil
// for none.
func (t *take) findBreak(g *grid, p *beatPhases, c *company, placed Placement, hints []Hint) *Break {
	var all []split
	whole := math.Inf(-1)
	for _, o := range bases(placed) {
		s := newBreakScan(g, p, t, o, c)
		if !s.enough() {
			continue
		}
		splits, v := s.splits(append(s.silences(), hints...))
		all, whole = append(all, splits...), math.Max(whole, v)
	}
	for i := range all {
		all[i].v -= whole
	}
	slices.SortStableFunc(all, func(a, b split) int { return cmp.Compare(b.v, a.v) })
	if len(all) == 0 || all[0].v <= 0 {
		return nil
	}
	b := breakOf(all)
	if math.Abs(b.Jump) < breakLeast {
		return nil
	}
	known := b.By == "silence" || b.By == "device" || (b.By == "picture" || b.By == "splice") && b.Gain >= breakSure
	beats := math.Abs(b.Jump) / all[0].scan.beatAt(b.Guide)
	switch b.By { // what shows the place or the length alone is not enough
	case "splice":
		known = known && b.Gain >= breakSure*(1+spliceSteady*steady(b.Jump))
	case "silence":
		known = b.Gain >= breakAlone
	}
	b.Sure = b.Margin >= breakClear+breakShare*b.Gain && (known || b.Gain >= breakAlone*(1+steady(b.Jump)))
	heard := all[0].backed() >= breakHeard
	if b.By == "" && looksLikeRhythm(beats) && !heard {
		b.Sure = false
	}
	if (b.By == "" || b.By == "splice") && all[0].putsIn() && b.Margin < 2*breakClear+breakShare*b.Gain {
		b.Sure = false // a jump by the rest of the beat in the other way is as common
	}
	b.Sure = b.Sure && !all[0].mayBeASum(hints)
	if b.From, b.To = b.Guide, b.Guide; b.Sure && all[0].tellsPlace() && all[0].tellsJump() {
		return &b
	}
	asked := b.Sure // for its place or its length alone
	b.Sure = false
	if !asked && !b.isWorthAsking(beats, all[0].backed(), placed.Sure) {
		if all = atClearSplices(all); len(all) == 0 {
			return nil
		}
		if b = breakOf(all); math.Abs(b.Jump) < breakLeast {
			return nil
		}
		b.Sure = false
	}
	b.Rivals = rivals(all, b.Jump)
	b.From, b.To = all[0].reach()
	return &b
}

// atClearSplices returns those of some splits that lie at a splice too clear to be anything but
// a cut: whatever the playing says, a person is asked.
func atClearSplices(all []split) []split {
	return slices.DeleteFunc(slices.Clone(all), func(x split) bool { return x.by != "splice" || x.over < spliceClear })
}

// rivals returns the jumps of some splits, which are in order, that are nearly as likely as
// the first, which is one of jump seconds.
func rivals(all []split, jump float64) []float64 {
	var out []float64
	for _, x := range all {
		d := x.jump()
		if x.v < all[0].v-math.Max(breakNearly, breakClear+breakShare*all[0].v) || len(out) == mostRivals {
			break
		}
		if math.Abs(d) >= breakLeast && math.Abs(d-jump) > breakApart &&
			!slices.ContainsFunc(out, func(y float64) bool { return math.Abs(d-y) <= breakApart }) {
			out = append(out, d)
		}
	}
	return out
}

// reach returns the guide times between which the first part of a split ends if it is nearly
// as likely there.
func (x split) reach() (from, to float64) {
	at := x.scan.o + x.first + (x.scan.extraFrom(x) - x.scan.o)
	from, to = at, at
	if x.isSeen() {
		return from, to
	}
	best := x.scan.weighed(x)
	for _, way := range [...]float64{-1, 1} {
		for d := breakEdge; d <= breakReach; d += breakEdge {
			y := x
			if y.edge += way * d; x.scan.weighed(y) < best-breakNearly {
				break
			}
			from, to = math.Min(from, at+way*d), math.Max(to, at+way*d)
		}
	}
	return from, to
}

// isSeen reports whether something other than the playing shows where a split lies.
func (x split) isSeen() bool { return x.by != "" && (x.by != "picture" || !math.IsNaN(x.at)) }

// tellsPlace reports whether it is known well enough where a split lies: in a long rest or a
// held note a break may be anywhere, and what is heard in the wrong part would be off by its jump.
func (x split) tellsPlace() bool {
	from, to := x.reach()
	return to-from <= breakPlace
}

// tellsJump reports whether it is known well enough how long a jump is that the playing alone
// tells, or a picture that may end some hundredths before its sound: soft low notes leave it
// open by a tenth of a second.
func (x split) tellsJump() bool {
	if x.isSeen() && x.by != "splice" {
		return true
	}
	top := x.scan.sharpened(x)
	top.v = x.scan.weighed(top)
	for _, d := range [...]float64{-breakExact, breakExact} {
		y := top
		if y.last += d; y.extra {
			y.edge -= d
		}
		if top.v-x.scan.weighed(y) < breakSharp {
			return false
		}
	}
	return true
}

// bases returns the places from which breaks are looked for: where a take was placed, and its
// other candidates when it is not sure, since a break makes a take unsure.
func bases(p Placement) []float64 {
	out := []float64{p.Offset}
	if p.Sure {
		return out
	}
	for _, c := range p.Candidates {
		if !slices.ContainsFunc(out, func(o float64) bool { return math.Abs(o-c.Offset) < breakApart }) {
			out = append(out, c.Offset)
		}
	}
	return out
}

// steady returns by how much more has to speak for a small jump, as a share: players wander by
// some hundredths of a second themselves.
func steady(jump float64) float64 { return math.Pow(breakWander/jump, 2) }

// looksLikeRhythm reports whether a jump of so many beats is one of whole or half beats. A
// part that changes from the beats to the places between them looks the same, and what is
// played as well a few beats later in the piece, too: the others' harmony has to speak.
func looksLikeRhythm(beats float64) bool {
	halves := math.Round(2 * beats)
	return halves > 0 && math.Abs(2*beats-halves) < 2*breakOnBeat
}

// backed returns what the harmony of the others says for a split against one piece, in nats.
func (x split) backed() float64 { return x.scan.others(x) - x.scan.others(split{}) }

// isWorthAsking reports whether enough speaks for a break that is not sure, of so many
// beats, to trouble a person with it. Where the notes leave the beat it is enough that they
// do; for a jump of whole or half beats, which may as well be another rhythm, the others'
// harmony has to say something, and all of it where it is not clear how long the jump is. Of
// a file whose place is not sure the person is asked anyhow, and a break may be why: less is
// enough to name it.
func (b Break) isWorthAsking(beats, backed float64, placed bool) bool {
	share := 1.0
	if !placed {
		share = breakAsked
	}
	told, sure, alone := share*breakTold, share*breakSure, share*breakAlone
	if b.By == "splice" {
		return b.Gain >= told*(1+spliceSteady*steady(b.Jump))
	}
	if b.By != "" {
		return b.Gain >= told && b.Margin >= breakDoubt || b.Gain >= sure && b.Margin >= breakDoubt/2
	}
	if looksLikeRhythm(beats) {
		return b.Gain >= alone && (backed >= breakHeard || b.Margin >= breakDoubt && backed >= breakMayHear)
	}
	most := sure * (1 + steady(b.Jump))
	return b.Gain >= most && b.Margin >= breakDoubt || b.Gain >= 1.5*most
}

// splits returns the likeliest ways to cut the file in two, each with how likely it is, and
// how likely the file is in one piece, in nats.
func (s *breakScan) splits(hints []Hint) (splits []split, whole float64) {
	whole = s.inOnePiece(0)
	splits = s.tunedBest(s.likely(), whole)
	for _, h := range hints {
		splits = append(splits, s.hinted(h)...)
	}
	splits = slices.DeleteFunc(splits, func(x split) bool { return s.deniesHole(x, hints) })
	for i := range splits {
		x := &splits[i]
		x.scan = s
		// In one piece the file may lie elsewhere.
		whole = math.Max(whole, math.Max(s.inOnePiece(x.first), s.inOnePiece(x.last)))
		switch x.by {
		case "device":
			x.v += deviceHint + spliceNats(x.over)
		case "silence":
			x.v += breakHint
		case "picture":
			if x.v += pictureHint + spliceNats(x.over); !math.IsNaN(x.at) {
				x.v += holeHint
			}
		case "splice":
			x.v += spliceNats(x.over) - s.jumpCost(*x)
		default:
			x.v -= s.jumpCost(*x)
		}
	}
	return splits, whole
}

// breakOf returns the break that the first of some splits, which are in order, makes.
func breakOf(splits []split) Break {
	top := splits[0]
	s := top.scan
	if top.by == "" || top.by == "splice" || top.by == "picture" { // which ends when it likes
		top = s.sharpened(top)
	}
	b := Break{Gain: top.v, Margin: math.Inf(1), Jump: top.jump(), By: top.by}
	for _, x := range splits[1:] {
		if math.Abs(x.jump()-b.Jump) > breakApart {
			b.Margin, b.Rival = top.v-x.v, x.jump()
			switch {
			case top.by == "silence":
				b.Margin += silenceLead
			case top.by == "splice":
				b.Margin += spliceLead
			}
			break
		}
	}
	clock := s.t.ratio()
	b.Offset = s.o + top.first
	b.At = (s.extraFrom(top) - s.o) / clock
	if top.by != "" && top.over == 0 && !math.IsNaN(top.at) {
		b.At = top.at
	}
	b.Guide = b.Offset + b.At*clock
	return b
}
