package align

import (
	"cmp"
	"math"
	"slices"

	"ripieno/mix/tempo"
)

// Break is a place at which a recording is not one piece of time: samples were
// dropped there, something was cut out, or something was put in.
type Break struct {
	Name string // of the recording
	// At is the second of the file at which the first part ends. The place between
	// two notes is not known, so it is in the middle of them.
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
	// that is digitally silent, "device" of the player's other recording, "" of nothing.
	By string
	// Sure reports whether the recording may be taken for two parts without asking.
	Sure bool
}

// Hint is a break that something other than the playing shows.
type Hint struct {
	At, Jump float64 // as in [Break]
	By       string
}

// Bounds of what is looked for.
const (
	breakReach   = 12.4  // seconds that a part may be displaced by
	breakStep    = 0.01  // between two displacements tried
	breakNotes   = 5.0   // weight of the notes that each part needs
	breakApart   = 0.07  // seconds by which two jumps differ at least
	breakPeaks   = 6     // places that are weighed closely
	breakEdges   = 48    // places that are tried
	breakSlack   = 0.05  // seconds before its first note at which a part begins at most
	breakRhythm  = 0.5   // weight of the others' rhythm
	breakHint    = 5.0   // nats for a jump as long as a silence
	deviceHint   = 12.0  // nats for a jump that shows between two devices: one of them has it
	breakSilence = -98.0 // dBFS, of what is digitally silent
	mostSilences = 12
	breakTold    = 7.0  // nats from which a break is told when it leads over the next best
	breakDoubt   = 2.0  // by so many, or by half of them and
	breakSure    = 9.0  // nats speak for it; it is believed when it leads
	breakClear   = 3.0  // by so many
	breakLate    = 0.07 // seconds from its place at which a note is still taken for it
	breakBins    = 64   // of a beat
	breakLeast   = 0.25 // of the onset curve, from which something sets in
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
	phases := newBeatPhases(g)
	var out []Break
	for k, t := range takes {
		if recs[k].Offset != nil || recs[k].CueAt != nil || len(t.f.Events) == 0 || placed[k].Method == "none" {
			continue
		}
		s := newBreakScan(g, phases, t, placed[k].Offset, companyOf(g, phases, takes, placed, t.voice()))
		b, ok := s.best(append(s.silences(), hints[recs[k].Name]...))
		if ok && (b.Gain >= breakTold && b.Margin >= breakDoubt || b.Gain >= breakSure && b.Margin >= breakDoubt/2) {
			b.Name, b.Sure = recs[k].Name, b.Margin >= breakClear && (b.Gain >= breakSure || b.By != "")
			out = append(out, b)
		}
	}
	return out
}

// company is everybody who is sure but one voice: their harmony and when their notes
// begin.
type company struct {
	choir
	begins []float64 // every CurveHop from the grid's start, against what the place in the beat lets expect, in nats
}

func companyOf(g *grid, p *beatPhases, takes []*take, placed []Placement, voice string) *company {
	c := &company{choir: *newChoir(g)}
	dense := make([]float64, int((g.end-g.start)/CurveHop)+1)
	for k, t := range takes {
		if !placed[k].Sure || t.voice() == voice {
			continue
		}
		ppm := t.ppm
		t.ppm = placed[k].DriftPPM
		c.add(g, t, placed[k].Offset, nil, 1)
		for i, e := range t.f.Events {
			at := t.guide(placed[k].Offset, i) + e.Heard - e.Time
			if n := int((at - g.start) / CurveHop); n >= 0 && n < len(dense) {
				dense[n] += t.weight[i]
			}
		}
		t.ppm = ppm
	}
	dense = smooth(dense, 6)
	// Beats carry notes in all music: what tells one from another is what is left
	// when that is taken out.
	var sum, count [breakBins]float64
	bins := make([]int, len(dense))
	for n, v := range dense {
		bins[n] = p.at(g.start + float64(n)*CurveHop)
		if bins[n] >= 0 {
			sum[bins[n]] += v
			count[bins[n]]++
		}
	}
	var all float64
	for _, v := range dense {
		all += v / float64(len(dense))
	}
	c.begins = make([]float64, len(dense))
	for n, v := range dense {
		if k := bins[n]; k >= 0 && all > 0 {
			usual := sum[k] / math.Max(1, count[k])
			c.begins[n] = math.Log((v + all) / (usual + all))
		}
	}
	return c
}

// beatPhases tells where in its beat every moment lies.
type beatPhases struct {
	from float64
	bin  []int16 // every breakStep/2; -1 outside the piece
}

