package cli

import (
	"fmt"
	"time"

	"github.com/spf13/cobra"

	"ripieno/assemble"
	"ripieno/assemble/desk"
	"ripieno/assemble/desk/browser"
	"ripieno/assemble/progress"
)

// lookEvery is how often the desk looks whether the manifest was changed by hand.
// Half a second is felt as at once after saving a file, and costs a stat.
const lookEvery = 500 * time.Millisecond

// deskVerb returns the verb desk, which prints its address as soon as it is there.
func (a *app) deskVerb() *cobra.Command {
	var o desk.Options
	var stay bool
	c := &cobra.Command{
		Use: "desk", Short: "hear, see and decide on one page in the browser", Args: cobra.NoArgs,
		Long: `Serves one page for this computer alone and opens it in the browser. On it you
hear and see what the other verbs can only ask about, and decide: where a take
lies that needs review, how loud it is and from which side it comes, who sits
where, what is kept of a picture, and what is shown from which beat on. What you
decide is written into production.yaml as you would write it by hand, nothing
else in the file is changed, and every step can be undone.

The address lets in one browser, once. Other computers cannot reach the page,
and no other page can ask it for anything. Ctrl-C closes the desk.`,
		RunE: func(cmd *cobra.Command, _ []string) error {
			set, err := a.openSettings()
			if err != nil {
				return err
			}
			set.Report.Close() // the page shows how far the work is
			set.Report = progress.New(nil, progress.Quiet)
			tick := time.NewTicker(lookEvery)
			defer tick.Stop()
			o.Dir, o.Out, o.Work = set.Dir, set.Out, assemble.DeskWork(set)
			o.Tick, o.Ready = tick.C, func(address string) { a.tellDesk(address, stay) }
			return desk.Serve(cmd.Context(), o)
		},
	}
	c.Flags().StringVar(&o.Listen, "listen", "127.0.0.1:0",
		"`ADDRESS` of this computer, with a port; 0 is any free one")
	c.Flags().BoolVar(&stay, "no-open", false, "print the address and open no browser")
	return c
}

// deskResult is where the desk is.
type deskResult struct {
	Address string `json:"address"`
}

// tellDesk prints the address of the desk and opens it, unless stay says not to.
func (a *app) tellDesk(address string, stay bool) {
	if a.settings.GetBool("json") {
		_ = a.show(deskResult{address}, nil) // Main tells when it fails
	} else {
		fmt.Fprintf(a.Out, "the desk is at %s\n", address)
		fmt.Fprintln(a.Err, "the address works once; Ctrl-C closes the desk")
	}
	if stay || !browser.HasScreen() {
		return
	}
	if err := browser.Show(address); err != nil {
		fmt.Fprintln(a.Err, "no browser could be opened; open the address by hand")
	}
}
