package farm

import (
	"crypto/sha256"
	"crypto/tls"
	"crypto/x509"
	"encoding/hex"
	"errors"
	"fmt"
	"net"
	"strconv"
	"strings"
	"time"

	"github.com/nats-io/nats.go"
	"github.com/nats-io/nkeys"
)

// Invitation is what someone needs to reach a hub: its address, the fingerprint of
// its certificate, and the key that says who they are there. Whoever has it may do
// what that key may.
type Invitation struct {
	Address string // host:port; those of a cluster with commas between
	Print   string // SHA-256 of the certificate, 64 hexadecimal digits
	Seed    string // of the key
	Guest   string // whom it invites by name; "" for all who have it
}

// String returns the invitation in one line, as [ParseInvitation] reads it.
func (i Invitation) String() string {
	text := i.Address + "/" + i.Print + "/" + i.Seed
	if i.Guest != "" {
		text += "/" + i.Guest
	}
	return text
}

// ParseInvitation reads an invitation. The error says which part is wrong and never
// repeats the key.
func ParseInvitation(text string) (Invitation, error) {
	parts := strings.Split(strings.TrimSpace(text), "/")
	if len(parts) == 4 && !isGuest(parts[3]) || len(parts) < 3 || len(parts) > 4 {
		return Invitation{}, errors.New("the invitation has three parts, or four, with / between them: " +
			"an address, a fingerprint, a key, and the name of whom it invites where it has one")
	}
	i := Invitation{Address: parts[0], Print: strings.ToLower(parts[1]), Seed: parts[2]}
	if len(parts) == 4 {
		i.Guest = parts[3]
	}
	if err := checkAddress(i.Address); err != nil {
		return Invitation{}, fmt.Errorf("the invitation's address: %w", err)
	}
	if b, err := hex.DecodeString(i.Print); err != nil || len(b) != sha256.Size {
		return Invitation{}, errors.New("the invitation's fingerprint is not 64 hexadecimal digits")
	}
	if _, err := nkeys.FromSeed([]byte(i.Seed)); err != nil {
		return Invitation{}, errors.New("the invitation's key is damaged: copy the whole line")
	}
	return i, nil
}

// checkAddress fails unless text is host:port, or several of them with commas between.
func checkAddress(text string) error {
	for one := range strings.SplitSeq(text, ",") {
		host, port, err := net.SplitHostPort(one)
		if err == nil {
			_, err = strconv.ParseUint(port, 10, 16)
		}
		if err != nil || host == "" || strings.ContainsAny(host, "/@ ") {
			return fmt.Errorf("%q is not HOST:PORT", one)
		}
	}
	return nil
}

// urls returns the servers of an address as the engine's client wants them.
func urls(address string) string { return "tls://" + strings.ReplaceAll(address, ",", ",tls://") }

// errStranger is why a connection to something that is not the hub invited to ends.
var errStranger = errors.New(
	"the certificate is not the one of the invitation: this is another hub, or somebody in between")

// dial connects to the hub. It goes on by itself when the connection is lost, until
// it is closed.
func (i Invitation) dial(name string, more ...nats.Option) (*nats.Conn, error) {
	key, err := nkeys.FromSeed([]byte(i.Seed))
	if err != nil {
		return nil, errors.New("farm: the invitation's key is damaged")
	}
	public, err := key.PublicKey()
	if err != nil {
		return nil, err
	}
	options := append([]nats.Option{
		nats.Name(name), nats.Nkey(public, key.Sign), nats.Secure(i.pinned()), nats.Timeout(10 * time.Second),
		nats.MaxReconnects(-1), nats.ReconnectWait(reconnectWait), nats.ReconnectBufSize(-1),
		nats.PingInterval(10 * time.Second), nats.MaxPingsOutstanding(2),
		nats.ErrorHandler(func(*nats.Conn, *nats.Subscription, error) {}), // calls return what concerns them
	}, more...)
	nc, err := nats.Connect(urls(i.Address), options...)
	if errors.Is(err, nats.ErrAuthorization) {
		// While a hub takes in who else is invited, it refuses whoever knocks.
		time.Sleep(reconnectWait / 4)
		nc, err = nats.Connect(urls(i.Address), options...)
	}
	switch {
	case err == nil:
		return nc, nil
	case strings.Contains(err.Error(), errStranger.Error()):
		return nil, fmt.Errorf("farm: %s: %w", i.Address, errStranger)
	case errors.Is(err, nats.ErrAuthorization):
		return nil, fmt.Errorf("farm: %s does not know this invitation (any more): ask for a new one", i.Address)
	}
	return nil, fmt.Errorf("farm: %s cannot be reached: %w", i.Address, err)
}

// pinned returns a configuration that accepts the one certificate and no other,
// whoever signed it.
func (i Invitation) pinned() *tls.Config {
	return &tls.Config{
		MinVersion: tls.VersionTLS13,
		// The usual check asks authorities; this one compares with what the person
		// was told.
		InsecureSkipVerify: true,
		VerifyConnection: func(s tls.ConnectionState) error {
			if len(s.PeerCertificates) == 0 || fingerprint(s.PeerCertificates[0]) != i.Print {
				return errStranger
			}
			return nil
		},
	}
}

// fingerprint returns the SHA-256 of a certificate in hexadecimal digits.
func fingerprint(c *x509.Certificate) string {
	sum := sha256.Sum256(c.Raw)
	return hex.EncodeToString(sum[:])
}
