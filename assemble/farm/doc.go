// Package farm has tasks of a production made on other machines: those of
// volunteers in one evening, or of a cluster.
//
// Three parts meet on an engine that is kept by others, NATS JetStream, which
// queues, leases, stores and guards:
//   - [Serve] runs a hub, the engine in this process, and prints whom it invites.
//   - [Join] connects the home, where the production lies: a [Home] gives out
//     [order.Order]s with the files they read, and takes results in.
//   - [Work] carries orders out by rules it knows, in a folder of its own.
//
// The engine is never the truth. The store of the production is; a hub that is lost
// with all it holds costs sending again. So nothing here is replicated, nothing is
// listed, and every file is hashed before it is used, on both sides.
//
// What goes wrong away is made at home: [Home.Make] returns an error, and whoever
// called it makes the output as if there were no farm.
//
// A connection is TLS 1.3 to the one certificate whose fingerprint the [Invitation]
// tells, and whoever connects proves a key. A worker's key may take orders of its
// class, read files by their hashes, and say what it made; it can neither give
// orders nor replace or delete anything.
package farm

import "time"

var (
	// lease is for how long an order is a worker's without a word from it. Tests
	// shorten it.
	lease = 30 * time.Second
	// hereEvery is how often a machine tells of itself; after silence times that it is
	// taken for gone.
	hereEvery = 5 * time.Second
	// slowest is how many bytes a second the line of a volunteer carries at least.
	slowest = 100e3
	// reconnectWait is the pause before a lost connection is tried again.
	reconnectWait = 2 * time.Second
)

const (
	silence = 4
	// beats is how often in a lease a worker says that it still works.
	beats = 3
	// tries is how many workers an order is given to, one after the other.
	tries = 3
)
