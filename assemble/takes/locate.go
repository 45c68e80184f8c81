package takes

import (
	"context"
	"errors"
	"slices"

	"ripieno/assemble/production"
	"ripieno/assemble/session"
	"ripieno/assemble/task"
	"ripieno/mix/align"
)

// Also is what [Locate] finds out besides where takes lie, at the same time, so that the
// cores have more to choose from.
type Also int

const (
	// Players has pictures looked through for them; see [Set.DetectSubjects].
	Players Also = 1 + iota
	// CutPlayers does so only where much of the picture is cut away: in a first look, too, no
	// player of an upright take shall lose their head in a wide film.
	CutPlayers
)

// PlayersFor returns whose pictures are looked through while sounds are heard. A first
// look spares those that are hardly cut: looking took a third of its time. Of a rough cut
// only the plan tells which ones it needs; see [Set.LookOnlyAt].
func PlayersFor(rough, firstLook bool) []Also {
	switch {
	case firstLook:
		return []Also{CutPlayers}
	case rough:
		return nil
	}
	return []Also{Players}
}

// Locate looks at every file of every take, measures those that can be read and
// places all of them together. What one file lacks is in its own Err or Place;
// the error is only for what stops everything. sync.yaml is written with what
// was measured. It runs what it needs at once, in several runs: each step decides
// what the next one has to listen to.
func Locate(ctx context.Context, s *session.Session, also ...Also) (*Set, error) {
	set, err := Inspect(ctx, s)
	if err != nil {
		return nil, err
	}
	switch {
	case slices.Contains(also, Players):
		set.looked.plan(set, s, nil)
	case slices.Contains(also, CutPlayers):
		set.looked.plan(set, s, func(r *Recording) bool { return r.isCut(s.Manifest().Picture) })
	}
	set.inspectRoom(ctx, s)
	set.recall(s)
	if err := set.place(ctx, s); err != nil {
		return nil, err
	}
	set.compareGuides(s.Manifest())
	if set.doubtsTempo() {
		s.Message("most recordings do not fit the tempo of the manifest: check count_in, meter, bpm and measures first")
	}
	if err := set.matchLight(ctx, s); err != nil {
		return nil, err
	}
	return set, set.writeMeasured(ctx, s.Manifest().Dir)
}

// listened is what is known of all sounds together.
type listened struct {
	res    task.Result
	inputs []align.Recording
	pairs  []align.Pair
	placed map[string]align.Placement
	// unmended are the recordings that could not be mended, and are taken as they are.
	unmended map[string]bool
}

// place listens to every sound and decides where every recording lies. The order
// matters: a wrong label makes a sound look broken, and clicks that leak into a
// microphone look like playing in time.
func (s *Set) place(ctx context.Context, x *session.Session) error {
	var l listened
	if err := s.listen(ctx, x, &l); err != nil {
		return err
	}
	if err := s.relabel(ctx, x, &l); err != nil {
		return err
	}
	if err := s.unclick(ctx, x, &l); err != nil {
		return err
	}
	if err := s.mendBroken(ctx, x, &l); err != nil {
		return err
	}
	if err := s.unclick(ctx, x, &l); err != nil { // what was mended was listened to anew
		return err
	}
	for i := range s.Takes {
		t := &s.Takes[i]
		for _, r := range t.Recordings() {
			r.Place = l.placed[r.Name()]
			for _, b := range r.Broken {
				r.Place.Evidence = append(r.Place.Evidence, b.String())
			}
		}
		t.Heard = t.heard()
	}
	return nil
}

