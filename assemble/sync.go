package assemble

import (
	"context"
	"os"
	"path/filepath"

	"ripieno/assemble/fault"
	"ripieno/assemble/manifest"
	"ripieno/assemble/plan"
	"ripieno/assemble/store"
)

// Sync places every recording and, with pin, copies what was measured into the
// manifest. sync.yaml is written whenever recordings are placed.
func (p *Production) Sync(ctx context.Context, pin bool) (SyncResult, error) {
	if err := p.outFiles(syncPage(0)); err != nil {
		return SyncResult{}, err
	}
	all, h, err := p.listen(ctx)
	if err != nil {
		return SyncResult{}, err
	}
	line, err := plan.NewTimeline(p.man)
	if err != nil {
		return SyncResult{}, err
	}
	_, faults := p.facts(all, &line)
	r := SyncResult{Takes: []Placed{}, Faults: faults, Tasks: h.count, File: filepath.Join(p.man.Dir, manifest.MeasuredName)}
	for _, l := range all {
		if l.err == nil {
			r.Takes = append(r.Takes, placed(l, p.man.Takes[l.take].Timing))
		}
	}
	if r.PNG, err = p.drawSync(ctx, all, h.features); err != nil {
		return r, err
	}
	if pin {
		r.Pinned, err = p.pin(ctx, all)
	}
	return r, err
}

func placed(l located, timing string) Placed {
	pl := l.place
	out := Placed{
		Name: l.owner, File: l.file.Path, Role: l.role, Offset: pl.Offset, DriftPPM: pl.DriftPPM,
		Confidence: pl.Confidence, Sure: pl.Sure, Method: pl.Method, Evidence: pl.Evidence, Reason: pl.Reason,
		LatenessMS: finite(pl.Lateness * 1000), Timing: timing, KeptMS: pl.Kept * 1000,
		CueAt: finite(pl.CueAt), CueOffset: finite(pl.CueOffset), ErrorMS: finite(pl.Uncertainty * 1000),
	}
	if out.Evidence == nil {
		out.Evidence = []string{}
	}
	return out
}

// writeSync writes what was measured beside the manifest, when it differs from
// what is there.
func (p *Production) writeSync(ctx context.Context, all []located) error {
	var list []manifest.Measurement
	for _, l := range all {
		if l.err != nil {
			continue
		}
		list = append(list, manifest.Measurement{
			Take: l.owner, Role: l.role, File: publicFile(p.man.Takes[l.take], l.role, l.file.Path), Hash: l.hash.String(),
			Offset: l.place.Offset, DriftPPM: l.place.DriftPPM,
			Confidence: l.place.Confidence, Sure: l.place.Sure, Method: l.place.Method, Evidence: l.place.Evidence, Reason: l.place.Reason,
		})
	}
	measured := manifest.Measured{Files: list}
	data, err := measured.Encode()
	if err != nil {
		return err
	}
	return publishBytes(ctx, filepath.Join(p.man.Dir, manifest.MeasuredName), data)
}

// publishBytes writes a small file whole, and not at all when it is the same.
func publishBytes(ctx context.Context, path string, data []byte) error {
	if old, err := os.ReadFile(path); err == nil && string(old) == string(data) {
		return nil
	}
	return store.Publish(ctx, path, func(tmp string) error { return os.WriteFile(tmp, data, 0o666) })
}

// pin copies sure measurements into the manifest.
func (p *Production) pin(ctx context.Context, all []located) (int, error) {
	var values []manifest.Pinned
	for _, l := range all {
		if l.usable() && l.file.Offset == nil && l.file.CueAt == nil {
			values = append(values, manifest.Pinned{Take: l.owner, Role: l.role, Offset: l.place.Offset, DriftPPM: l.place.DriftPPM})
		}
	}
	path := filepath.Join(p.man.Dir, manifest.FileName)
	data, err := os.ReadFile(path)
	if err != nil {
		return 0, fault.New(fault.Manifest, path, "the manifest cannot be read", "").Because(err)
	}
	data, err = manifest.Pin(data, p.man, values)
	if err != nil {
		return 0, err
	}
	return len(values), rewriteManifest(ctx, path, data)
}
