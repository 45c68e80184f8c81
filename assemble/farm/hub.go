package farm

import (
	"context"
	"crypto/ed25519"
	"crypto/rand"
	"crypto/tls"
	"crypto/x509"
	"crypto/x509/pkix"
	"encoding/json"
	"encoding/pem"
	"errors"
	"fmt"
	"math/big"
	"net"
	"os"
	"path/filepath"
	"strconv"
	"sync"
	"time"

	"github.com/nats-io/nats-server/v2/server"
	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/jetstream"
	"github.com/nats-io/nkeys"
)

// HubOptions say how a hub is run.
type HubOptions struct {
	Dir    string // of what the hub keeps; made when it is not there. Not on a network share.
	Listen string // host:port; port 0 takes a free one
	Space  int64  // bytes that it may fill; 0 is 20 GB
	// Renew makes a new certificate and new keys: invitations given before are void.
	Renew bool
}

// Hub is the engine in this process.
type Hub struct {
	server  *server.Server
	options *server.Options
	nc      *nats.Conn // as a home, to hear what homes ask for
	path    string     // of the identity

	mu sync.Mutex
	id identity
	// Home invites the machine with the production, Workers all that help.
	Home, Workers Invitation
}

// identity is what makes a hub the one that was invited to.
type identity struct {
	Certificate string `json:"certificate"`
	Key         string `json:"key"`
	Home        string `json:"home"`    // seed
	Workers     string `json:"workers"` // seed
	// Guests are the seeds of invitations in names.
	Guests map[string]string `json:"guests,omitempty"`
}

const (
	defaultSpace = 20e9
	identityFile = "identity.json"
	startLimit   = 30 * time.Second // for the engine to look through what it kept
	maxMessage   = 2 << 20          // bytes: an order of 1 MB with room to spare
	maxPending   = 64 << 20         // bytes that may wait for one client
	hubMemory    = 16 << 20         // bytes of streams in memory, of which there are none
)

// Serve starts a hub. It is up when Serve returns, and runs until [Hub.Close].
func Serve(ctx context.Context, o HubOptions) (*Hub, error) {
	if o.Space <= 0 {
		o.Space = defaultSpace
	}
	host, port, err := splitListen(o.Listen)
	if err != nil {
		return nil, err
	}
	path, id, err := identifyIn(o.Dir, o.Renew)
	if err != nil {
		return nil, err
	}
	cert, err := tls.X509KeyPair([]byte(id.Certificate), []byte(id.Key))
	if err != nil {
		return nil, fmt.Errorf("farm: the hub's certificate is damaged; --renew makes another: %w", err)
	}
	users, err := id.users()
	if err != nil {
		return nil, err
	}
	options := &server.Options{
		ServerName: "ripieno", Host: host, Port: port, NoLog: true, NoSigs: true,
		JetStream: true, StoreDir: o.Dir, JetStreamMaxStore: o.Space, JetStreamMaxMemory: hubMemory,
		MaxPayload: maxMessage, MaxPending: maxPending, AuthTimeout: 10, TLSTimeout: 10,
		TLSConfig: &tls.Config{Certificates: []tls.Certificate{cert}, MinVersion: tls.VersionTLS13},
		Nkeys:     users,
	}
	s, err := server.NewServer(options)
	if err != nil {
		return nil, fmt.Errorf("farm: %w", err)
	}
	go s.Start()
	// A port that is taken shows only in that nothing ever answers.
	if !s.ReadyForConnections(startLimit) {
		s.Shutdown()
		return nil, fmt.Errorf("farm: the hub does not come up at %s: is something else listening there?", o.Listen)
	}
	h := &Hub{server: s, options: options, path: path, id: id}
	addr, ok := s.Addr().(*net.TCPAddr)
	if !ok {
		h.Close()
		return nil, errors.New("farm: the hub has no address")
	}
	at := net.JoinHostPort(reachable(host), strconv.Itoa(addr.Port))
	h.Home = Invitation{Address: at, Print: fingerprint(cert.Leaf), Seed: id.Home}
	h.Workers = Invitation{Address: at, Print: fingerprint(cert.Leaf), Seed: id.Workers}
	if err := h.prepare(ctx, o.Space); err != nil {
		h.Close()
		return nil, err
	}
	return h, nil
}

// prepare makes the streams and buckets, as the home would.
func (h *Hub) prepare(ctx context.Context, space int64) error {
	in := h.Home
	if _, port, err := net.SplitHostPort(in.Address); err == nil {
		in.Address = net.JoinHostPort(h.local(), port)
	}
	var err error
	if h.nc, err = in.dial("hub"); err != nil {
		return err
	}
	js, err := jetstream.New(h.nc)
	if err != nil {
		return err
	}
	if err := layOut(ctx, js, space); err != nil {
		return err
	}
	return h.hear()
}

