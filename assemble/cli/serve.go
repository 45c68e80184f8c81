package cli

import (
	"bytes"
	"fmt"
	"io"
	"os"
	"path/filepath"

	"github.com/spf13/cobra"

	"ripieno/assemble/farm"
	"ripieno/assemble/fault"
)

// travels is what whoever invites others has to know. It is printed with every
// invitation and with the help, so that nobody invites without having read it.
const travels = `The recordings of your players, children's too, travel to every machine that you
invite, encrypted on the way, and lie there until it leaves. Invite only people
whom the players would hand them to. Takes with release: no never leave this
machine. Whoever has an invitation can use it until ripieno serve --renew, or, with
one that ripieno workers --invite made, until ripieno workers --revoke.`

// serving is what serve is told.
type serving struct {
	hub         farm.HubOptions
	outside     farm.OutsideOptions // of an administrator's server; no Address is none
	space       string
	invitations string // the file that they are written to; "" prints them
}

// serveVerb returns the verb serve.
func (a *app) serveVerb() *cobra.Command {
	var s serving
	c := &cobra.Command{
		Use: "serve", Short: "be the hub at which other machines help with films", Args: cobra.NoArgs,
		Long: `Runs a hub until it is interrupted and prints two invitations: one for whoever
renders, one for all who help. On the machine with the production:

  ripieno render --with INVITATION

and on every other one, with the same ripieno and the same ffmpeg:

  ripieno work --join INVITATION

The films have the same bytes as without help. Machines that would give others
are refused, and a share of all results is made again here and compared.

With --config-for nothing runs: it writes the configuration of a nats-server that an
administrator runs instead, prints the invitations to that, and is done. --invite and
--revoke change who is let in there, once the server has read it again.

` + travels,
		RunE: func(cmd *cobra.Command, _ []string) error {
			var ok bool
			if s.hub.Space, ok = parseSize(s.space); !ok {
				return badSize("space", s.space)
			}
			switch {
			case s.outside.Address != "" && cmd.Flags().Changed("listen"):
				return fault.New(fault.Manifest, "", "--listen is for a hub that runs, and with --config-for none does",
					"leave one of the two out")
			case s.outside.Address != "":
				return a.configure(s)
			}
			return a.serve(cmd, s)
		},
	}
	f := c.Flags()
	f.StringVar(&s.hub.Listen, "listen", "0.0.0.0:4747", "`HOST:PORT` at which others find it")
	f.StringVar(&s.space, "space", "20GB", "how much of the disk it may fill")
	f.StringVar(&s.hub.Dir, "folder", "",
		"where it keeps what it holds (default: in the user's cache; not on a network share)")
	f.BoolVar(&s.hub.Renew, "renew", false, "make all invitations given before void")
	f.StringVar(&s.invitations, "invitations", "",
		"write the invitations to a `FILE` for its owner alone, and print none")
	f.StringVar(&s.outside.Address, "config-for", "",
		"write the configuration of a nats-server at `HOST:PORT`[,HOST:PORT] to --folder (default: ripieno-nats here)")
	f.StringVar(&s.outside.Certificate, "certificate", "",
		"with --config-for: the `FILE` of that server's own certificate; the account alone is written then")
	f.StringVar(&s.outside.Invite, "invite", "", "with --config-for: an invitation for the person of this `NAME`")
	f.StringVar(&s.outside.Revoke, "revoke", "", "with --config-for: let the person of this `NAME` in no more")
	return c
}

// serve runs the hub until it is interrupted, and prints how it is reached. It fails where
// the address is taken or the folder cannot be written.
func (a *app) serve(cmd *cobra.Command, s serving) error {
	if s.outside != (farm.OutsideOptions{}) {
		return fault.New(fault.Manifest, "", "--certificate, --invite and --revoke are for --config-for",
			"a hub that runs is asked by `ripieno workers --invite NAME`")
	}
	if s.hub.Dir == "" {
		cache, err := os.UserCacheDir()
		if err != nil {
			return fault.New(fault.Failed, "", "there is no folder for what the hub keeps",
				"choose one with --folder").Because(err)
		}
		s.hub.Dir = filepath.Join(cache, "ripieno", "hub")
	}
	hub, err := farm.Serve(cmd.Context(), s.hub)
	if err != nil {
		return fault.New(fault.Failed, "", err.Error(), "ripieno serve --help explains the flags")
	}
	defer hub.Close()
	if err := a.tell(s, invitations{Render: hub.Home.String(), Work: hub.Workers.String()}); err != nil {
		return err
	}
	<-cmd.Context().Done()
	return nil
}

// configure writes the configuration of an administrator's server.
func (a *app) configure(s serving) error {
	o := s.outside
	o.Dir, o.Space, o.Renew = s.hub.Dir, s.hub.Space, s.hub.Renew
	if o.Dir == "" {
		o.Dir = "ripieno-nats"
	}
	out, err := farm.Configure(o)
	if err != nil {
		return fault.New(fault.Manifest, "", err.Error(), "ripieno serve --help explains the flags")
	}
	r := invitations{Config: out.Config, Account: o.Certificate != "", Render: out.Home.String(),
		Work: out.Workers.String()}
	if out.Guest != nil {
		r.Render, r.Work = "", out.Guest.String()
	}
	return a.tell(s, r)
}

// tell prints the invitations, or writes them to a file that its owner alone may read.
func (a *app) tell(s serving, i invitations) error {
	if s.invitations == "" {
		return a.show(i, i.table)
	}
	var text bytes.Buffer
	i.table(&text)
	err := os.Remove(s.invitations) // one that others may read stays so when it is written again
	if err == nil || os.IsNotExist(err) {
		err = os.WriteFile(s.invitations, text.Bytes(), 0o600)
	}
	if err != nil {
		return fault.New(fault.Failed, "", "the invitations cannot be written",
			"choose another --invitations").Because(err)
	}
	return nil
}

// invitations are what serve prints.
type invitations struct {
	Config  string `json:"config,omitempty"`  // file of the configuration of an administrator's server
	Account bool   `json:"account,omitempty"` // it is the account alone
	Render  string `json:"render,omitempty"`
	Work    string `json:"work"`
}

// table prints the invitations as the commands to type.
func (i invitations) table(w io.Writer) {
	switch {
	case i.Account:
		fmt.Fprintf(w, "in the server's accounts:  include %q\n\n", i.Config)
	case i.Config != "":
		fmt.Fprintf(w, "to start:   nats-server -c %s\nto change:  nats-server --signal reload\n\n", i.Config)
	}
	if i.Render != "" {
		fmt.Fprintf(w, "to render:  ripieno render --with %s\n\n", i.Render)
	}
	fmt.Fprintf(w, "to help:    ripieno work --join %s\n\n%s\n", i.Work, travels)
}
