// Package assemble joins the rooms: it is the only place where the manifest,
// the media files, the measurements, the plan, the mix and ffmpeg meet. A
// [Production] has one method for each verb of the program; every method can
// be interrupted through its context and run again, gives the same result
// however often it runs, and pays only for what changed.
//
// What the package writes: the outputs in the folder out, sync.yaml beside the
// manifest, the manifest itself only for `sync --pin` and `grid --pin`, and the
// store in .ripieno. It never writes to a take.
package assemble

import (
	"context"

	"ripieno/assemble/graph"
	"ripieno/assemble/session"
)

// Settings are what a verb needs besides the manifest.
type Settings = session.Settings

// TaskCount is how much work a run did.
type TaskCount = session.Count

// Production is an open production folder.
type Production struct {
	*session.Session
	room     *recording // the recorded room; nil: none
	look     look
	decoders *decoders // of the pictures that are conformed
	// codings are the encoders picked so far; sessions has room for what the
	// hardware may do at once.
	codings  map[picked]graph.Coding
	sessions chan struct{}
}

// Open reads the manifest, finds ffmpeg and takes the production's store,
// waiting while another run has it. Close gives it back.
func Open(ctx context.Context, set Settings) (*Production, error) {
	s, err := session.Open(ctx, set)
	return &Production{Session: s, sessions: make(chan struct{}, hardwareSessions)}, err
}
