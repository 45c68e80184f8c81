package cli

import (
	"fmt"
	"io"
	"strings"

	"github.com/spf13/cobra"

	"ripieno/assemble"
	"ripieno/assemble/roll"
)

// shotsVerb returns the verb shots.
func (a *app) shotsVerb() *cobra.Command {
	var propose bool
	c := a.verb("shots", "print the shot list, or propose one",
		`Prints what the film shows and when.

With --propose it finds out who plays and who rests, and who has the melody, and
writes a list of shots into production.yaml, for you to change. It goes by the
score for every take whose part is in it, and else by what is heard of the take.
Everybody is seen first and last; who plays alone, and a section nobody else plays
with, is seen alone; who has the melody is shown large, with the others round.
Shots change between phrases, on a beat. Nothing else in production.yaml changes,
and a list that is there is never replaced.`,
		func(cmd *cobra.Command, p *assemble.Production) (func() error, error) {
			list := p.Shots
			if propose {
				list = p.ProposeShots
			}
			r, err := list(cmd.Context())
			return withVerdict(a, r, shotsTable, err, roll.Verdict(r.Faults))
		})
	c.Flags().BoolVar(&propose, "propose", false, "write a shot list into production.yaml, which has none yet")
	return c
}

// shotsTable prints a line for each shot.
func shotsTable(r assemble.ShotsResult) func(io.Writer) {
	return func(w io.Writer) {
		table(w, func(row func(...any)) {
			row("from", "", "to", "shows", "", "")
			for _, s := range r.Shots {
				who := strings.Join(s.Takes, ", ")
				if s.Text != "" {
					who, _, _ = strings.Cut(s.Text, "\n")
				}
				row(s.From, clock(s.At), clock(s.To), s.Show, who, s.Why)
			}
		})
		if r.Proposed {
			fmt.Fprintf(w, "written into production.yaml: %d of %s by the score, the others by what is heard\n",
				r.ByScore, count(r.Takes, "take"))
		}
	}
}
