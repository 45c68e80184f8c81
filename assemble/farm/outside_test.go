package farm

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"reflect"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/nats-io/nats-server/v2/server"

	"ripieno/assemble/farm/farmtest"
)

// TestAnOutsideServerIsConfiguredAsAHub reads what is written with the engine's own reader:
// the same keys with the same permissions, the same bounds, TLS 1.3 with the certificate
// that the invitations tell.
func TestAnOutsideServerIsConfiguredAsAHub(t *testing.T) {
	t.Parallel()
	dir := filepath.Join(t.TempDir(), `a "folder" of hubs`)
	out, err := Configure(OutsideOptions{Dir: dir, Address: "hub.example:4222", Space: 3e9, Invite: "anna"})
	if err != nil {
		t.Fatal(err)
	}
	got, err := server.ProcessConfigFile(out.Config)
	if err != nil {
		t.Fatal(err)
	}
	id, err := identify(filepath.Join(dir, identityFile), false)
	if err != nil {
		t.Fatal(err)
	}
	want, err := id.users()
	if err != nil || len(want) != 3 || len(got.Nkeys) != 3 {
		t.Fatalf("%d keys of %d, %v", len(got.Nkeys), len(want), err)
	}
	for _, w := range want {
		k := slices.IndexFunc(got.Nkeys, func(u *server.NkeyUser) bool { return u.Nkey == w.Nkey })
		if k < 0 || got.Nkeys[k].Account.Name != accountName {
			t.Fatalf("no key %s: %+v", w.Nkey, got.Nkeys)
		}
		if w.Permissions == nil {
			if p := got.Nkeys[k].Permissions; p != nil {
				t.Errorf("the home may only %+v", p)
			}
			continue
		}
		if p := got.Nkeys[k].Permissions; p == nil || !reflect.DeepEqual(p.Publish, w.Permissions.Publish) ||
			!reflect.DeepEqual(p.Subscribe, w.Permissions.Subscribe) || p.Response != nil {
			t.Errorf("%s may %+v instead of %+v", w.Nkey, p, w.Permissions)
		}
	}
	print, err := printOf([]byte(id.Certificate))
	if err != nil || out.Home.Print != print || out.Workers.Print != print {
		t.Errorf("fingerprints %s, %s of %s, %v", out.Home.Print, out.Workers.Print, print, err)
	}
	if !got.JetStream || got.JetStreamMaxStore != 3e9 || got.MaxPayload != maxMessage || got.MaxPending != maxPending ||
		got.Port != 4222 || got.TLSConfig == nil || got.TLSConfig.MinVersion != 0x0304 { // TLS 1.3, RFC 8446
		t.Errorf("%+v", got)
	}
	entries, err := os.ReadDir(dir)
	for _, e := range entries {
		info, err := e.Info()
		if err != nil || info.Mode().Perm()&0o077 != 0 {
			t.Errorf("others may read %s: %v, %v", e.Name(), info.Mode(), err)
		}
	}
	if err != nil || len(entries) != 5 {
		t.Errorf("%d files, %v", len(entries), err)
	}
}

// TestWhoAnOutsideServerInvites: the same folder invites the same machines, names have keys
// of their own until they are revoked, and a renewed one invites nobody of before.
func TestWhoAnOutsideServerInvites(t *testing.T) {
	t.Parallel()
	o := OutsideOptions{Dir: t.TempDir(), Address: "one.example:4222,two.example:4222"}
	set := func(change func(o *OutsideOptions)) Outside {
		t.Helper()
		o := o
		change(&o)
		out, err := Configure(o)
		if err != nil {
			t.Fatal(err)
		}
		for _, in := range []Invitation{out.Home, out.Workers} {
			if back, err := ParseInvitation(in.String()); err != nil || back != in {
				t.Errorf("%+v, %v", back, err)
			}
		}
		return out
	}
	count := func(seed string) int {
		key, err := publicKey(seed)
		if err != nil {
			t.Fatal(err)
		}
		text, err := os.ReadFile(filepath.Join(o.Dir, accountFile))
		if err != nil {
			t.Fatal(err)
		}
		return strings.Count(string(text), key)
	}
	first := set(func(*OutsideOptions) {})
	anna := set(func(o *OutsideOptions) { o.Invite = "anna" })
	if anna.Home != first.Home || anna.Workers != first.Workers || anna.Guest.Guest != "anna" ||
		count(anna.Guest.Seed) != 1 {
		t.Errorf("%+v, %+v", first, anna)
	}
	own := filepath.Join(o.Dir, "own.pem")
	certificate, _, err := certify()
	if err == nil {
		err = os.WriteFile(own, []byte("-----BEGIN X-----\n-----END X-----\n"+certificate), 0o600)
	}
	if err != nil {
		t.Fatal(err)
	}
	theirs := set(func(o *OutsideOptions) { o.Certificate = own })
	if print, _ := printOf([]byte(certificate)); theirs.Home.Print != print || theirs.Home.Seed != first.Home.Seed ||
		theirs.Config != filepath.Join(o.Dir, accountFile) {
		t.Errorf("%+v", theirs)
	}
	set(func(o *OutsideOptions) { o.Revoke = "anna" })
	if count(anna.Guest.Seed) != 0 || count(first.Workers.Seed) != 1 {
		t.Error("who is revoked is let in, or others are not")
	}
	if set(func(o *OutsideOptions) { o.Renew = true }).Home == first.Home || count(first.Home.Seed) != 0 {
		t.Error("an old invitation is let in")
	}
	for name, change := range map[string]func(o *OutsideOptions){
		"no address":       func(o *OutsideOptions) { o.Address = "hub.example" },
		"no port":          func(o *OutsideOptions) { o.Address = "hub.example:x" },
		"two parts":        func(o *OutsideOptions) { o.Address = "hub.example:1/x:2" },
		"no name":          func(o *OutsideOptions) { o.Invite = "A B" },
		"nobody":           func(o *OutsideOptions) { o.Revoke = "ben" },
		"no certificate":   func(o *OutsideOptions) { o.Certificate = filepath.Join(o.Dir, accountFile) },
		"a missing file":   func(o *OutsideOptions) { o.Certificate = filepath.Join(o.Dir, "nothing") },
		"a file as folder": func(o *OutsideOptions) { o.Dir = own },
	} {
		o := o
		if change(&o); o.Dir != "" {
			if out, err := Configure(o); err == nil {
				t.Errorf("%s: %+v", name, out)
			}
		}
	}
}

