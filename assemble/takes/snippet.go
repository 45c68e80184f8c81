package takes

import (
	"context"
	"fmt"
	"io"
	"math"
	"path/filepath"
	"strings"

	"ripieno/assemble/media"
	"ripieno/assemble/production"
	"ripieno/assemble/session"
	"ripieno/assemble/store"
	"ripieno/assemble/task"
	"ripieno/mix/align"
	"ripieno/mix/audio"
	"ripieno/mix/click"
	"ripieno/mix/resample"
	"ripieno/mix/tempo"
)

// snippetRule is the version of how a snippet sounds.
const snippetRule = 1

// SnippetFolder is where snippets lie, in the folder of outputs.
const SnippetFolder = "snippets"

// Snippet is a short sound by which a person hears whether a candidate is right:
// the guide's clicks in the left ear, the recording as it would lie in the right.
type Snippet struct {
	Take   string `json:"take"`
	Role   string `json:"role"`
	Number int    `json:"number"` // of the candidate
	Path   string `json:"path"`
}

// Snippets writes a snippet of every candidate of the recordings that need review, or are sure only
// because they were so before, to
// out/snippets, and removes those that an earlier run wrote and this one does not. It
// fails when ctx ends, when a snippet cannot be made, and when the folder cannot be
// written.
func (s *Set) Snippets(ctx context.Context, x *session.Session) ([]Snippet, error) {
	var list []Snippet
	var made []task.Ref[string]
	for _, t := range s.Takes {
		r := t.leading("")
		if t.IsWithheld() || r == nil || r.Place.Sure && r.Place.Remembered == "" {
			continue
		}
		for i, c := range r.Place.Candidates {
			list = append(list, Snippet{Take: t.Name, Role: string(r.Role), Number: i + 1})
			made = append(made, snippetTask(x.Manifest(), r, i+1, c))
		}
	}
	edges := make([]task.Edge, len(made))
	for i, m := range made {
		edges[i] = m
	}
	res, err := x.Run(ctx, task.Collect(edges...))
	if err != nil {
		return nil, err
	}
	dir, err := x.Out(SnippetFolder)
	if err != nil {
		return nil, err
	}
	var now []session.Written
	for i, m := range made {
		out := m.Outcome(res)
		if out.Err != nil {
			return nil, out.Err
		}
		hash, err := x.Store().HashFile(ctx, out.Path)
		if err != nil {
			return nil, err
		}
		name := fmt.Sprintf("%s-%s-%d.wav", list[i].Take, list[i].Role, list[i].Number)
		list[i].Path = filepath.Join(dir, name)
		now = append(now, session.Written{Hash: hash, File: name})
	}
	// Old snippets go only once all new ones are made: whoever compares them by ear never finds
	// half of both.
	_, err = x.Replace(ctx, session.Folder{Dir: dir, Ours: isSnippet}, now, func() error {
		for i, m := range made {
			if _, err := x.Store().Deliver(ctx, m.Action(), list[i].Path); err != nil {
				return err
			}
		}
		return nil
	})
	return list, err
}

// isSnippet reports whether a file of the folder of snippets can be one.
func isSnippet(file string) bool {
	return !strings.Contains(file, "/") && strings.HasSuffix(file, ".wav")
}

// snippetTask plans the snippet of a candidate.
func snippetTask(man *production.Production, r *Recording, number int, c align.Candidate) task.Ref[string] {
	m, shift := guideOfTake(man, r.Owner)
	clock := audio.Clock{Offset: c.Offset - shift, Drift: audio.PPM(c.DriftPPM)}
	from, to := snippetSpan(m, clock)
	t := task.Task{
		ID: task.ID("snippet", r.Name(), fmt.Sprint(number)), Name: r.File.Path, Stage: "snippet", Cost: costSound * to,
		Action: store.NewAction("snippet").Version(snippetRule).Arg("tempo", m.Spec()).
			Arg("offset", clock.Offset).Arg("drift", float64(clock.Drift)).Ext(".wav").For(r.File.Path),
	}
	t.Needs("sound", r.Sound)
	t.Make = func(ctx context.Context, in task.Inputs, tmp string, _ func(float64)) error {
		path, err := r.Sound.Read(in)
		if err != nil {
			return err
		}
		return writeSnippet(ctx, path, m, clock, from, to, tmp)
	}
	return task.Path(t)
}

// Spans of a snippet, in seconds of the guide: from before the cue into the piece,
// but no longer than is listened to with patience.
const (
	snippetBefore = 1.5
	snippetAfter  = 5
	snippetMost   = 14
)

// snippetSpan returns the guide times between which a candidate is heard: round
// the cue and the beginning of the piece, or the beginning of a file that has
// neither.
func snippetSpan(m *tempo.Map, clock audio.Clock) (from, to float64) {
	from, to = m.Cue()-snippetBefore, m.Start()+snippetAfter
	if math.IsNaN(from) || clock.Offset > m.Cue() {
		from = m.Start() - snippetBefore
	}
	if clock.Offset > from {
		from = math.Max(0, clock.Offset)
	}
	from = math.Max(0, from)
	return from, math.Min(math.Max(to, from+snippetAfter), from+snippetMost)
}

// writeSnippet writes the sound at path as heard from one guide time to another,
// with the guide beside it.
func writeSnippet(ctx context.Context, path string, m *tempo.Map, clock audio.Clock, from, to float64,
	dst string) error {
	wav, err := media.OpenWAV(path)
	if err != nil {
		return err
	}
	defer wav.Close()
	guide, err := click.Guide(m, click.Options{})
	if err != nil {
		return err
	}
	begin, n := audio.FramesAt(from), int(audio.FramesAt(to-from))
	left, err := readMono(guide, int(begin), n)
	if err != nil {
		return err
	}
	right, err := readMono(resample.New(wav, audio.Rate, clock.Offset, clock.Drift, begin), 0, n)
	if err != nil {
		return err
	}
	raise(right, snippetPeak)
	raise(left, snippetPeak)
	_, err = media.CreateWAV(ctx, dst, audio.NewMemory(audio.Block{left, right}, audio.Rate), media.PCM16)
	return err
}

// snippetPeak is the highest level of either side: loud enough to be heard and,
// as with a guide, no louder than it needs to be.
const snippetPeak = 0.25

// raise amplifies x to a peak, by at most 40 dB.
func raise(x []float64, peak float64) {
	top := 0.0
	for _, v := range x {
		top = math.Max(top, math.Abs(v))
	}
	if top == 0 {
		return
	}
	gain := math.Min(100, peak/top)
	for i := range x {
		x[i] *= gain
	}
}

// readMono returns n frames of the mean of a source's channels after the first
// skip, with silence where the source has ended.
func readMono(src audio.Source, skip, n int) ([]float64, error) {
	out := make([]float64, n)
	block := audio.NewBlock(src.Channels(), 1<<14)
	for at := -skip; at < n; {
		k, err := src.Read(block)
		for i := range k {
			if j := at + i; j >= 0 && j < n {
				for _, ch := range block {
					out[j] += ch[i] / float64(len(block))
				}
			}
		}
		at += k
		if err == io.EOF {
			break
		}
		if err != nil {
			return nil, err
		}
	}
	return out, nil
}
