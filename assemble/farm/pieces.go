package farm

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strconv"
	"time"

	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/jetstream"
	"golang.org/x/sync/errgroup"

	"ripieno/assemble/order"
)

const (
	// piece is how many bytes of a file travel in one message.
	piece = 512 << 10
	// onTheWay is how many pieces are asked for, or sent, at once on one connection,
	// of all its files. So much waits in front of nobody's word for long, since words
	// have a connection of their own, and the engine cuts off no reader for being slow:
	// it does at 64 MB, which the results of a dozen machines reach together.
	onTheWay = 16
	// inOneFile is how many of them may be of one file.
	inOneFile = 8
)

// pieces is the hub as a depot. A file lies there as messages of one sealed piece each,
// under SHELF.NAME.NUMBER, and a last one that says that it is whole. A subject takes one
// message and no second, so nobody can replace a file; and pieces are asked for one by
// one, so that a line that was cut goes on where it was.
type pieces struct {
	nc    *nats.Conn
	js    jetstream.JetStream
	slots chan struct{}
	turns chan struct{} // of files that are sent: those that began first are there first
}

// whole is the number of the message that is put last. It holds the size.
const whole = "whole"

func pieceSubject(s shelf, name, number string) string { return string(s) + "." + name + "." + number }

// newPieces returns the files of a hub, by a connection of their own, which whoever calls
// this closes.
func newPieces(nc *nats.Conn) (*pieces, error) {
	js, err := jetstream.New(nc)
	return &pieces{nc: nc, js: js, slots: make(chan struct{}, onTheWay),
		turns: make(chan struct{}, onTheWay/inOneFile)}, err
}

// space implements [depot]. A worker may not look.
func (p *pieces) space(ctx context.Context, s shelf) int64 {
	stream, err := p.js.Stream(ctx, string(s))
	if err != nil {
		return 0
	}
	return max(0, stream.CachedInfo().Config.MaxBytes)
}

// count returns how many pieces a file has.
func count(bytes int64) int { return int((bytes + piece - 1) / piece) }

// put implements [depot]. So many files are sent at once as fill the line: were all of them,
// whoever waits for the first would wait for the last.
func (p *pieces) put(ctx context.Context, s shelf, f order.File, path string) error {
	lock, err := sealOf(f.Hash)
	if err != nil {
		return err
	}
	select {
	case p.turns <- struct{}{}:
		defer func() { <-p.turns }()
	case <-ctx.Done():
		return ctx.Err()
	}
	r, err := os.Open(path)
	if err != nil {
		return err
	}
	defer r.Close()
	g, within := errgroup.WithContext(ctx)
	g.SetLimit(inOneFile)
	for k := range count(f.Size) {
		data := make([]byte, min(piece, f.Size-int64(k)*piece))
		if _, err := io.ReadFull(r, data); err != nil {
			_ = g.Wait()
			return fmt.Errorf("farm: %s changed while it was sent: %w", filepath.Base(path), err)
		}
		g.Go(func() error {
			return p.say(within, pieceSubject(s, lock.name, strconv.Itoa(k)), lock.lock(k, data))
		})
		if within.Err() != nil {
			break
		}
	}
	if err := g.Wait(); err != nil {
		return fmt.Errorf("farm: sending %d bytes: %w", f.Size, err)
	}
	// One byte more than was announced: somebody writes to the file.
	if n, _ := r.Read(make([]byte, 1)); n > 0 {
		return fmt.Errorf("farm: %s changed while it was sent", filepath.Base(path))
	}
	// The mark that all pieces are there comes last, so nobody takes a file for whole before it is.
	return p.say(ctx, pieceSubject(s, lock.name, whole), strconv.AppendInt(nil, f.Size, 10))
}

// say puts one message, unless there is one.
func (p *pieces) say(ctx context.Context, subject string, data []byte) error {
	return p.withSlot(ctx, func(ctx context.Context) error {
		_, err := p.js.Publish(ctx, subject, data)
		var refused *jetstream.APIError
		if errors.As(err, &refused) && refused.Description == "maximum messages per subject exceeded" {
			return nil // the same bytes are there
		}
		return err
	})
}

