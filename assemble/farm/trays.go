package farm

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"hash/fnv"
	"slices"
	"strconv"
	"sync"
	"time"

	"github.com/nats-io/nats.go"

	"ripieno/assemble/order"
)

// trays is how many trays the orders of a class wait in. Those whose largest file is the
// same wait in the same one, and a worker looks first where it found something last: so
// work goes where its bytes are, and nobody keeps account of who has what.
const trays = 16

// sorting gives files trays, each the next one in turn: of sixteen files that are read at the
// same time no two share one, as they would by lot.
type sorting struct {
	mu    sync.Mutex
	files map[string]int // by hash
}

// trayOf returns the tray of an order, a hexadecimal digit. Orders that read nothing wait in one
// by their key.
func (s *sorting) trayOf(o order.Order) string {
	by, most := "", int64(0)
	for _, f := range o.Inputs {
		if f.Size > most {
			by, most = f.Hash, f.Size
		}
	}
	if by == "" {
		return o.Key[:1]
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	at, known := s.files[by]
	if !known {
		at = len(s.files) % trays
		s.files[by] = at
	}
	return strconv.FormatInt(int64(at), 16)
}

// trayName returns what the engine calls a tray.
func trayName(class, tray string) string { return class + "-" + tray }

// round is the order in which a worker looks through the trays.
type round []string

// newRound begins somewhere else for every name, so that workers do not all look at the
// same tray.
func newRound(name string) round {
	h := fnv.New32a()
	_, _ = h.Write([]byte(name))
	var r round
	for k := range uint32(trays) {
		r = append(r, strconv.FormatUint(uint64((h.Sum32()+k)%trays), 16))
	}
	return r
}

// found moves a tray to the front.
func (r round) found(tray string) {
	at := slices.Index(r, tray)
	copy(r[1:], r[:at])
	r[0] = tray
}

const (
	// lookAgain is how often a worker with nothing to do looks through the trays when it is
	// told of nothing new: of orders that others have lost it is not.
	lookAgain = time.Second
	// ownTrays is how many trays a worker looks at first, those in which it found something
	// last, and reserved for how long it leaves the others to those whose they are. (Zaharia and
	// others, Delay scheduling, 2010.)
	ownTrays = 2
	reserved = 150 * time.Millisecond
	// yielded is for how long a worker whose cores all work leaves an order to others who may
	// have nothing to do, before it looks for one ahead: they look after reserved.
	yielded = 2 * reserved
	// answerTime is how long a hub may take to say what is in a tray.
	answerTime = 2 * time.Second
)

// next waits until there is an order. Only one loop of a worker looks at a time. It fails
// when nobody renders with this class now, the hub is not there, or ctx ends.
func (w *worker) next(ctx context.Context) (*taken, error) {
	select {
	case w.looking <- struct{}{}:
		defer func() { <-w.looking }()
	case <-ctx.Done():
		return nil, ctx.Err()
	}
	for began := time.Now(); ; {
		where, wait := slices.Clone(w.round), lookAgain
		if left := reserved - time.Since(began); left > 0 && w.own > 0 {
			where, wait = where[:w.own], left
		}
		for _, tray := range where {
			m, err := w.pick(ctx, tray)
			if err != nil {
				return nil, err
			}
			if m != nil {
				w.round.found(tray)
				w.own = min(w.own+1, ownTrays)
				return m, nil
			}
		}
		select {
		case <-ctx.Done():
			return nil, ctx.Err()
		case <-w.given:
		case <-time.After(wait):
		}
	}
}

// pick takes an order out of a tray; nil when there is none.
func (w *worker) pick(ctx context.Context, tray string) (m *taken, err error) {
	ctx, stop := context.WithTimeout(ctx, answerTime)
	defer stop()
	// An inbox of its own, which is gone when this has ended: then the hub keeps what it would
	// have said too late. Not one of those for answers (NewRespInbox): the client listens on all
	// of them for ever, so orders would be given to questions that nobody asks any more, and it
	// takes an order that comes there for the answer to any other question that is open.
	inbox := w.nc.NewInbox()
	answers, err := w.nc.SubscribeSync(inbox)
	if err != nil {
		return nil, err
	}
	defer func() { _ = answers.Unsubscribe() }()
	ask := "$JS.API.CONSUMER.MSG.NEXT." + ordersStream + "." + trayName(w.Class.ID(), tray)
	if err := w.nc.PublishRequest(ask, inbox, []byte(`{"batch":1,"no_wait":true}`)); err != nil {
		return nil, err
	}
	said, err := answers.NextMsgWithContext(ctx)
	switch {
	case errors.Is(err, context.DeadlineExceeded): // the engine forgets one when a tray is being emptied
		return nil, nil
	case err != nil:
		return nil, err
	}
	switch status := said.Header.Get("Status"); {
	case status == "" && said.Reply != "":
		return &taken{said, w.nc}, nil
	case status != "404" && status != "408":
		return nil, fmt.Errorf("farm: the hub says %s %s", status, said.Header.Get("Description"))
	}
	return nil, nil
}

// taken is an order that a worker has taken out of a tray. Until it says what became of it
// the order is its own, for a lease from what it said last.
type taken struct {
	*nats.Msg
	nc *nats.Conn
}

func (t *taken) say(word string) { _ = t.nc.Publish(t.Reply, []byte(word)) }

// goOn says that it is worked on.
func (t *taken) goOn() { t.say("+WPI") }

// leave gives it to others after a time; none is at once.
func (t *taken) leave(after time.Duration) {
	if after <= 0 {
		t.say("-NAK")
		return
	}
	if wait, err := json.Marshal(map[string]int64{"delay": after.Nanoseconds()}); err == nil {
		t.say("-NAK " + string(wait))
	}
}

// drop takes it out of the queue for good, without a result.
func (t *taken) drop(why string) { t.say("+TERM " + why) }

// done takes it out of the queue, and waits for some seconds until the hub has heard that: one
// that was killed says nothing.
func (t *taken) done(ctx context.Context) {
	ctx, stop := context.WithTimeout(ctx, answerTime)
	defer stop()
	_, _ = t.nc.RequestWithContext(ctx, t.Reply, []byte("+ACK")) // else another makes it again
}
