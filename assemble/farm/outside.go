package farm

import (
	"context"
	"crypto/x509"
	"encoding/pem"
	"errors"
	"fmt"
	"net"
	"os"
	"path/filepath"
	"strconv"
	"strings"

	"github.com/nats-io/nats-server/v2/server"
	"github.com/nats-io/nats.go/jetstream"
)

// OutsideOptions say how a server of the engine is set up that an administrator runs,
// instead of a [Hub].
type OutsideOptions struct {
	Dir     string // of identity and configuration; made when it is not there
	Address string // HOST:PORT by which machines reach it; those of a cluster with commas between
	Space   int64  // bytes that the productions of all homes may fill there; 0 is 20 GB
	Renew   bool   // new certificate and keys: invitations given before are void
	// Certificate is a file of the server's own certificate. Then the account alone is
	// written, for a server that is configured already. "" has one made.
	Certificate string
	// Invite and Revoke name somebody who is to have an invitation, or none any more.
	Invite, Revoke string
}

// Outside is a server as it was set up by [Configure].
type Outside struct {
	Config        string // the file to start it with, or to include in its accounts
	Home, Workers Invitation
	Guest         *Invitation // whom Invite named
}

// Files of the folder of an outside server.
const (
	accountFile     = "ripieno-account.conf"
	serverFile      = "nats-server.conf"
	certificateFile = "certificate.pem"
	keyFile         = "key.pem"
	accountName     = "RIPIENO"
)

// Configure writes how a server of the engine has to be configured so that homes and
// workers meet there as they do at a hub: the same keys with the same permissions, in an
// account of their own. Nothing is started and nobody is asked; a server that runs learns
// of changes when it is told to read its configuration again. The same folder gives the
// same invitations. It fails when an option is wrong or the folder cannot be written.
func Configure(o OutsideOptions) (out Outside, err error) {
	if err := checkAddress(o.Address); err != nil {
		return out, fmt.Errorf("invalid --config-for: %w", err)
	}
	if o.Space <= 0 {
		o.Space = defaultSpace
	}
	if o.Dir, err = filepath.Abs(o.Dir); err != nil {
		return out, err
	}
	path, id, err := identifyIn(o.Dir, o.Renew)
	if err != nil {
		return out, err
	}
	if err := id.change(o.Invite, o.Revoke); err != nil {
		return out, err
	}
	if err := id.save(path); err != nil {
		return out, err
	}
	certificate := []byte(id.Certificate)
	if o.Certificate != "" {
		if certificate, err = os.ReadFile(o.Certificate); err != nil {
			return out, err
		}
	}
	print, err := printOf(certificate)
	if err != nil {
		return out, err
	}
	if out.Config, err = id.configure(o); err != nil {
		return out, err
	}
	out.Home = Invitation{Address: o.Address, Print: print, Seed: id.Home}
	out.Workers = Invitation{Address: o.Address, Print: print, Seed: id.Workers}
	if o.Invite != "" {
		out.Guest = &Invitation{Address: o.Address, Print: print, Seed: id.Guests[o.Invite], Guest: o.Invite}
	}
	return out, nil
}

// configure writes the files of an outside server and returns the one to begin with.
func (id identity) configure(o OutsideOptions) (string, error) {
	account, err := id.account(o.Space)
	if err != nil {
		return "", err
	}
	begin := filepath.Join(o.Dir, accountFile)
	texts := map[string]string{begin: account}
	if o.Certificate == "" {
		_, port, err := net.SplitHostPort(strings.Split(o.Address, ",")[0])
		if err != nil {
			return "", err
		}
		begin = filepath.Join(o.Dir, serverFile)
		texts[begin] = serverText(o.Dir, port, o.Space)
		texts[filepath.Join(o.Dir, certificateFile)] = id.Certificate
		texts[filepath.Join(o.Dir, keyFile)] = id.Key
	}
	for path, text := range texts {
		if err := writeWhole(path, []byte(text)); err != nil {
			return "", err
		}
	}
	return begin, nil
}

// serverText returns the configuration of a server that serves ripieno alone.
func serverText(dir, port string, space int64) string {
	at := func(name string) string { return strconv.Quote(filepath.Join(dir, name)) }
	return fmt.Sprintf(`# Written by ripieno serve --config-for, which writes it anew. Start: nats-server -c THIS FILE
listen: "0.0.0.0:%s"
max_payload: %d
max_pending: %d
tls {
  cert_file: %s
  key_file: %s
  min_version: "1.3"
  timeout: 10
}
jetstream {
  store_dir: %s  # a disk of this machine, never a network share
  max_file_store: %d
  max_memory_store: %d
}
accounts {
  include "%s"
}
`, port, maxMessage, maxPending, at(certificateFile), at(keyFile), at("store"), space, hubMemory, accountFile)
}

// account returns the account of all who were invited, as text of the engine's
// configuration.
func (id identity) account(space int64) (string, error) {
	users, err := id.users()
	if err != nil {
		return "", err
	}
	var b strings.Builder
	fmt.Fprint(&b, "# Written by ripieno serve --config-for, which writes it anew: the keys of machines that work for "+
		"ripieno.\n")
	fmt.Fprintf(&b, "%s {\n  jetstream { max_file: %d, max_memory: %d }\n  users [\n", accountName, space, hubMemory)
	for _, u := range users {
		if u.Permissions == nil { // the home
			fmt.Fprintf(&b, "    { nkey: %s }\n", u.Nkey)
			continue
		}
		fmt.Fprintf(&b, "    { nkey: %s, permissions {\n      publish { allow: %s }\n      subscribe { allow: %s }\n"+
			"    } }\n",
			u.Nkey, quoted(u.Permissions.Publish), quoted(u.Permissions.Subscribe))
	}
	b.WriteString("  ]\n}\n")
	return b.String(), nil
}

// quoted returns a list of subjects as text.
func quoted(p *server.SubjectPermission) string {
	list := make([]string, len(p.Allow))
	for k, s := range p.Allow {
		list[k] = strconv.Quote(s)
	}
	return "[ " + strings.Join(list, ", ") + " ]"
}

// change invites and revokes names; "" is nobody.
func (id *identity) change(invite, revoke string) error {
	if invite != "" {
		if err := id.addGuest(invite); err != nil {
			return err
		}
	}
	if revoke != "" {
		return id.dropGuest(revoke)
	}
	return nil
}

// printOf returns the fingerprint of the first certificate of a PEM file.
func printOf(text []byte) (string, error) {
	for block, rest := pem.Decode(text); block != nil; block, rest = pem.Decode(rest) {
		if block.Type == "CERTIFICATE" {
			c, err := x509.ParseCertificate(block.Bytes)
			if err != nil {
				return "", fmt.Errorf("farm: the certificate is damaged: %w", err)
			}
			return fingerprint(c), nil
		}
	}
	return "", errors.New("farm: the file of the certificate holds none (PEM)")
}

// accountSpace returns how many bytes an outside server lets a home's account fill, 0 for
// no bound.
func accountSpace(ctx context.Context, js jetstream.JetStream) (int64, error) {
	info, err := js.AccountInfo(ctx)
	if err != nil {
		return 0, err
	}
	return max(0, info.Limits.MaxStore), nil
}
