package farm

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"maps"
	"os"
	"slices"
	"strings"
	"time"

	"github.com/nats-io/nats-server/v2/server"
	"github.com/nats-io/nats.go"
)

// Everybody is the name of the invitation that a hub prints for all who help. Others
// have a name of their own, and can be revoked one by one.
const everybody = "all"

// What a home asks of a hub; a worker's key may not.
const (
	inviteSubject = "hub.invite"
	revokeSubject = "hub.revoke"
)

// answer is what a hub says to a home.
type answer struct {
	Invitation string `json:"invitation,omitempty"`
	Failed     string `json:"failed,omitempty"`
}

// Invite asks the hub of a home's invitation for one in the name of somebody who helps.
// The same name gets the same one again, until it is revoked.
func Invite(ctx context.Context, home Invitation, name string) (Invitation, error) {
	a, err := ask(ctx, home, inviteSubject, name)
	if err != nil {
		return Invitation{}, err
	}
	return ParseInvitation(a.Invitation)
}

// Revoke makes the invitation in a name void: machines that use it are cut off, and what
// they had begun goes to others.
func Revoke(ctx context.Context, home Invitation, name string) error {
	_, err := ask(ctx, home, revokeSubject, name)
	return err
}

// ask sends a hub a name and returns what it says.
func ask(ctx context.Context, home Invitation, subject, name string) (a answer, err error) {
	nc, err := home.dial("home")
	if err != nil {
		return a, err
	}
	defer nc.Close()
	ctx, cancel := context.WithTimeout(ctx, 10*time.Second)
	defer cancel()
	m, err := nc.RequestWithContext(ctx, subject, []byte(name))
	if errors.Is(err, nats.ErrNoResponders) {
		return a, errors.New("farm: this hub gives no invitations in names; of an administrator's server " +
			"ripieno serve --config-for does, with --invite and --revoke")
	}
	if err != nil {
		return a, fmt.Errorf("farm: asking the hub: %w", err)
	}
	if err := json.Unmarshal(m.Data, &a); err != nil {
		return a, fmt.Errorf("farm: the hub says something unknown: %w", err)
	}
	if a.Failed != "" {
		err = errors.New(a.Failed)
	}
	return a, err
}

// isGuest reports whether a name can be that of an invitation: small letters, digits
// and hyphens, and none that has a meaning.
func isGuest(name string) bool {
	return name != "" && len(name) <= 40 && name != everybody &&
		strings.Trim(name, "abcdefghijklmnopqrstuvwxyz0123456789-") == ""
}

// hear answers a home's wishes until the hub is closed.
func (h *Hub) hear() error {
	for subject, do := range map[string]func(name string) answer{inviteSubject: h.invite, revokeSubject: h.revoke} {
		_, err := h.nc.Subscribe(subject, func(m *nats.Msg) {
			if data, err := json.Marshal(do(string(m.Data))); err == nil {
				_ = m.Respond(data)
			}
		})
		if err != nil {
			return err
		}
	}
	return h.nc.Flush()
}

// invite returns the invitation in a name, and makes it up when there is none.
func (h *Hub) invite(name string) answer {
	h.mu.Lock()
	defer h.mu.Unlock()
	_, known := h.id.Guests[name]
	if err := h.id.addGuest(name); err != nil {
		return answer{Failed: err.Error()}
	}
	if !known {
		if err := h.renew(); err != nil {
			delete(h.id.Guests, name)
			return answer{Failed: err.Error()}
		}
	}
	in := h.Workers
	in.Seed, in.Guest = h.id.Guests[name], name
	return answer{Invitation: in.String()}
}

// revoke makes the invitation in a name void.
func (h *Hub) revoke(name string) answer {
	h.mu.Lock()
	defer h.mu.Unlock()
	seed := h.id.Guests[name]
	if err := h.id.dropGuest(name); err != nil {
		return answer{Failed: err.Error()}
	}
	if err := h.renew(); err != nil {
		h.id.Guests[name] = seed
		return answer{Failed: err.Error()}
	}
	return answer{}
}

// addGuest makes up the key of a name that has none.
func (id *identity) addGuest(name string) error {
	if !isGuest(name) {
		return fmt.Errorf("an invitation's name is small letters, digits and hyphens, and not %q", name)
	}
	if _, known := id.Guests[name]; known {
		return nil
	}
	seed, err := newSeed()
	if err != nil {
		return err
	}
	if id.Guests == nil {
		id.Guests = map[string]string{}
	}
	id.Guests[name] = seed
	return nil
}

// dropGuest forgets the key of a name.
func (id *identity) dropGuest(name string) error {
	if _, known := id.Guests[name]; !known {
		return fmt.Errorf("nobody was invited as %q; ripieno serve --renew makes all invitations void", name)
	}
	delete(id.Guests, name)
	return nil
}

// renew keeps who is invited, and lets the engine know. Whoever is no more is cut off.
func (h *Hub) renew() error {
	if err := h.id.save(h.path); err != nil {
		return err
	}
	users, err := h.id.users()
	if err != nil {
		return err
	}
	o := h.options.Clone()
	o.Nkeys = users
	return h.server.ReloadOptions(o)
}

// users returns the keys that a hub knows, and what each may.
func (id identity) users() ([]*server.NkeyUser, error) {
	home, err := publicKey(id.Home)
	if err != nil {
		return nil, err
	}
	list := []*server.NkeyUser{{Nkey: home}}
	add := func(seed, name string) error {
		key, err := publicKey(seed)
		if err == nil {
			list = append(list, &server.NkeyUser{Nkey: key, Permissions: workerMay(name)})
		}
		return err
	}
	if err := add(id.Workers, everybody); err != nil {
		return nil, err
	}
	for _, name := range slices.Sorted(maps.Keys(id.Guests)) {
		if err := add(id.Guests[name], name); err != nil {
			return nil, err
		}
	}
	return list, nil
}

// save writes who the hub is, whole or not at all.
func (id identity) save(path string) error {
	data, err := json.Marshal(id)
	if err != nil {
		return err
	}
	return writeWhole(path, data)
}

// writeWhole writes a file for its owner alone, whole or not at all.
func writeWhole(path string, data []byte) error {
	temp := path + ".new"
	if err := os.WriteFile(temp, data, 0o600); err != nil {
		return err
	}
	if err := giveToOwner(temp); err != nil {
		return err
	}
	return os.Rename(temp, path)
}
