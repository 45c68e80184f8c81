package farm

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"os"
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
	if err != nil {
		return a, fmt.Errorf("farm: this hub gives no invitations in names: %w", err)
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
	if !isGuest(name) {
		return answer{Failed: fmt.Sprintf("an invitation's name is small letters, digits and hyphens, and not %q",
			name)}
	}
	if _, known := h.id.Guests[name]; !known {
		seed, err := newSeed()
		if err != nil {
			return answer{Failed: err.Error()}
		}
		if h.id.Guests == nil {
			h.id.Guests = map[string]string{}
		}
		h.id.Guests[name] = seed
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
	seed, known := h.id.Guests[name]
	if !known {
		return answer{Failed: fmt.Sprintf("nobody was invited as %q; ripieno serve --renew makes all invitations void",
			name)}
	}
	delete(h.id.Guests, name)
	if err := h.renew(); err != nil {
		h.id.Guests[name] = seed
		return answer{Failed: err.Error()}
	}
	return answer{}
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
	for name, seed := range id.Guests {
		if err := add(seed, name); err != nil {
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
	temp := path + ".new"
	if err := os.WriteFile(temp, data, 0o600); err != nil {
		return err
	}
	return os.Rename(temp, path)
}