func newBeatPhases(g *grid) *beatPhases {
	p := &beatPhases{from: g.start}
	var beats []tempo.Beat
	for _, b := range g.beats {
		if !b.CountIn && b.Length > 0 {
			beats = append(beats, b)
		}
	}
	k := 0
	for at := g.start; at < g.end && len(beats) > 0; at += breakStep / 2 {
		for k+1 < len(beats) && beats[k+1].Seconds <= at {
			k++
		}
		p.bin = append(p.bin, int16(breakBins*(at-beats[k].Seconds)/beats[k].Length)%breakBins)
	}
	return p
}

// at is the bin of a guide time; -1 outside the piece.
func (p *beatPhases) at(guide float64) int {
	i := int((guide-p.from)/(breakStep/2) + 0.5)
	if i < 0 || i >= len(p.bin) {
		return -1
	}
	return int(p.bin[i])
}

// breakScan holds what is needed to weigh the breaks of one file.
type breakScan struct {
	g     *grid
	p     *beatPhases
	t     *take
	c     *company
	o     float64   // the base place
	at    []float64 // guide seconds of what sets in, at the base place
	w     []float64
	sound *scan
}

// split is one way to cut a file in two.
type split struct {
	k     int     // the second part begins with this note
	first float64 // displacement of the first part
	last  float64 // of the second
	v     float64 // nats
	by    string  // what shows it beside the playing, and
	at    float64 // the second of the file where it does
}

func newBreakScan(g *grid, p *beatPhases, t *take, o float64, c *company) *breakScan {
	s := &breakScan{g: g, p: p, t: t, c: c, o: o, sound: &scan{g: g, t: t, clock: 1 + t.ppm*1e-6}}
	s.sound.prepare()
	for i, e := range t.f.Events {
		at := t.guide(o, i) + e.Heard - e.Time
		if w := t.weight[i]; w > 0.2 && at > g.start-breakReach && at < g.end+breakReach {
			s.at, s.w = append(s.at, at), append(s.w, w)
		}
	}
	return s
}

// profile is how likely a note of this file is at each place of the beat, as the log
// of its density against chance.
type beatProfile [breakBins]float64

// fold returns the profile of the notes displaced by d(i).
func (s *breakScan) fold(d func(i int) float64) beatProfile { return s.foldPart(0, len(s.at), d) }

// foldPart is fold of some of the notes.
func (s *breakScan) foldPart(from, to int, d func(i int) float64) (p beatProfile) {
	var sum [breakBins]float64
	total := 0.0
	for i := from; i < to; i++ {
		x := d(i)
		if math.IsNaN(x) {
			continue
		}
		if k := s.p.at(s.at[i] + x); k >= 0 {
			sum[k] += s.w[i]
			total += s.w[i]
		}
	}
	const reach = 5
	for k := range p {
		var v, bell float64
		for j := -reach; j <= reach; j++ {
			b := math.Exp(-float64(j*j) / 8)
			v += b * sum[(k+j+breakBins)%breakBins]
			bell += b
		}
		p[k] = math.Log((v/bell*breakBins + 4) / (total + 4))
	}
	return p
}

// like is what the notes displaced by d(i) say under a profile.
func (s *breakScan) like(p *beatProfile, d func(i int) float64) float64 {
	var v float64
	for i := range s.at {
		v += s.one(p, i, d(i))
	}
	return v
}

// one is what a note says, in nats.
func (s *breakScan) one(p *beatProfile, i int, d float64) float64 {
	if math.IsNaN(d) {
		return 0
	}
	if k := s.p.at(s.at[i] + d); k >= 0 {
		return s.w[i] * p[k]
	}
	return 0
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
		}
		// Small jumps are as common as ones twice as large: 1/x.
		splits[i].v -= whole + math.Log(math.Max(0.03, math.Abs(splits[i].last-splits[i].first))/0.1)
	}
	slices.SortStableFunc(splits, func(a, b split) int { return cmp.Compare(b.v, a.v) })
	if len(splits) == 0 || splits[0].v <= 0 {
		return Break{}, false
	}
	top := splits[0]
	if top.by == "" {
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
	if top.by != "" {
		b.At = top.at
	}
	b.Guide = b.Offset + b.At*clock
	return b, true
}

// edges are the notes before which a second part may begin.
func (s *breakScan) edges() []int {
	n := len(s.at)
	sum := make([]float64, n+1)
	for i, w := range s.w {
		sum[i+1] = sum[i] + w
	}
	var all []int
	for k := 1; k < n; k++ {
		if sum[k] >= breakNotes && sum[n]-sum[k] >= breakNotes {
			all = append(all, k)
		}
	}
	return all
}

