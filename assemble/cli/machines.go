package cli

import (
	"cmp"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"
	"text/tabwriter"

	"github.com/spf13/cobra"

	"ripieno/assemble/elsewhere"
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

// serveVerb returns the verb serve.
func (a *app) serveVerb() *cobra.Command {
	var o farm.HubOptions
	var space string
	c := &cobra.Command{
		Use: "serve", Short: "be the hub at which other machines help with films", Args: cobra.NoArgs,
		Long: `Runs a hub until it is interrupted and prints two invitations: one for whoever
renders, one for all who help. On the machine with the production:

  ripieno render --with INVITATION

and on every other one, with the same ripieno and the same ffmpeg:

  ripieno work --join INVITATION

The films have the same bytes as without help. Machines that would give others
are refused, and a share of all results is made again here and compared.

` + travels,
		RunE: func(cmd *cobra.Command, _ []string) error {
			var ok bool
			if o.Space, ok = parseSize(space); !ok {
				return badSize("space", space)
			}
			if o.Dir == "" {
				cache, err := os.UserCacheDir()
				if err != nil {
					return fault.New(fault.Failed, "", "there is no folder for what the hub keeps",
						"choose one with --folder").Because(err)
				}
				o.Dir = filepath.Join(cache, "ripieno", "hub")
			}
			hub, err := farm.Serve(cmd.Context(), o)
			if err != nil {
				return fault.New(fault.Failed, "", err.Error(), "ripieno serve --help explains the flags")
			}
			defer hub.Close()
			r := invitations{hub.Home.String(), hub.Workers.String()}
			if err := a.show(r, r.table); err != nil {
				return err
			}
			<-cmd.Context().Done()
			return nil
		},
	}
	c.Flags().StringVar(&o.Listen, "listen", "0.0.0.0:4747", "`HOST:PORT` at which others find it")
	c.Flags().StringVar(&space, "space", "20GB", "how much of the disk it may fill")
	c.Flags().StringVar(&o.Dir, "folder", "",
		"where it keeps what it holds (default: in the user's cache; not on a network share)")
	c.Flags().BoolVar(&o.Renew, "renew", false, "make all invitations given before void")
	return c
}

// invitations are what serve prints.
type invitations struct {
	Render string `json:"render,omitempty"`
	Work   string `json:"work"`
}

// table prints the invitations as the commands to type.
func (i invitations) table(w io.Writer) {
	if i.Render != "" {
		fmt.Fprintf(w, "to render:  ripieno render --with %s\n\n", i.Render)
	}
	fmt.Fprintf(w, "to help:    ripieno work --join %s\n\n%s\n", i.Work, travels)
}

// workVerb returns the verb work.
func (a *app) workVerb() *cobra.Command {
	var h elsewhere.Help
	var space string
	c := &cobra.Command{
		Use: "work", Short: "help with somebody else's films until interrupted", Args: cobra.NoArgs,
		Long: `Lends this machine to the hub of an invitation (see ripieno serve). It makes what
it is asked for by rules that it knows itself: it is never sent a command. What it
was sent is removed when it leaves. Interrupt it at any time; others go on with
what it had begun.`,
		RunE: func(cmd *cobra.Command, _ []string) error {
			var ok bool
			if h.Space, ok = parseSize(space); !ok {
				return badSize("space", space)
			}
			if h.Invitation = cmp.Or(h.Invitation, os.Getenv("RIPIENO_JOIN")); h.Invitation == "" {
				return fault.New(fault.Manifest, "", "nobody invites this machine", "ripieno work --join INVITATION")
			}
			set, err := a.openSettings()
			if err != nil {
				return err
			}
			defer set.Report.Close()
			tool, err := set.Find(cmd.Context())
			if err != nil {
				return err
			}
			h.Tell, h.Places = set.Report.Message, farm.Places{Takes: set.SeenTakes, Bucket: set.Bucket}
			err = elsewhere.Work(cmd.Context(), tool, h)
			// To be interrupted is how work ends; it is no failure.
			if cmd.Context().Err() != nil {
				return nil
			}
			return unreachable(err)
		},
	}
	c.Flags().StringVar(&h.Invitation, "join", "", "the `INVITATION` that ripieno serve printed (or RIPIENO_JOIN)")
	c.Flags().StringVar(&h.Name, "name", "", "what others call this machine (default: its own name)")
	c.Flags().IntVar(&h.Cores, "cores", 0, "how many tasks at once (default: one for each core)")
	c.Flags().StringVar(&space, "space", "10GB", "how much of the disk it may fill meanwhile")
	return c
}

// workersVerb returns the verb workers.
func (a *app) workersVerb() *cobra.Command {
	var invite, revoke string
	c := &cobra.Command{
		Use: "workers", Short: "say which machines help, and why one cannot", Args: cobra.NoArgs,
		Long: `Lists the machines that work for the hub of --with, what they are doing, and for
each that cannot help with films of this machine the reason. With --invite it prints
an invitation for one person, which --revoke makes void again without touching the
others.`,
		RunE: func(cmd *cobra.Command, _ []string) error {
			set, err := a.openSettings()
			if err != nil {
				return err
			}
			set.Report.Close()
			if set.With == "" {
				return fault.New(fault.Manifest, "", "workers needs an invitation", "ripieno workers --with INVITATION")
			}
			switch {
			case invite != "":
				text, err := elsewhere.Invite(cmd.Context(), set.With, invite)
				if err != nil {
					return unreachable(err)
				}
				r := invitations{Work: text}
				return a.show(r, r.table)
			case revoke != "":
				return unreachable(elsewhere.Revoke(cmd.Context(), set.With, revoke))
			}
			tool, err := set.Find(cmd.Context())
			if err != nil {
				return err
			}
			list, err := elsewhere.Present(cmd.Context(), tool, set.With)
			if err != nil {
				return unreachable(err)
			}
			return a.show(list, workersTable(list))
		},
	}
	c.Flags().StringVar(&invite, "invite", "", "print an invitation to help for the person of this `NAME`")
	c.Flags().StringVar(&revoke, "revoke", "", "make the invitation of this `NAME` void")
	c.MarkFlagsMutuallyExclusive("invite", "revoke")
	return c
}

// workersTable prints a line for each machine.
func workersTable(list []elsewhere.Helper) func(io.Writer) {
	return func(w io.Writer) {
		if len(list) == 0 {
			fmt.Fprintln(w, "nobody is there")
			return
		}
		t := tabwriter.NewWriter(w, 0, 0, 2, ' ', 0)
		for _, h := range list {
			state := strings.Join(h.Doing, ", ")
			switch {
			case h.Refused != "":
				state = "cannot help: " + h.Refused
			case state == "":
				state = "waits"
			}
			name := h.Name
			if h.Guest != "" {
				name += " (invited as " + h.Guest + ")"
			}
			fmt.Fprintf(t, "%s\t%d cores\t%s\n", name, h.Cores, state)
		}
		t.Flush()
	}
}

// unreachable turns an error of a connection into one a person can act on. Faults
// that say already what to do stay as they are.
func unreachable(err error) error {
	if err == nil || fault.KindOf(err) != fault.Failed {
		return err
	}
	return fault.New(fault.Failed, "", err.Error(), "is ripieno serve running there, and may this machine reach it?")
}
