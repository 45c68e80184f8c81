package farm

import (
	"cmp"
	"context"
	"encoding/json"
	"fmt"
	"slices"
	"strings"
	"sync"
	"time"

	"github.com/nats-io/nats.go"
)

// Class says which machines make the same bytes: those for which all of it is
// equal. Its fields are compared as texts; nobody reads them but people who ask why.
type Class struct {
	Rules  string `json:"rules"`  // versions of the rules
	FFmpeg string `json:"ffmpeg"` // the whole answer of ffmpeg -version
	Arch   string `json:"arch"`   // of processor and system
	Trial  string `json:"trial"`  // hash of outputs made as a trial
}

// ID returns the class as a SHA-256.
func (c Class) ID() string {
	data, err := json.Marshal(c)
	if err != nil { // four strings
		panic(err)
	}
	return hashText(data)
}

// Differs says in one sentence why machines of two classes do not make the same
// bytes; empty when they do.
func (c Class) Differs(home Class) string {
	first := func(text string) string { line, _, _ := strings.Cut(text, "\n"); return line }
	switch {
	case c.Rules != home.Rules:
		return "it runs another version of ripieno"
	case first(c.FFmpeg) != first(home.FFmpeg):
		return fmt.Sprintf("its ffmpeg is another one (%.60q there, %.60q here)", first(c.FFmpeg), first(home.FFmpeg))
	case c.FFmpeg != home.FFmpeg:
		return "its ffmpeg has the same version and was built in another way"
	case c.Arch != home.Arch:
		return fmt.Sprintf("its processor is another one (%s there, %s here)", c.Arch, home.Arch)
	case c.Trial != home.Trial:
		return "its trial film came out with other bytes: its processor computes in another way"
	}
	return ""
}

// Machine is a worker as it tells of itself.
type Machine struct {
	Name  string   `json:"name"`
	Cores int      `json:"cores"`
	Class Class    `json:"class"`
	Doing []string `json:"doing,omitempty"` // rules and first digits of keys
	Takes bool     `json:"takes,omitempty"` // it sees the folder of takes that several see
	Guest string   `json:"-"`               // the name of its invitation, as the hub knows it
}

// bounds of what a machine may say of itself
const (
	maxHere  = 64 << 10
	maxCores = 4096
)

// crew keeps who works.
type crew struct {
	mu   sync.Mutex
	seen map[string]sighting
}

// sighting is a machine and when it was last heard of; one that stays silent is gone.
type sighting struct {
	Machine
	at time.Time
}

// watch listens for machines until the connection is closed.
func (c *crew) watch(nc *nats.Conn) error {
	c.seen = map[string]sighting{}
	_, err := nc.Subscribe(herePrefix+"*.*", func(m *nats.Msg) { c.hear(m.Subject, m.Data) })
	if err == nil {
		err = nc.Publish(rollSubject, nil)
	}
	if err == nil {
		err = nc.Flush()
	}
	return err
}

// hear takes in what a machine says of itself; what makes no sense is left out.
// Whoever holds a worker's key may say anything, so numbers are bounded before they
// are used.
func (c *crew) hear(subject string, data []byte) {
	var m Machine
	if len(data) > maxHere || json.Unmarshal(data, &m) != nil || m.Name == "" || m.Cores < 0 || m.Cores > maxCores {
		return
	}
	m.Guest, _, _ = strings.Cut(strings.TrimPrefix(subject, herePrefix), ".")
	c.mu.Lock()
	defer c.mu.Unlock()
	if m.Cores == 0 { // its last word
		delete(c.seen, m.Name)
		return
	}
	c.seen[m.Name] = sighting{m, time.Now()}
}

// present returns the machines heard of lately, by name.
func (c *crew) present() []Machine {
	c.mu.Lock()
	defer c.mu.Unlock()
	var list []Machine
	for _, s := range c.seen {
		if time.Since(s.at) < silence*hereEvery {
			list = append(list, s.Machine)
		}
	}
	slices.SortFunc(list, func(a, b Machine) int { return strings.Compare(a.Name, b.Name) })
	return list
}

// room returns how many cores and machines of a class are present. It trusts what
// machines say of themselves: one that lies gets orders, and its results are hashed
// and some of them made again.
func (c *crew) room(class string) (cores, machines int) {
	for _, m := range c.present() {
		if m.Class.ID() == class {
			cores += m.Cores
			machines++
		}
	}
	return cores, machines
}

// seeTakes reports whether all machines of a class see the folder of takes.
func (c *crew) seeTakes(class string) bool {
	any := false
	for _, m := range c.present() {
		if m.Class.ID() == class {
			if !m.Takes {
				return false
			}
			any = true
		}
	}
	return any
}

// idle returns how many cores of a class have nothing to do, as far as is known here.
func (c *crew) idle(class string) int {
	n := 0
	for _, m := range c.present() {
		if m.Class.ID() == class {
			n += max(0, m.Cores-len(m.Doing))
		}
	}
	return n
}

// announce says every few seconds who works here, and when somebody asks, until ctx
// ends, and then that it is gone. Its last word has no cores, by which others know
// that it left and did not fall silent.
func announce(ctx context.Context, nc *nats.Conn, guest string, tell func() Machine) {
	say := func(m Machine) {
		if data, err := json.Marshal(m); err == nil {
			_ = nc.Publish(herePrefix+cmp.Or(guest, everybody)+"."+m.Name, data)
		}
	}
	tick := time.NewTicker(hereEvery)
	defer tick.Stop()
	if s, err := nc.Subscribe(rollSubject, func(*nats.Msg) { say(tell()) }); err == nil {
		defer func() { _ = s.Unsubscribe() }()
	}
	for {
		say(tell())
		select {
		case <-ctx.Done():
			m := tell()
			say(Machine{Name: m.Name})
			_ = nc.FlushTimeout(time.Second)
			return
		case <-tick.C:
		}
	}
}
