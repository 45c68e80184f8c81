package farm

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strconv"
	"time"

	"github.com/nats-io/nats-server/v2/server"
	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/jetstream"
	"golang.org/x/sync/errgroup"
)

// Protocol is part of a class: machines of another would not find each other's orders.
const Protocol = 4

// Names on the engine. Orders wait in one stream under the class of machine that
// may carry them out; files wait on two shelves, a stream each, because a worker may
// write the second only.
const (
	ordersStream  = "orders"  // orders.CLASS.TRAY.KEY
	resultsStream = "results" // results.KEY
	herePrefix    = "here."   // here.WORKER: who works, every few seconds
	rollSubject   = "roll"    // asks all workers to say so at once
	recallSubject = "recall"  // names an order that nobody needs any more
	givenPrefix   = "given."  // given.CLASS: there is a new order
	inboxPrefix   = "_INBOX.worker"

	// secondCopy follows the key of an order that another worker gets as well.
	secondCopy = "-2"
	// givenUpSubject is where the engine tells which orders it gives to nobody any more.
	givenUpSubject = "$JS.EVENT.ADVISORY.CONSUMER.MAX_DELIVERIES." + ordersStream + ".*"
)

// orderSubject returns where orders of a key travel to machines of a class, givenSubject
// where these are told of it, resultSubject where the results of a key come back.
func orderSubject(class, tray, key string) string {
	return ordersStream + "." + class + "." + tray + "." + key
}
func givenSubject(class string) string { return givenPrefix + class }
func resultSubject(key string) string  { return resultsStream + "." + key }

// layOut makes the streams and buckets that are missing. space bounds the bytes of
// all together; 0 is no bound. It may be called again with another space. A sixteenth
// goes to orders and to results each, eight to what is read and six to what is made.
func layOut(ctx context.Context, js jetstream.JetStream, space int64) error {
	const kept = 24 * time.Hour // for a home that is away for so long
	share := func(part int64) int64 {
		if space <= 0 {
			return -1
		}
		return space * part / 16
	}
	for _, old := range []string{"OBJ_read", "OBJ_made"} { // of hubs before 2026-12: they count as taken space
		if err := js.DeleteStream(ctx, old); err != nil && !isGone(err) {
			return fmt.Errorf("farm: a stream of another version: %w", err)
		}
	}
	s, err := js.Stream(ctx, ordersStream)
	if err == nil && !isOurs(s) {
		if err := js.DeleteStream(ctx, ordersStream); err != nil {
			return fmt.Errorf("farm: a queue of another version: %w", err)
		}
	}
	_, err = js.CreateOrUpdateStream(ctx, jetstream.StreamConfig{
		Name: ordersStream, Subjects: []string{orderSubject("*", "*", "*")}, Retention: jetstream.WorkQueuePolicy,
		MaxMsgsPerSubject: 1, MaxBytes: share(1), Duplicates: time.Second, MaxAge: kept,
	})
	if err != nil {
		return fmt.Errorf("farm: the queue of orders: %w", err)
	}
	_, err = js.CreateOrUpdateStream(ctx, jetstream.StreamConfig{
		Name: resultsStream, Subjects: []string{resultSubject("*")}, MaxMsgsPerSubject: 8,
		MaxBytes: share(1), MaxAge: kept,
	})
	if err != nil {
		return fmt.Errorf("farm: the list of results: %w", err)
	}
	for s, part := range map[shelf]int64{readShelf: 8, madeShelf: 6} {
		// A subject takes one message, and none instead of it: what is there stays.
		_, err := js.CreateOrUpdateStream(ctx, jetstream.StreamConfig{
			Name: string(s), Subjects: []string{pieceSubject(s, "*", "*")}, MaxMsgsPerSubject: 1,
			Discard: jetstream.DiscardNew, DiscardNewPerSubject: true, AllowDirect: true, Duplicates: time.Second,
			MaxBytes: share(part), MaxAge: kept,
		})
		if err != nil {
			return fmt.Errorf("farm: the shelf %q of files: %w", s, err)
		}
	}
	return nil
}

// isOurs reports whether the queue of orders is of this version.
func isOurs(orders jetstream.Stream) bool {
	return slices.Contains(orders.CachedInfo().Config.Subjects, orderSubject("*", "*", "*"))
}

// invite makes sure that workers of a class find their orders.
func invite(ctx context.Context, js jetstream.JetStream, class string) error {
	// At once: one after the other they would take sixteen rounds of the line.
	g, within := errgroup.WithContext(ctx)
	for k := range int64(trays) {
		g.Go(func() error {
			tray := strconv.FormatInt(k, 16)
			_, err := js.CreateOrUpdateConsumer(within, ordersStream, jetstream.ConsumerConfig{
				Durable: trayName(class, tray), FilterSubject: orderSubject(class, tray, "*"),
				AckPolicy: jetstream.AckExplicitPolicy, AckWait: lease, MaxDeliver: tries, MaxAckPending: -1,
				MaxWaiting: 4096,
			})
			if err != nil {
				return fmt.Errorf("farm: the orders of a class: %w", err)
			}
			return nil
		})
	}
	return g.Wait()
}

// workerMay returns what a worker's key is allowed on the engine, and nothing else. It
// tells of itself under the name of its invitation.
func workerMay(invitation string) *server.Permissions {
	api := func(words string) string { return "$JS.API." + words }
	publish := []string{
		herePrefix + invitation + ".*", resultSubject("*"),
		api("CONSUMER.MSG.NEXT." + ordersStream + ".*"),
		"$JS.ACK." + ordersStream + ".>",
		pieceSubject(madeShelf, "*", "*"),
	}
	for _, s := range []shelf{readShelf, madeShelf} {
		publish = append(publish, api("DIRECT.GET."+string(s)+"."+pieceSubject(s, "*", "*")))
	}
	return &server.Permissions{
		Publish: &server.SubjectPermission{Allow: publish},
		Subscribe: &server.SubjectPermission{Allow: []string{inboxPrefix + ".>", rollSubject, recallSubject,
			givenSubject("*")}},
	}
}

// isGone reports whether err says that something is not on the engine.
func isGone(err error) bool {
	return errors.Is(err, jetstream.ErrConsumerNotFound) || errors.Is(err, jetstream.ErrStreamNotFound) ||
		errors.Is(err, jetstream.ErrMsgNotFound)
}

// isAway reports whether err says that the hub does not answer, or is not up yet. Then the
// same may succeed a little later.
func isAway(err error) bool {
	for _, sign := range []error{nats.ErrTimeout, nats.ErrNoResponders, nats.ErrDisconnected,
		nats.ErrConnectionReconnecting, nats.ErrReconnectBufExceeded,
		jetstream.ErrNoStreamResponse, context.DeadlineExceeded} {
		if errors.Is(err, sign) {
			return true
		}
	}
	var refused *jetstream.APIError
	return errors.As(err, &refused) && refused.ErrorCode == comingUp
}

// comingUp is what the engine says while it looks through what it kept.
const comingUp = 10008
