package farm

import (
	"context"
	"errors"
	"fmt"
	"time"

	"github.com/nats-io/nats-server/v2/server"
	"github.com/nats-io/nats.go/jetstream"
)

// Names on the engine. Orders wait in one stream under the class of machine that
// may carry them out; files wait in two buckets, those that orders read and those
// that workers made, because a worker may write the second only.
const (
	ordersStream  = "orders"  // orders.CLASS.KEY
	resultsStream = "results" // results.KEY
	readBucket    = "read"
	madeBucket    = "made"
	herePrefix    = "here."  // here.WORKER: who works, every few seconds
	rollSubject   = "roll"   // asks all workers to say so at once
	recallSubject = "recall" // names an order that nobody needs any more
	inboxPrefix   = "_INBOX.worker"

	// secondCopy follows the key of an order that another worker gets as well.
	secondCopy = "-2"
	// givenUpSubject is where the engine tells which orders it gives to nobody any more.
	givenUpSubject = "$JS.EVENT.ADVISORY.CONSUMER.MAX_DELIVERIES." + ordersStream + ".*"
)

// orderSubject returns where orders of a key travel to machines of a class, resultSubject
// where the results of a key come back.
func orderSubject(class, key string) string { return ordersStream + "." + class + "." + key }
func resultSubject(key string) string       { return resultsStream + "." + key }

// layOut makes the streams and buckets that are missing. space bounds the bytes of
// all together; 0 is no bound.
func layOut(ctx context.Context, js jetstream.JetStream, space int64) error {
	const kept = 24 * time.Hour // for a home that is away for so long
	share := func(part int64) int64 {
		if space <= 0 {
			return -1
		}
		return space * part / 16
	}
	_, err := js.CreateOrUpdateStream(ctx, jetstream.StreamConfig{
		Name: ordersStream, Subjects: []string{orderSubject("*", "*")}, Retention: jetstream.WorkQueuePolicy,
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
	for _, b := range []struct {
		name string
		part int64
	}{{readBucket, 8}, {madeBucket, 6}} {
		_, err := js.CreateOrUpdateObjectStore(ctx, jetstream.ObjectStoreConfig{
			Bucket: b.name, MaxBytes: share(b.part), TTL: kept,
		})
		if err != nil {
			return fmt.Errorf("farm: the bucket %q: %w", b.name, err)
		}
	}
	return nil
}

// invite makes sure that workers of a class find their orders.
func invite(ctx context.Context, js jetstream.JetStream, class string) error {
	_, err := js.CreateOrUpdateConsumer(ctx, ordersStream, jetstream.ConsumerConfig{
		Durable: class, FilterSubject: orderSubject(class, "*"), AckPolicy: jetstream.AckExplicitPolicy,
		AckWait: lease, MaxDeliver: tries, MaxAckPending: -1, MaxWaiting: 4096,
	})
	if err != nil {
		return fmt.Errorf("farm: the orders of a class: %w", err)
	}
	return nil
}

// workerMay returns what a worker's key is allowed on the engine, and nothing else. It
// tells of itself under the name of its invitation.
func workerMay(invitation string) *server.Permissions {
	api := func(words string) string { return "$JS.API." + words }
	publish := []string{
		herePrefix + invitation + ".*", resultSubject("*"),
		api("CONSUMER.INFO." + ordersStream + ".*"), api("CONSUMER.MSG.NEXT." + ordersStream + ".*"),
		"$JS.ACK." + ordersStream + ".>",
		"$O." + madeBucket + ".C.*", "$O." + madeBucket + ".M.*",
	}
	for _, bucket := range []string{readBucket, madeBucket} {
		publish = append(publish, api("STREAM.INFO.OBJ_"+bucket), api("DIRECT.GET.OBJ_"+bucket+".$O."+bucket+".M.*"))
	}
	// Reading a file's pieces takes a consumer of the reader's own, on the pieces of
	// that one file.
	publish = append(publish, api("CONSUMER.CREATE.OBJ_"+readBucket+".*.$O."+readBucket+".C.*"),
		api("CONSUMER.DELETE.OBJ_"+readBucket+".*"), "$JS.FC.>")
	return &server.Permissions{
		Publish:   &server.SubjectPermission{Allow: publish},
		Subscribe: &server.SubjectPermission{Allow: []string{inboxPrefix + ".>", rollSubject, recallSubject}},
	}
}

// isGone reports whether err says that something is not on the engine.
func isGone(err error) bool {
	return errors.Is(err, jetstream.ErrObjectNotFound) || errors.Is(err, jetstream.ErrConsumerNotFound) ||
		errors.Is(err, jetstream.ErrStreamNotFound) || errors.Is(err, jetstream.ErrBucketNotFound) ||
		errors.Is(err, jetstream.ErrMsgNotFound)
}
