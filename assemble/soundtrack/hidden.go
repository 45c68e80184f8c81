package soundtrack

import (
	"context"
	"fmt"
	"math"
	"path/filepath"
	"strings"

	"ripieno/assemble/media"
	"ripieno/assemble/store"
	"ripieno/assemble/task"
	"ripieno/mix/mask"
	"ripieno/mix/tempo"
)

// costBands is the estimated cost in seconds of one core of a second of a voice.
const costBands = 0.003

// The type that is stored of a voice's levels, with the number it has for ever.
var _ = store.Number(41, &mask.Levels{})

// bandsTask measures how loud a voice is in every critical band.
func bandsTask(r Sound, take string, voice task.Ref[string], seconds float64) task.Ref[*mask.Levels] {
	t := task.Task{
		ID: task.ID("bands", r.Name), Name: take, Stage: "measure", Cost: costBands * seconds,
		Action: store.NewAction("bands").Version(mask.Version),
	}
	t.Needs("voice", voice)
	t.Action = t.Action.Ext(".gob").For(take)
	t.Make = func(_ context.Context, in task.Inputs, tmp string, _ func(float64)) error {
		dir, err := voice.Read(in)
		if err != nil {
			return err
		}
		return measureBands(dir, tmp)
	}
	return task.Value[*mask.Levels](t)
}

// measureBands stores how loud the voice in dir is in every critical band.
func measureBands(dir, tmp string) error {
	wav, err := media.OpenWAV(filepath.Join(dir, voiceWAV))
	if err != nil {
		return err
	}
	defer wav.Close()
	l, err := mask.Listen(wav)
	if err != nil {
		return err
	}
	return store.Save(tmp, l)
}

// Bands returns the tasks that say who is hidden, which [Track.Find] reads.
func (t *Track) Bands() []task.Edge {
	var list []task.Edge
	for _, p := range t.parts {
		list = append(list, p.bands)
	}
	return list
}

// HiddenResult is how far a part is covered by the others. Those who play the
// same part are heard together. Fields are added, never renamed.
type HiddenResult struct {
	Share float64      `json:"share"`   // of the time in which it plays, 0 to 1
	Lift  float64      `json:"lift_db"` // that would bring most of it out
	Spans []HiddenSpan `json:"spans"`   // of two seconds or more; guide time
}

// HiddenSpan is a stretch of guide time, in seconds.
type HiddenSpan struct {
	From     float64 `json:"from"`
	To       float64 `json:"to"`
	Measures string  `json:"measures"` // such as m12 to m15
}

// hidden returns for every strip how far its part is covered, and how far where it has the
// melody; nil for not at all. A voice that could not be measured is left out. melody
// has the guide frames of each strip's melodies, in the order of strips.
func (t *Track) hidden(rep Report, res task.Result, music *tempo.Map, melody [][]mask.Span) (all,
	tunes []*HiddenResult, err error) {
	more, err := t.blended(res)
	if err != nil {
		return nil, nil, err
	}
	var strips []mask.Strip
	var spans [][]mask.Span
	var at []int
	for i, p := range t.parts {
		l, ok, err := p.bands.Result(res)
		if err != nil {
			return nil, nil, err
		}
		if ok {
			at = append(at, i)
			spans = append(spans, melody[i])
			strips = append(strips, mask.Strip{Levels: l, From: rep.Voices[i].From, Gain: rep.Gains[i],
				Group: p.group(), Moves: movesOf(p.Lifts, more[i])})
		}
	}
	results := func(found []mask.Hidden) []*HiddenResult {
		out := make([]*HiddenResult, len(t.parts))
		for k, h := range found {
			if h.Share > 0 {
				out[at[k]] = hiddenResult(h, music)
			}
		}
		return out
	}
	return results(mask.Find(strips)), results(mask.FindWithin(strips, spans)), nil
}

// group returns who is heard together with a strip: all of its part, or the take
// alone where it names none.
func (p part) group() string {
	if name := strings.ToLower(strings.TrimSpace(p.Part)); name != "" {
		return "part " + name
	}
	return "take " + p.Take
}

// hiddenResult says it for people and programs.
func hiddenResult(h mask.Hidden, music *tempo.Map) *HiddenResult {
	r := &HiddenResult{Share: math.Round(h.Share*100) / 100, Lift: float64(h.Lift), Spans: []HiddenSpan{}}
	for _, s := range h.Spans {
		r.Spans = append(r.Spans, spanOf(music, milli(s.From.Seconds()), milli(s.To.Seconds())))
	}
	return r
}

// Measures returns the measures of the piece in which a stretch of guide time lies: the
// first one and the last.
func Measures(music *tempo.Map, from, to float64) (first, last int) {
	// Just inside of both ends: a bar line belongs to the measure that it begins. What sounds
	// before the piece or after it counts with its first measure or its last.
	first = max(music.Position(from+inside).Measure, 1)
	return first, max(min(music.Position(to-inside).Measure, music.Measures()), first)
}

// Whoever is hidden for less than mostHidden of their playing is no finding.
const mostHidden = 0.5

// worthSaying reports whether somebody is hidden for at least a share of their playing.
func (r *HiddenResult) worthSaying(share float64) bool { return r != nil && r.Share >= share }

// words says it for the table of strips; none for what is not worth saying.
func (r *HiddenResult) words() []string {
	if !r.worthSaying(mostHidden) {
		return nil
	}
	return []string{fmt.Sprintf("hidden by the others for %.0f %% of its playing%s; gain: %+.1f would bring it out",
		100*r.Share, r.whereWords(), r.Lift)}
}

// Longest returns the longest stretch in which somebody is hidden; false without one.
func (r *HiddenResult) Longest() (longest HiddenSpan, ok bool) {
	for _, s := range r.Spans {
		if s.To-s.From > longest.To-longest.From {
			longest, ok = s, true
		}
	}
	return longest, ok
}

// whereWords says where the longest stretch is; "" without one.
func (r *HiddenResult) whereWords() string {
	if s, ok := r.Longest(); ok {
		return ", longest from " + s.Measures
	}
	return ""
}
