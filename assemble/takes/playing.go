package takes

import (
	"math"
	"strings"
	"unicode"

	"ripieno/assemble/production"
	"ripieno/assemble/store"
	"ripieno/assemble/task"
	"ripieno/mix/playing"
	"ripieno/mix/tempo/score"
)

// costTones is the estimated cost in seconds of one core for each second of a
// recording.
const costTones = 0.01

// The type that is stored of steady tones, with the number it has for ever.
var _ = store.Number(11, &playing.Tones{})

// tonesTask finds a recording's steady tones.
func tonesTask(r *Recording) task.Ref[*playing.Tones] {
	t := task.Task{
		ID: task.ID("tones", r.Name()), Stage: "pitch", Cost: costTones,
		Action: store.NewAction("tones").Version(playing.Version),
	}
	return listenTask(t, r, playing.Listen)
}

// Tones returns the task that finds the steady tones of what is heard of the
// take; zero when its place is not known.
func (t Take) Tones() task.Ref[*playing.Tones] {
	if t.Heard == nil || !t.Heard.Usable() {
		return task.Ref[*playing.Tones]{}
	}
	return tonesTask(t.Heard)
}

// Playing describes how every take was played whose place is sure, from a run of the
// takes' Tones; the result is keyed by take. It fails when what is stored cannot be
// read.
func (s *Set) Playing(man *production.Production, res task.Result) (map[string]playing.Report, error) {
	var takes []playing.Take
	for _, t := range s.Takes {
		if t.Heard == nil || !t.Heard.Usable() || t.Heard.Features == nil {
			continue
		}
		one := expectPlaying(man, t.Take)
		one.Features, one.Clock = t.Heard.Features, t.Heard.Place.Clock()
		var err error
		if one.Tones, _, err = t.Tones().Result(res); err != nil {
			return nil, err
		}
		takes = append(takes, one)
	}
	out := map[string]playing.Report{}
	for _, r := range playing.Compare(man.Tempo, man.Guide.PitchHz, takes) {
		out[r.Name] = r
	}
	return out, nil
}

// expectPlaying returns a take as the manifest and the score know it.
func expectPlaying(man *production.Production, t *production.Take) playing.Take {
	piece := Piece(man, t)
	out := playing.Take{Name: t.Name, Part: partName(t.Part), From: piece.Start, To: piece.End}
	if t.TrimFrom != nil && t.TrimFrom.Edge == production.Moment {
		out.From = max(out.From, t.TrimFrom.Seconds)
	}
	if t.TrimTo != nil && t.TrimTo.Edge == production.Moment {
		out.To = min(out.To, t.TrimTo.Seconds)
	}
	for _, m := range t.Strip.Mutes {
		span := playing.Span{From: math.Inf(-1), To: math.Inf(1)}
		if m.From.Edge == production.Moment {
			span.From = m.From.Seconds
		}
		if m.To.Edge == production.Moment {
			span.To = m.To.Seconds
		}
		out.Quiet = append(out.Quiet, span)
	}
	if part := scorePart(man, t.Part); part != nil {
		for _, o := range part.Onsets {
			if at := man.Tempo.SecondsAt(o.Quarter); at >= out.From-1e-6 && at < out.To {
				out.Score = append(out.Score, playing.Note{At: at, MIDI: o.Note})
			}
		}
	}
	return out
}

// scorePart returns the part of the score that has a take's name, nil for none:
// "Horn 2" and "horn II." are not told to be one, and two parts of a name are
// nobody's.
func scorePart(man *production.Production, name string) *score.Part {
	if man.Score == nil || partName(name) == "" {
		return nil
	}
	var found *score.Part
	for i := range man.Score.Parts {
		if part := &man.Score.Parts[i]; partName(part.Name) == partName(name) {
			if found != nil {
				return nil
			}
			found = part
		}
	}
	return found
}

// partName returns a part's name as far as it tells parts apart: letters and
// figures in lower case, with single spaces.
func partName(name string) string {
	return strings.Join(strings.FieldsFunc(strings.ToLower(name), func(r rune) bool {
		return !unicode.IsLetter(r) && !unicode.IsNumber(r)
	}), " ")
}