// listen measures every sound that was not measured yet and places all recordings. It
// may be called again with other sounds, and then measures only what has changed.
func (s *Set) listen(ctx context.Context, x *session.Session, l *listened) error {
	var sounds, edges []task.Edge
	for _, r := range s.Recordings() {
		if r.HasSound() {
			sounds, edges = append(sounds, r.Sound), append(edges, r.refs.features)
		}
	}
	s.matchTasks()
	for _, t := range s.Takes {
		if t.Audio != nil && !t.Audio.refs.match.IsZero() {
			edges = append(edges, t.Audio.refs.match)
		}
	}
	looks := s.looked.toRun()
	res, err := x.Run(ctx, task.Collect(slices.Concat(sounds, edges, looks)...))
	if err != nil {
		return err
	}
	if looks != nil {
		s.looked.res = &res
	}
	if failed := s.unmend(res); len(failed) > 0 {
		if l.unmended == nil {
			l.unmended = map[string]bool{}
		}
		for _, name := range failed {
			l.unmended[name] = true
			x.Message(s.byName(name).File.Path + ": its parts could not be put together; it is used as it is")
		}
		s.Count.Run += res.Stats.Run
		return s.listen(ctx, x, l)
	}
	if l.placed == nil {
		s.Count = session.Count(res.Stats)
	} else {
		s.Count.Run += res.Stats.Run // the others were counted
	}
	l.res = res
	if l.inputs, err = s.alignInputs(res, x.Manifest()); err != nil {
		return err
	}
	if l.pairs, err = s.matches(res); err != nil {
		return err
	}
	l.placed = placeAll(x.Manifest(), l.inputs, l.pairs)
	s.remember(x.Manifest(), l.placed)
	return nil
}

// heard returns the recording whose sound the mix uses, or would use if its
// place were known; nil for none.
func (t Take) heard() *Recording {
	var best *Recording
	for _, r := range t.Recordings() {
		if r.HasSound() && (best == nil || r.Usable() && (!best.Usable() || r.Role == Audio)) {
			best = r
		}
	}
	return best
}

// alignInputs returns what align has to know of every recording, and keeps what
// was heard of each. One whose sound could not be heard is refused with the reason,
// and the others go on.
func (s *Set) alignInputs(res task.Result, man *production.Production) ([]align.Recording, error) {
	var inputs []align.Recording
	for _, t := range s.Takes {
		for _, r := range t.Recordings() {
			if r.Err != nil {
				continue
			}
			in := align.Recording{
				Name: r.Name(), Take: t.Name, Role: string(r.Role),
				CueAt: r.cueAt(), Offset: r.File.Offset, DriftPPM: r.File.DriftPPM,
				AsPlayed: t.Timing == production.AsPlayed,
			}
			if part := scorePart(man, t.Part); part != nil {
				in.Onsets = part.Seconds(man.Tempo)
			}
			if r.Info.Audio != nil {
				f, ok, err := r.refs.features.Result(res)
				if err != nil {
					return nil, err
				}
				if !ok {
					r.Refuse(errors.Join(r.Sound.Outcome(res).Err, r.refs.features.Outcome(res).Err))
					continue
				}
				in.Features, r.Features = f, f
			}
			inputs = append(inputs, in)
		}
	}
	return inputs, nil
}

// matches returns how the devices of each player go together, as far as they
// could be compared.
func (s *Set) matches(res task.Result) ([]align.Pair, error) {
	var pairs []align.Pair
	for _, t := range s.Takes {
		if t.Audio == nil {
			continue
		}
		m, ok, err := t.Audio.refs.match.Result(res)
		if err != nil {
			return nil, err
		}
		if ok {
			pairs = append(pairs, align.Pair{A: t.Video.Name(), B: t.Audio.Name(), Match: m})
		}
	}
	return pairs, nil
}

// doubtsTempo reports whether the manifest's tempo is the likelier culprit than
// the recordings: most of three or more, each held against the guide it was
// recorded to, fit another far better, and no guide of before explains that.
func (s *Set) doubtsTempo() bool {
	heard, other := 0, 0
	for _, r := range s.Recordings() {
		if r.HasSound() && r.File.Offset == nil && r.File.CueAt == nil {
			heard++
			if r.Place.OtherTempo != 0 && r.playedTo == "" {
				other++
			}
		}
	}
	return heard >= 3 && 2*other > heard
}

// cueAt returns the whole time of the cue that the manifest gives; nil for none.
func (r *Recording) cueAt() *float64 {
	if r.File.CueAt == nil {
		return nil
	}
	at := r.Parts.Whole(*r.File.CueAt)
	return &at
}