// shifted returns the likeliest places of a break, each with by how much of a beat
// the second part is displaced against the first, whatever whole beats are between.
func (s *breakScan) shifted() []split {
	n := len(s.at)
	bins := make([]int, n)
	for i, at := range s.at {
		bins[i] = s.p.at(at)
	}
	edges := s.edges()
	step := 1 + len(edges)/breakEdges
	var all []split
	for e := 0; e < len(edges); e += step {
		k := edges[e]
		zero := func(int) float64 { return 0 }
		p := s.foldPart(0, k, zero)
		q := s.foldPart(k, n, zero)
		var v [breakBins]float64
		for x := range v {
			for i := k; i < n; i++ {
				if bins[i] >= 0 {
					v[x] += s.w[i] * p[(bins[i]+x)%breakBins]
				}
			}
			for i := 0; i < k; i++ {
				if bins[i] >= 0 {
					v[x] += s.w[i] * q[(bins[i]-x+breakBins)%breakBins]
				}
			}
		}
		for x := range v {
			if v[x] >= v[(x+1)%breakBins] && v[x] > v[(x+breakBins-1)%breakBins] {
				all = append(all, split{k: k, last: float64(x) / breakBins, v: v[x] - v[0]})
			}
		}
	}
	slices.SortStableFunc(all, func(a, b split) int { return cmp.Compare(b.v, a.v) })
	out := []split{}
	for _, x := range all {
		if len(out) == breakPeaks {
			break
		}
		if !slices.ContainsFunc(out, func(y split) bool {
			d := math.Abs(x.last - y.last)
			return math.Min(d, 1-d) < 0.06 && math.Abs(s.at[x.k]-s.at[y.k]) < 6
		}) {
			out = append(out, x)
		}
	}
	return out
}

// hinted returns the splits of a break that something else shows.
func (s *breakScan) hinted(h Hint) []split {
	at := s.o + (h.At+math.Max(0, -h.Jump))*(1+s.t.ppm*1e-6)
	k, _ := slices.BinarySearch(s.at, at-breakSlack/2)
	if k == 0 || k >= len(s.at) {
		return nil
	}
	out := []split{{k: k, last: h.Jump, by: h.By, at: h.At}, {k: k, first: -h.Jump, by: h.By, at: h.At}}
	for i := range out {
		out[i].v = s.weighed(out[i])
	}
	return out
}

// silences are the stretches inside the file that are digitally silent, as breaks:
// what a recorder writes when it has nothing to write.
func (s *breakScan) silences() []Hint {
	f := s.t.f
	most := min(breakSilence, f.NoiseDB-10)
	var out []Hint
	from := -1
	for i := range f.Level {
		if float64(f.Level[i])/2-120 <= most {
			if from < 0 {
				from = i
			}
			continue
		}
		if from > 0 {
			// The steps at both ends are silent in part.
			out = append(out, Hint{At: (float64(from) - 0.5) * levelHop, Jump: -float64(i-from+1) * levelHop, By: "silence"})
		}
		from = -1
	}
	if len(out) > mostSilences {
		return nil // a gate
	}
	return out
}

// jumps returns the likeliest whole jumps of a break whose part of a beat is known.
func (s *breakScan) jumps(x split) []split {
	beat := s.beatAt(s.at[x.k])
	var out []split
	for m := math.Ceil(-breakReach/beat - x.last); m <= breakReach/beat-x.last; m++ {
		d := (m + x.last) * beat
		for _, y := range [...]split{{k: x.k, last: d}, {k: x.k, first: -d}} {
			y.v = s.weighed(y)
			out = append(out, y)
		}
	}
	slices.SortStableFunc(out, func(a, b split) int { return cmp.Compare(b.v, a.v) })
	out = out[:min(6, len(out))]
	for i := range out {
		out[i] = s.tuned(out[i])
	}
	return out
}

// beatAt is the length of the beat at a guide time, seconds.
func (s *breakScan) beatAt(guide float64) float64 {
	length := s.g.startBeat().Length
	for _, b := range s.g.beats {
		if !b.CountIn && b.Seconds <= guide {
			length = b.Length
		}
	}
	return length
}

