package desk

import (
	"context"

	"ripieno/assemble/progress"
)

// maker is the work of a desk whose films are made when a test says so.
type maker struct {
	nobody
	began chan string // what is made
	asked chan bool   // that it may end
}

func (m *maker) Make(ctx context.Context, what string, _ progress.Reporter) (string, error) {
	m.began <- what
	select {
	case <-ctx.Done():
		return "", ctx.Err()
	case <-m.asked:
		return "/somewhere/out/" + what + ".mp4", nil
	}
}