// get implements [depot].
func (p *pieces) get(ctx context.Context, s shelf, f order.File, path string) error {
	type come struct {
		data []byte
		err  error
	}
	lock, err := sealOf(f.Hash)
	if err != nil {
		return err
	}
	ctx, stop := context.WithCancel(ctx)
	defer stop()
	// Pieces are asked for several at a time, since each answer takes a round of the line, and are
	// written in their order: the channel of channels keeps that.
	coming := make(chan chan come, inOneFile)
	go func() {
		defer close(coming)
		for k := range count(f.Size) {
			c := make(chan come, 1)
			select {
			case coming <- c:
			case <-ctx.Done():
				return
			}
			go func() {
				data, err := p.ask(ctx, s, pieceSubject(s, lock.name, strconv.Itoa(k)))
				if err == nil {
					data, err = lock.open(k, data)
				}
				c <- come{data, err}
			}()
		}
	}()
	return receive(f, path, func(w io.Writer) error {
		for c := range coming {
			next := <-c
			if next.err != nil {
				return fmt.Errorf("farm: fetching a file: %w", next.err)
			}
			if _, err := w.Write(next.data); err != nil {
				return err
			}
		}
		return ctx.Err()
	})
}

// ask returns one message of a shelf. It fails with errMissing where there is none, and with
// ctx's error when that ends first.
func (p *pieces) ask(ctx context.Context, s shelf, subject string) (data []byte, err error) {
	err = p.withSlot(ctx, func(ctx context.Context) error {
		// By the engine's own words, since looking at the whole shelf first, as its client
		// does, would take a right that shows a worker what else lies there.
		m, err := p.nc.RequestWithContext(ctx, "$JS.API.DIRECT.GET."+string(s)+"."+subject, nil)
		if err != nil {
			return err
		}
		switch m.Header.Get("Status") {
		case "":
			data = m.Data
			return nil
		case "404":
			return errMissing
		}
		return fmt.Errorf("farm: the hub says %s", m.Header.Get("Description"))
	})
	return data, err
}

// has implements [depot].
func (p *pieces) has(ctx context.Context, s shelf, f order.File) bool {
	lock, err := sealOf(f.Hash)
	if err != nil {
		return false
	}
	data, err := p.ask(ctx, s, pieceSubject(s, lock.name, whole))
	return err == nil && string(data) == strconv.FormatInt(f.Size, 10)
}

// drop implements [depot].
func (p *pieces) drop(ctx context.Context, s shelf, hash string) error {
	lock, err := sealOf(hash)
	if err != nil {
		return err
	}
	stream, err := p.js.Stream(ctx, string(s))
	if err != nil {
		return err
	}
	return stream.Purge(ctx, jetstream.WithPurgeSubject(pieceSubject(s, lock.name, "*")))
}

// withSlot has do ask the hub something when few others do, again when the line was cut
// meanwhile, and for no longer than a hub may say nothing: a lease, and what the pieces
// that are on the way take on the slowest line.
func (p *pieces) withSlot(ctx context.Context, do func(ctx context.Context) error) error {
	select {
	case p.slots <- struct{}{}:
		defer func() { <-p.slots }()
	case <-ctx.Done():
		return ctx.Err()
	}
	quiet, stop := context.WithTimeout(ctx, lease+onTheWay*piece*time.Second/time.Duration(slowest))
	defer stop()
	for {
		lost := p.nc.Stats().Reconnects
		err := untilCut(quiet, p.nc, do)
		var refused *jetstream.APIError
		switch {
		case err == nil, errors.Is(err, errMissing), errors.As(err, &refused):
			return err
		case ctx.Err() != nil:
			return ctx.Err()
		case quiet.Err() != nil:
			return fmt.Errorf("the hub says nothing: %w", nats.ErrTimeout)
		case p.nc.IsClosed():
			return err
		case p.nc.IsConnected() && p.nc.Stats().Reconnects == lost && !errors.Is(err, nats.ErrNoResponders) &&
			!errors.Is(err, jetstream.ErrNoStreamResponse):
			return err
		}
		select {
		case <-quiet.Done():
		case <-time.After(reconnectWait / 8):
		}
	}
}

// untilCut runs do until it ends, or the connection is lost: what was asked before is not
// answered after.
func untilCut(ctx context.Context, nc *nats.Conn, do func(ctx context.Context) error) error {
	ctx, stop := context.WithCancel(ctx)
	defer stop()
	cut := nc.StatusChanged(nats.RECONNECTING, nats.DISCONNECTED, nats.CLOSED)
	defer nc.RemoveStatusListener(cut)
	go func() {
		select {
		case <-cut:
			stop()
		case <-ctx.Done():
		}
	}()
	return do(ctx)
}