// tuned moves the edge and the second part of a split to where they fit best.
func (s *breakScan) tuned(x split) split {
	best := x
	for _, k := range s.edges() {
		if math.Abs(s.at[k]-s.at[x.k]) < 3 {
			y := x
			y.k = k
			if y.v = s.weighed(y); y.v > best.v {
				best = y
			}
		}
	}
	for j := -5; j <= 5; j++ {
		y := best
		if x.first == 0 {
			y.last = x.last + float64(j)*breakStep
		} else {
			y.first = x.first + float64(j)*breakStep
		}
		if y.v = s.weighed(y); y.v > best.v {
			best = y
		}
	}
	return best
}

// polished moves the second part of a split so that its notes are as late as those of
// the first, on average.
func (s *breakScan) polished(x split) split {
	var all [classes]bool
	for c := range all {
		all[c] = true
	}
	d := s.displaced(x)
	var late [2][]float64
	for i, at := range s.at {
		move := d(i)
		if math.IsNaN(move) || s.w[i] < 0.4 {
			continue
		}
		if slot := s.g.nearestOf(at+move, all); slot != nil && math.Abs(slot.at-at-move) < breakLate {
			part := 0
			if i >= x.k {
				part = 1
			}
			late[part] = append(late[part], at+move-slot.at)
		}
	}
	if len(late[0]) < minNotes || len(late[1]) < minNotes {
		return x
	}
	x.last -= median(late[1]) - median(late[0])
	return x
}

// weighed is what speaks for a split, in nats.
func (s *breakScan) weighed(x split) float64 {
	d := s.displaced(x)
	p := s.fold(d)
	return s.like(&p, d) + s.others(x) + s.rhythm(d) + s.ending(x)
}

// displaced returns by how much every note is moved in a split; NaN for one that is
// in no part.
func (s *breakScan) displaced(x split) func(i int) float64 {
	from := s.extra(x)
	return func(i int) float64 {
		switch {
		case i >= x.k:
			return x.last
		case s.at[i] > from:
			return math.NaN()
		}
		return x.first
	}
}

// extra is the guide time, at the base place, from which on to the second part the
// file holds what is in no part; that part's first note where it holds no such thing.
func (s *breakScan) extra(x split) float64 {
	return s.at[x.k] + math.Min(0, x.last-x.first+breakSlack)
}

// rhythm is what the others' notes say for the notes displaced by d(i), in nats.
func (s *breakScan) rhythm(d func(i int) float64) float64 {
	var v float64
	for i, at := range s.at {
		x := d(i)
		if math.IsNaN(x) {
			continue
		}
		if n := int((at + x - s.g.start) / CurveHop); n >= 0 && n < len(s.c.begins) {
			v += s.w[i] * s.c.begins[n]
		}
	}
	return breakRhythm * v
}

// ending is what the end of the sound says: it ends with the piece.
func (s *breakScan) ending(x split) float64 {
	o := s.o + x.last
	last := s.g.beats[len(s.g.beats)-1].Length
	end, _ := s.sound.span(o, s.g.end-3*last, s.g.end-0.2)
	after, held := s.sound.span(o, s.g.end+0.4, s.g.end+1.4)
	return weights[sound] * (0.5*end - held*after)
}

// unbroken is how well the notes lie in one piece, with the best clock.
func (s *breakScan) unbroken() float64 {
	best := math.Inf(-1)
	mid := (s.at[0] + s.at[len(s.at)-1]) / 2
	for ppm := -600.0; ppm <= 600; ppm += 100 {
		d := func(i int) float64 { return (s.at[i] - mid) * ppm * 1e-6 }
		p := s.fold(d)
		best = math.Max(best, s.like(&p, d)+s.rhythm(d))
	}
	return best + s.others(split{}) + s.ending(split{})
}

// others is what the harmony of the others says for a split, in nats.
func (s *breakScan) others(x split) float64 {
	if s.c.voices == 0 {
		return 0
	}
	unit := s.c.units()
	f, clock := s.t.f, 1+s.t.ppm*1e-6
	edge, from := math.Inf(1), math.Inf(1) // seconds of the file
	if x.k > 0 {
		edge, from = (s.at[x.k]-s.o)/clock, (s.extra(x)-s.o)/clock
	}
	var sum float64
	for i := range f.Chroma {
		file := float64(i) * ChromaHop
		d := x.first
		if file >= edge {
			d = x.last
		} else if file >= from {
			continue
		}
		k := int(math.Round((s.o + d + file*clock - s.g.start) / ChromaHop))
		if k < 0 || k >= len(unit) {
			continue
		}
		for p, v := range f.Chroma[i] {
			sum += unit[k][p] * float64(v)
		}
	}
	return weights[harmony] * sum / 100 / float64(len(unit)) * float64(s.c.voices) / float64(s.c.voices+1)
}
