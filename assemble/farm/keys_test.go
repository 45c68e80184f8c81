package farm

import (
	"context"
	"errors"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/jetstream"
)

// TestWhatAWorkersKeyMayNot tries everything that would let a worker change what
// others do.
func TestWhatAWorkersKeyMayNot(t *testing.T) {
	t.Parallel()
	hub := serveHere(t, t.TempDir())
	tryWorkersKey(t, hub.Home, hub.Workers)
}

// tryWorkersKey is that test, of a hub of any kind.
func tryWorkersKey(t *testing.T, homes, workers Invitation) {
	t.Helper()
	home := joinHere(t, homes, 0)
	o, path := write(t, 1, "the take")
	if err := home.depot.put(t.Context(), readShelf, o.Inputs[0], path); err != nil {
		t.Fatal(err)
	}
	var refused atomic.Int32
	nc, err := workers.dial("w", nats.CustomInboxPrefix(inboxPrefix+".w"),
		nats.ErrorHandler(func(_ *nats.Conn, _ *nats.Subscription, err error) {
			if errors.Is(err, nats.ErrPermissionViolation) {
				refused.Add(1)
			}
		}))
	if err != nil {
		t.Fatal(err)
	}
	defer nc.Close()
	js, err := jetstream.New(nc, jetstream.WithDefaultTimeout(time.Second))
	if err != nil {
		t.Fatal(err)
	}
	theirs := filesAt(t, workers, "w-files")
	if text, err := textAt(t, theirs, readShelf, o.Inputs[0]); err != nil || text != "the take" {
		t.Fatalf("a worker cannot read what it is sent: %q, %v", text, err)
	}
	lock, err := sealOf(o.Inputs[0].Hash)
	if err != nil {
		t.Fatal(err)
	}
	// What lies under any name can be asked for, but is sealed.
	if data, err := theirs.ask(t.Context(), readShelf, pieceSubject(readShelf, "*", "0")); err == nil &&
		strings.Contains(string(data), "take") {
		t.Errorf("a worker may read whatever lies there: %q", data)
	}
	short := func() context.Context {
		ctx, cancel := context.WithTimeout(t.Context(), 2*time.Second)
		t.Cleanup(cancel)
		return ctx
	}
	tries := map[string]func() error{
		"give an order": func() error {
			_, err := js.Publish(short(), orderSubject(class.ID(), "0", o.Key), []byte("{}"))
			return err
		},
		"replace a take": func() error {
			_, err := js.Publish(short(), pieceSubject(readShelf, lock.name, "0"), lock.lock(0, []byte("another")))
			return err
		},
		"add to a take": func() error {
			_, err := js.Publish(short(), pieceSubject(readShelf, lock.name, "1"), lock.lock(1, []byte("more")))
			return err
		},
		"delete a take": func() error { return theirs.drop(short(), readShelf, o.Inputs[0].Hash) },
		"list the takes": func() error {
			s, err := js.Stream(short(), string(readShelf))
			if err != nil {
				return err
			}
			info, err := s.Info(short(), jetstream.WithSubjectFilter(">"))
			if err == nil && len(info.State.Subjects) == 0 {
				err = errors.New("no subjects")
			}
			return err
		},
		"read the takes one after the other": func() error {
			s, err := js.Stream(short(), string(readShelf))
			if err == nil {
				_, err = s.GetMsg(short(), 1)
			}
			return err
		},
		"listen to the takes": func() error {
			_, err := js.CreateConsumer(short(), string(readShelf), jetstream.ConsumerConfig{FilterSubject: "read.>"})
			return err
		},
		"delete the orders": func() error { return js.DeleteStream(short(), ordersStream) },
		"look at the queue": func() error { _, err := js.Stream(short(), ordersStream); return err },
		"empty the orders": func() error {
			_, err := nc.Request("$JS.API.STREAM.PURGE."+ordersStream, nil, time.Second)
			return err
		},
		"tell of itself in another's name": func() error {
			return seen(home, "other", func() error {
				return nc.Publish(herePrefix+"anna.other", []byte(`{"name":"other","cores":1}`))
			}, nc)
		},
		"invite others": func() error { _, err := Invite(short(), workers, "friend"); return err },
		"revoke others": func() error { return Revoke(short(), workers, "friend") },
		"list the classes": func() error {
			_, err := nc.Request("$JS.API.CONSUMER.NAMES."+ordersStream, nil, time.Second)
			return err
		},
		"listen to who is there": func() error {
			s, err := nc.SubscribeSync(herePrefix + ">")
			if err != nil {
				return err
			}
			if err := home.nc.Publish(herePrefix+"anna.x", []byte("{}")); err != nil {
				return err
			}
			_, err = s.NextMsg(time.Second)
			return err
		},
		"delete the shelf": func() error { return js.DeleteStream(short(), string(readShelf)) },
		"make another stream": func() error {
			_, err := js.CreateStream(short(), jetstream.StreamConfig{Name: "mine"})
			return err
		},
		"take orders of all classes": func() error {
			_, err := js.CreateConsumer(short(), ordersStream, jetstream.ConsumerConfig{AckPolicy: jetstream.AckExplicitPolicy})
			return err
		},
		"listen to results": func() error {
			s, err := nc.SubscribeSync(resultSubject("*"))
			if err != nil {
				return err
			}
			if err := nc.Flush(); err != nil {
				return err
			}
			if err := home.nc.Publish(resultSubject("x"), []byte("secret")); err != nil {
				return err
			}
			_, err = s.NextMsg(time.Second)
			return err
		},
	}
	var all sync.WaitGroup // at once: what is refused is not answered, so each waits
	for name, try := range tries {
		all.Go(func() {
			if err := try(); err == nil {
				t.Errorf("a worker may %s", name)
			}
		})
	}
	all.Wait()
	// "Invite" and "revoke" have connections of their own, and so have theirs.
	if err := nc.Flush(); err != nil || int(refused.Load()) < len(tries)-3 {
		t.Errorf("of %d attempts the engine refused %d, %v", len(tries), refused.Load(), err)
	}
	if text, err := textAt(t, home.depot, readShelf, o.Inputs[0]); err != nil || text != "the take" {
		t.Errorf("the take is %q now, %v", text, err)
	}
}

// seen publishes something and fails when the home has not heard of a machine then.
func seen(home *Home, name string, publish func() error, nc *nats.Conn) error {
	if err := publish(); err != nil {
		return err
	}
	if err := nc.Flush(); err != nil {
		return err
	}
	if err := home.nc.Flush(); err != nil {
		return err
	}
	for _, m := range home.Machines() {
		if m.Name == name {
			return nil
		}
	}
	return errors.New("nobody heard of it")
}
