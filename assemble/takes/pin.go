package takes

import (
	"context"
	"slices"

	"ripieno/assemble/manifest"
	"ripieno/assemble/production"
	"ripieno/assemble/session"
)

// AddUnchosen returns what is chosen, and of what is sure the recordings that are
// not among it.
func AddUnchosen(chosen, sure []manifest.Pinned) []manifest.Pinned {
	for _, s := range sure {
		if !slices.ContainsFunc(chosen, func(c manifest.Pinned) bool { return c.Take == s.Take && c.Role == s.Role }) {
			chosen = append(chosen, s)
		}
	}
	return chosen
}

// Pin copies places into the manifest and changes no other byte of it; without
// places it does not touch the file. A manifest that cannot be read or written, or
// one that is written in a way that nothing can be added to, is a fault.
func Pin(ctx context.Context, man *production.Production, places []manifest.Pinned) error {
	if len(places) == 0 {
		return nil
	}
	return session.ChangeManifest(ctx, man, func(data []byte) ([]byte, error) {
		return manifest.Pin(data, man, places)
	})
}