// TestAnOutsideServerIsAHub starts the engine's own server in a process of its own by what
// is written for it: orders, keys, strangers, kills of it and of workers end as with a hub.
func TestAnOutsideServerIsAHub(t *testing.T) {
	t.Parallel()
	program := farmtest.Build(t)
	t.Run("orders", func(t *testing.T) {
		t.Parallel()
		tr := gather(t, program)
		for _, name := range []string{"first", "second"} {
			workHere(t, tr.workers, WorkerOptions{Name: name, Cores: 2, Class: class, Rules: map[string]Rule{"double": double}})
		}
		giveTwelve(t, joinHere(t, tr.home, 4))
	})
	t.Run("keys", func(t *testing.T) {
		t.Parallel()
		tr := gather(t, program)
		tryWorkersKey(t, tr.home, tr.workers)
		other := tr.home
		other.Print = strings.Repeat("0f", 32)
		stranger := tr.home
		var err error
		if stranger.Seed, err = newSeed(); err != nil {
			t.Fatal(err)
		}
		for name, in := range map[string]Invitation{"another certificate": other, "an unknown key": stranger} {
			if nc, err := in.dial("stranger"); err == nil {
				nc.Close()
				t.Errorf("%s is let in", name)
			}
		}
		if _, err := Invite(t.Context(), tr.home, "anna"); err == nil || !strings.Contains(err.Error(), "--config-for") {
			t.Errorf("who invites there: %v", err)
		}
	})
	t.Run("kills", func(t *testing.T) {
		t.Parallel()
		outliveKills(t, gather(t, program))
	})
	t.Run("nobody finishes", func(t *testing.T) {
		t.Parallel()
		tr := gather(t, program)
		o := workers(double)
		o.Tell = func(string) {}
		workHere(t, tr.workers, o)
		home := joinHere(t, tr.home, 1)
		plant(t, home.depot, readShelf, hashText([]byte("once ")), "evil ")
		if _, err := makeHere(t, home, 1); !errors.Is(err, errGivenUp) {
			t.Errorf("%v", err)
		}
		if home.sent.space[readShelf] != 200e6/16*8/4*3 {
			t.Errorf("the home takes the room there for %v bytes", home.sent.space)
		}
	})
	t.Run("revoked", func(t *testing.T) { revokeOutside(t, program) })
}

// revokeOutside invites somebody by name to a server that runs, and revokes that again.
func revokeOutside(t *testing.T, program string) {
	t.Parallel()
	o := OutsideOptions{Dir: t.TempDir(), Address: "127.0.0.1:4222", Space: 200e6, Invite: "anna"}
	out, err := Configure(o)
	if err != nil {
		t.Fatal(err)
	}
	s := farmtest.Start(t, program, out.Config, "")
	anna, all := *out.Guest, out.Workers
	anna.Address, all.Address = s.Address, s.Address
	ended := make(chan error, 1)
	w := workers(double)
	w.Name, w.Dir, w.Space = "laptop", filepath.Join(t.TempDir(), "work"), 1e6
	go func() { ended <- Work(t.Context(), anna, w) }()
	box := workers(double)
	box.Name = "box"
	workHere(t, all, box)
	out.Home.Address = s.Address
	home := joinHere(t, out.Home, 2)
	names := func() (list []string) {
		for _, m := range home.Machines() {
			list = append(list, m.Guest+" "+m.Name)
		}
		return list
	}
	if got := fmt.Sprint(names()); got != "[all box anna laptop]" {
		t.Errorf("there are %s", got)
	}
	o.Invite, o.Revoke = "", "anna"
	if _, err := Configure(o); err != nil {
		t.Fatal(err)
	}
	s.Reload(t, program)
	select {
	case err := <-ended:
		if !errors.Is(err, errRevoked) {
			t.Errorf("who is revoked ends with %v", err)
		}
	case <-time.After(time.Minute):
		t.Fatal("who is revoked goes on")
	}
	if text, err := makeHere(t, home, 1); err != nil || text != "once once " {
		t.Errorf("with the other: %q, %v", text, err)
	}
}
