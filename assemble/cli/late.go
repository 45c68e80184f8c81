package cli

import (
	"fmt"
	"io"
	"strings"

	"github.com/spf13/cobra"

	"ripieno/assemble"
)

// The verbs of whoever waits for takes.

func (a *app) rollcallVerb() *cobra.Command {
	return a.verb("rollcall", "say who is in, late, rejected and missing",
		`Calls the roll in the order of seats: who is in, whose take has to come again
because check found it unusable, and who has not sent anything, which is late
once the day has passed that the manifest names. The exit code is 5 as long as
somebody is missing.`,
		func(cmd *cobra.Command, p *assemble.Production) (func() error, error) {
			r, err := p.Rollcall(cmd.Context())
			if err != nil {
				return nil, err
			}
			return func() error { return a.show(r, rollTable(r)) }, assemble.Verdict(r.Faults)
		})
}

func rollTable(r assemble.RollResult) func(io.Writer) {
	return func(w io.Writer) {
		table(w, func(row func(...any)) {
			row("status", "take", "player", "part", "")
			for _, t := range r.Takes {
				row(t.Status, t.Name, t.Player, t.Part, strings.Join(t.Why, "; "))
			}
		})
		fmt.Fprintf(w, "%d takes: %d in, %d rejected, %d missing, %d late\n",
			len(r.Takes), r.Counts.In, r.Counts.Rejected, r.Counts.Missing, r.Counts.Late)
	}
}