// local returns the host by which this machine itself reaches the hub.
func (h *Hub) local() string {
	if a, ok := h.server.Addr().(*net.TCPAddr); ok && !a.IP.IsUnspecified() {
		return a.IP.String()
	}
	return "127.0.0.1"
}

// Close ends the hub. What it holds is there when it is started again.
func (h *Hub) Close() {
	if h.nc != nil {
		h.nc.Close()
	}
	h.server.Shutdown()
	h.server.WaitForShutdown()
}

// splitListen reads host:port.
func splitListen(text string) (string, int, error) {
	host, port, err := net.SplitHostPort(text)
	if err != nil {
		return "", 0, fmt.Errorf("invalid --listen %q: want HOST:PORT, such as 0.0.0.0:4747", text)
	}
	n, err := strconv.ParseUint(port, 10, 16)
	if err != nil {
		return "", 0, fmt.Errorf("invalid --listen %q: the port is a number to 65535", text)
	}
	if n == 0 {
		return host, server.RANDOM_PORT, nil
	}
	return host, int(n), nil
}

// reachable returns the host that others reach this machine by, for an invitation:
// the one it listens on, or the machine's name when it listens on all.
func reachable(host string) string {
	if ip := net.ParseIP(host); host != "" && (ip == nil || !ip.IsUnspecified()) {
		return host
	}
	// The address of the way out. Nothing is sent: a datagram has no handshake.
	if c, err := net.Dial("udp", "192.0.2.1:9"); err == nil {
		defer c.Close()
		if a, ok := c.LocalAddr().(*net.UDPAddr); ok {
			return a.IP.String()
		}
	}
	if name, err := os.Hostname(); err == nil {
		return name
	}
	return "127.0.0.1"
}

// identifyIn makes a hub's folder, which is for its owner alone since keys lie in it, and
// returns who the hub is and the path of the file that says so.
func identifyIn(dir string, renew bool) (path string, id identity, err error) {
	if err := os.MkdirAll(dir, 0o700); err != nil {
		return "", id, err
	}
	path = filepath.Join(dir, identityFile)
	id, err = identify(path, renew)
	return path, id, err
}

// identify reads who the hub is, or makes it up.
func identify(path string, renew bool) (identity, error) {
	var id identity
	if data, err := os.ReadFile(path); err == nil && !renew {
		if err := json.Unmarshal(data, &id); err != nil {
			return id, fmt.Errorf("farm: %s is damaged; --renew makes another: %w", path, err)
		}
		return id, nil
	} else if err != nil && !errors.Is(err, os.ErrNotExist) {
		return id, err
	}
	var err error
	if id.Certificate, id.Key, err = certify(); err != nil {
		return id, err
	}
	if id.Home, err = newSeed(); err != nil {
		return id, err
	}
	if id.Workers, err = newSeed(); err != nil {
		return id, err
	}
	return id, id.save(path)
}

// certify makes a certificate that signs itself. Nobody asks an authority for it:
// its fingerprint is in the invitation.
func certify() (certificate, key string, err error) {
	public, private, err := ed25519.GenerateKey(rand.Reader)
	if err != nil {
		return "", "", err
	}
	serial, err := rand.Int(rand.Reader, new(big.Int).Lsh(big.NewInt(1), 127))
	if err != nil {
		return "", "", err
	}
	made := time.Now().Add(-time.Hour) // for clocks that are a little behind
	t := &x509.Certificate{
		SerialNumber: serial, Subject: pkix.Name{CommonName: "ripieno hub"}, NotBefore: made,
		NotAfter: made.AddDate(10, 0, 0), KeyUsage: x509.KeyUsageDigitalSignature,
		ExtKeyUsage: []x509.ExtKeyUsage{x509.ExtKeyUsageServerAuth},
	}
	der, err := x509.CreateCertificate(rand.Reader, t, t, public, private)
	if err != nil {
		return "", "", err
	}
	secret, err := x509.MarshalPKCS8PrivateKey(private)
	if err != nil {
		return "", "", err
	}
	pemOf := func(kind string, b []byte) string {
		return string(pem.EncodeToMemory(&pem.Block{Type: kind, Bytes: b}))
	}
	return pemOf("CERTIFICATE", der), pemOf("PRIVATE KEY", secret), nil
}

// newSeed makes a key of the engine.
func newSeed() (string, error) {
	key, err := nkeys.CreateUser()
	if err != nil {
		return "", err
	}
	seed, err := key.Seed()
	return string(seed), err
}

// publicKey returns the public half of a seed.
func publicKey(seed string) (string, error) {
	key, err := nkeys.FromSeed([]byte(seed))
	if err != nil {
		return "", errors.New("farm: the hub's keys are damaged; --renew makes others")
	}
	return key.PublicKey()
}
