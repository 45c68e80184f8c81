package assemble

import (
	"math"
	"strings"
	"unicode"

	"ripieno/assemble/manifest"
	"ripieno/assemble/store"
	"ripieno/assemble/task"
	"ripieno/mix/align"
	"ripieno/mix/playing"
	"ripieno/mix/tempo/score"
)

// costTones is the estimated cost in seconds of one core for each second of a
// recording.
const costTones = 0.01

func tonesID(r *recording) string { return "tones/" + r.name() }

// tonesTask finds a recording's steady tones.
func (p *Production) tonesTask(r *recording) task.Task {
	key := store.NewAction("tones").Version(playing.Version).Input("sound", p.soundKey(r).ID()).Ext(".gob").For(r.file.Path)
	return listenTask(tonesID(r), "pitch", key, r, costTones, playing.Listen)
}

// heard is the recording of each take whose sound the mix uses, or would use
// if its place were known; nil for none.
func (p *Production) heard(all []located) []*located {
	out := make([]*located, len(p.Manifest().Takes))
	for i := range all {
		l := &all[i]
		if l.err != nil || l.info.Audio == nil {
			continue
		}
		if old := out[l.take]; old == nil || l.usable() && (!old.usable() || l.role == roleAudio) {
			out[l.take] = l
		}
	}
	return out
}

// playing describes how every take was played whose place is sure; the result
// is keyed by take.
func (p *Production) playing(heard []*located, features []*align.Features, res task.Result) (map[string]playing.Report, error) {
	var takes []playing.Take
	for i, l := range heard {
		if l == nil || !l.usable() || features[i] == nil {
			continue
		}
		t := p.played(p.Manifest().Takes[i])
		t.Features, t.Clock = features[i], l.place.Clock()
		if path := res.Path(tonesID(l.recording)); path != "" {
			var err error
			if t.Tones, err = store.Load[*playing.Tones](path); err != nil {
				return nil, err
			}
		}
		takes = append(takes, t)
	}
	out := map[string]playing.Report{}
	for _, r := range playing.Compare(p.Manifest().Tempo, p.Manifest().Guide.PitchHz, takes) {
		out[r.Name] = r
	}
	return out, nil
}

// played is a take as the manifest and the score know it.
func (p *Production) played(t manifest.Take) playing.Take {
	piece := p.piece(t)
	out := playing.Take{Name: t.Name, Part: partName(t.Part), From: piece.Start, To: piece.End}
	if t.TrimFrom != nil && t.TrimFrom.Edge == manifest.Moment {
		out.From = max(out.From, t.TrimFrom.Seconds)
	}
	if t.TrimTo != nil && t.TrimTo.Edge == manifest.Moment {
		out.To = min(out.To, t.TrimTo.Seconds)
	}
	for _, m := range t.Strip.Mutes {
		span := playing.Span{From: math.Inf(-1), To: math.Inf(1)}
		if m.From.Edge == manifest.Moment {
			span.From = m.From.Seconds
		}
		if m.To.Edge == manifest.Moment {
			span.To = m.To.Seconds
		}
		out.Quiet = append(out.Quiet, span)
	}
	if part := p.scorePart(t.Part); part != nil {
		for _, o := range part.Onsets {
			if at := p.Manifest().Tempo.SecondsAt(o.Quarter); at >= out.From-1e-6 && at < out.To {
				out.Score = append(out.Score, playing.Note{At: at, MIDI: o.Note})
			}
		}
	}
	return out
}

// scorePart is the part of the score that has a take's name, nil for none:
// "Horn 2" and "horn II." are not told to be one, and two parts of a name are
// nobody's.
func (p *Production) scorePart(name string) *score.Part {
	if p.Manifest().Score == nil || partName(name) == "" {
		return nil
	}
	var found *score.Part
	for i := range p.Manifest().Score.Parts {
		if part := &p.Manifest().Score.Parts[i]; partName(part.Name) == partName(name) {
			if found != nil {
				return nil
			}
			found = part
		}
	}
	return found
}

// partName is a part's name as far as it tells parts apart: letters and
// figures in lower case, with single spaces.
func partName(name string) string {
	return strings.Join(strings.FieldsFunc(strings.ToLower(name), func(r rune) bool {
		return !unicode.IsLetter(r) && !unicode.IsNumber(r)
	}), " ")
}
