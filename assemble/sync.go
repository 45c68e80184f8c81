package assemble

import (
	"context"
	"os"
	"path/filepath"

	"ripieno/assemble/fault"
	"ripieno/assemble/manifest"
	"ripieno/assemble/plan"
	"ripieno/assemble/session"
)

// Sync places every recording and, with pin, copies what was measured into the
// manifest. sync.yaml is written whenever recordings are placed.
func (p *Production) Sync(ctx context.Context, pin bool) (SyncResult, error) {
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
	r := SyncResult{Takes: []Placed{}, Faults: faults, Tasks: all.Count, Guides: all.Guides, File: filepath.Join(man.Dir, manifest.MeasuredName)}
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
	if pin {
		r.Pinned, err = pinPlaces(ctx, p, all.Sure())
	}
	return r, err
}

// pinPlaces copies sure measurements into the manifest.
func pinPlaces(ctx context.Context, p *Production, values []manifest.Pinned) (int, error) {
	path := filepath.Join(p.Manifest().Dir, manifest.FileName)
	data, err := os.ReadFile(path)
	if err != nil {
		return 0, fault.New(fault.Manifest, path, "the manifest cannot be read", "").Because(err)
	}
	data, err = manifest.Pin(data, p.Manifest(), values)
	if err != nil {
		return 0, err
	}
	return len(values), session.Publish(ctx, path, data)
}
