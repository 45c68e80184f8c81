package farm

import (
	"context"
	"errors"
	"fmt"
	"path/filepath"

	"github.com/nats-io/nats.go/jetstream"

	"ripieno/assemble/order"
)

// sendMade sends the files of an output and keeps them.
func (w *worker) sendMade(ctx context.Context, o order.Order, dst string) ([]order.File, error) {
	names := o.Outputs
	if len(names) == 0 {
		names = []string{""}
	}
	var files []order.File
	for _, n := range names {
		path := filepath.Join(dst, n)
		f, err := hashed(n, path)
		if err != nil {
			return nil, err
		}
		if f.Size == 0 {
			return nil, fmt.Errorf("the output %q is empty", n)
		}
		if err := persist(ctx, func() error { return w.depot.put(ctx, madeShelf, f, path) }); err != nil {
			return nil, err
		}
		w.cache.keep(f, path)
		files = append(files, f)
	}
	return files, nil
}

// noRoom is what the engine says of a shelf that is full.
const noRoom = "maximum bytes exceeded"

// persist tries again for some leases what fails because the hub is away, or its shelf is
// full: the work is done, the hub may come back, and the home removes what it has fetched.
// What else the hub refuses is not tried again.
func persist(ctx context.Context, try func() error) error {
	patient, cancel := context.WithTimeout(ctx, 2*lease)
	defer cancel()
	var last error
	err := await(patient, func() error {
		last = try()
		var refused *jetstream.APIError
		if errors.As(last, &refused) && !isGone(last) && refused.Description != noRoom {
			return nil
		}
		return last
	})
	if err == nil || ctx.Err() != nil {
		return last
	}
	return err
}
