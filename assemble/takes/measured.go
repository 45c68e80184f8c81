package takes

import (
	"context"
	"path/filepath"

	"ripieno/assemble/manifest"
	"ripieno/assemble/session"
)

// writeMeasured writes what was measured beside the manifest, when it differs
// from what is there. Nobody's hidden name is in it. It is a record, of which the
// next run reads who was sure and nothing else; see [Set.remember].
func (s *Set) writeMeasured(ctx context.Context, dir string) error {
	var list []manifest.Measurement
	for _, t := range s.Takes {
		for _, r := range t.Recordings() {
			if r.Err != nil {
				continue
			}
			list = append(list, manifest.Measurement{
				Take: r.Owner, Role: r.Role, File: t.PublicFile(r.Role,
					r.File.Path), Hash: r.Hash.String(), Placement: r.Place,
				Parts: r.Parts, PartsOfSound: r.PartsOfSound && len(r.Parts) > 0, SampleRate: r.Rate,
				Key: r.key,
			})
		}
	}
	measured := manifest.Measured{Files: list}
	data, err := measured.Encode()
	if err != nil {
		return err
	}
	return session.Publish(ctx, filepath.Join(dir, manifest.MeasuredName), data)
}

// Sure returns the places that may be copied into the manifest: those that it
// does not say itself and that leave no doubt.
func (s *Set) Sure() []manifest.Pinned {
	var list []manifest.Pinned
	for _, r := range s.Recordings() {
		if r.Usable() && r.File.Offset == nil && r.File.CueAt == nil {
			list = append(list, manifest.Pinned{Take: r.Owner, Role: r.Role, Offset: r.Place.Offset,
				DriftPPM: r.Place.DriftPPM, Parts: r.Parts, PartsOfSound: r.PartsOfSound, SampleRate: r.Rate})
		}
	}
	return list
}
