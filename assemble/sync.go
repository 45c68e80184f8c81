package assemble

import (
	"context"
	"path/filepath"
	"slices"

	"ripieno/assemble/manifest"
	"ripieno/assemble/plan"
	"ripieno/assemble/takes"
)

// SyncOptions say what Sync does besides placing every recording.
type SyncOptions struct {
	Pin      bool           // copies what was measured into the manifest
	Accept   []takes.Choice // candidates to be written into the manifest
	Snippets bool           // writes the candidates of what needs review as sounds
}

// Sync places every recording. sync.yaml is written whenever recordings are
// placed. What is accepted is written into the manifest; the result then says
// where the takes lay before. Choices go by the candidates of this very run, which is
// why accepting places everybody first.
func (p *Production) Sync(ctx context.Context, o SyncOptions) (SyncResult, error) {
	if err := p.OutFiles(takes.FirstPage); err != nil {
		return SyncResult{}, err
	}
	man := p.Manifest()
	all, err := p.locate(ctx)
	if err != nil {
		return SyncResult{}, err
	}
	line, err := plan.NewTimeline(man)
	if err != nil {
		return SyncResult{}, err
	}
	_, faults := all.Facts(&line)
	r := SyncResult{Takes: []Placed{}, Faults: faults, Tasks: all.Count, Guides: all.Guides,
		File: filepath.Join(man.Dir, manifest.MeasuredName)}
	for _, t := range all.Takes {
		for _, rec := range t.Recordings() {
			if rec.Err == nil {
				r.Takes = append(r.Takes, rec.Placed(t.Timing))
			}
		}
	}
	if r.PNG, err = all.Draw(ctx, p.Session); err != nil {
		return r, err
	}
	if o.Snippets {
		if r.Snippets, err = all.Snippets(ctx, p.Session); err != nil {
			return r, err
		}
	}
	chosen, err := all.Accept(man, o.Accept)
	if err != nil {
		return r, err
	}
	r.Accepted = len(chosen)
	// What is accepted is decided: nothing is left to ask about it.
	r.Faults = slices.DeleteFunc(r.Faults, func(b Bad) bool {
		return b.Kind == takes.KindUnplaced &&
			slices.ContainsFunc(chosen, func(c manifest.Pinned) bool { return c.Take == b.Take })
	})
	if o.Pin {
		sure := all.Sure()
		r.Pinned, chosen = len(sure), takes.AddUnchosen(chosen, sure)
	}
	return r, takes.Pin(ctx, man, chosen)
}

// ParseChoice reads a candidate to accept: TAKE, TAKE=N, TAKE/video=N or
// TAKE/audio=N.
func ParseChoice(text string) (takes.Choice, error) { return takes.ParseChoice(text) }
