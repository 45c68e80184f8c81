package assemble

import (
	"context"

	"ripieno/assemble/arrival"
	"ripieno/assemble/roll"
)

// What `watch` is asked for and tells.
type (
	WatchOptions = arrival.Options
	WatchEvent   = arrival.Event[RenderResult]
)

// Watch waits for takes, and checks, places and makes the rough cut again whenever the
// production has changed; see [arrival.Watch].
func Watch(ctx context.Context, set Settings, o WatchOptions, tell func(WatchEvent)) ([]Bad, error) {
	return arrival.Watch(ctx, set, o, arrival.Rounds[RenderResult]{
		Begin: func(ctx context.Context, set Settings) (*roll.Snapshot, error) {
			p, err := Open(ctx, set)
			if err != nil {
				return nil, err
			}
			defer p.Close()
			if len(p.Manifest().Takes) == 0 {
				return nil, p.Manifest().NeedTakes()
			}
			return takeSnapshot(ctx, p)
		},
		Run: func(ctx context.Context, set Settings, tell func(*roll.Snapshot)) (RenderResult, []Bad, error) {
			p, err := Open(ctx, set)
			if err != nil {
				return RenderResult{}, nil, err
			}
			defer p.Close()
			now, err := takeSnapshot(ctx, p)
			if err != nil {
				return RenderResult{}, nil, err
			}
			tell(now)
			r, err := p.Render(ctx, RenderOptions{Rough: true})
			return r, r.Faults, err
		},
	}, tell)
}
