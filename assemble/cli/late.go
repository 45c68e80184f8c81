package cli

import (
	"encoding/json"
	"fmt"
	"io"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"ripieno/assemble"
	"ripieno/assemble/fault"
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

func (a *app) reportVerb() *cobra.Command {
	var o assemble.ReviewOptions
	c := a.verb("report", "write one page about all takes",
		`Writes out/report.html, one page about all takes for whoever puts the production
together: the roll call with every take's loudness over the bar lines, what
check says, where sync put each file and why, levels, how everybody plays, the
rough cut when there is one, and a note to every player to copy into an e-mail.
It is one file that needs no network, works from disk and prints on paper.

How takes are played (timing measure by measure, tuning, entries) is a help for
whoever conducts and no marks. --no-playing leaves it out.`,
		func(cmd *cobra.Command, p *assemble.Production) (func() error, error) {
			r, err := p.Review(cmd.Context(), o)
			if err != nil {
				return nil, err
			}
			return func() error { return a.show(r, reviewTable(r)) }, assemble.Verdict(r.Faults)
		})
	c.Flags().BoolVar(&o.NoPlaying, "no-playing", false, "leave out how takes are played")
	return c
}

func reviewTable(r assemble.ReviewResult) func(io.Writer) {
	return func(w io.Writer) {
		counts := map[string]int{}
		for _, t := range r.Takes {
			counts[t.Level]++
		}
		fmt.Fprintf(w, "wrote %s (%d kB)\n", r.File, (r.Bytes+999)/1000)
		fmt.Fprintf(w, "%d takes: %d in order, %d with a question, %d to come again, %d still to come\n", len(r.Takes),
			counts["ok"], counts["ask"], counts["redo"], counts["missing"])
		if asks := assemble.InReview(r.Takes); asks != "" {
			fmt.Fprintf(w, "%s; run ripieno sync\n", asks)
		}
		if r.Film == "" {
			fmt.Fprintln(w, "there is no rough cut to show yet; ripieno rough makes it")
		}
	}
}

func rollTable(r assemble.RollResult) func(io.Writer) {
	return func(w io.Writer) {
		table(w, func(row func(...any)) {
			row("status", "take", "player", "part", "release", "")
			for _, t := range r.Takes {
				row(t.Status, t.Name, t.Player, t.Part, t.Release, strings.Join(t.Why, "; "))
			}
		})
		fmt.Fprintf(w, "%d takes: %d in, %d rejected, %d missing, %d late\n",
			len(r.Takes), r.Counts.In, r.Counts.Rejected, r.Counts.Missing, r.Counts.Late)
		if n := r.Counts.Unreleased; n > 0 {
			fmt.Fprintf(w, "no release is written down for %d that are there\n", n)
		}
	}
}

func (a *app) watchVerb() *cobra.Command {
	var o assemble.WatchOptions
	var interval time.Duration
	c := &cobra.Command{
		Use: "watch", Short: "wait for takes and make the rough cut when one comes in", Args: cobra.NoArgs,
		Long: `Looks at the production's folder every few seconds. When a recording has arrived
completely and its name says clearly whose it is, the line of production.yaml
that it belongs in is printed as it has to read; with --adopt it is written there
and nothing else in the file is changed. Whenever production.yaml or a file that
it names has changed, check, sync and the rough cut run, and what is different is
printed. Ctrl-C ends it. With --json every event is one object on a line.

A name is clear when more of its words are those of one take's name, part or
player than of any other's: horn-2.mov, "Ilse Horn II.mp4".`,
		RunE: func(cmd *cobra.Command, _ []string) error {
			if interval < 10*time.Millisecond {
				return fault.New(fault.Manifest, "", fmt.Sprintf("interval is %q", interval), "use a time such as 2s")
			}
			set, err := a.use()
			if err != nil {
				return err
			}
			defer set.Report.Close()
			tick := time.NewTicker(interval)
			defer tick.Stop()
			o.Tick = tick.C
			faults, err := assemble.Watch(cmd.Context(), set, o, func(e assemble.WatchEvent) { a.tell(e) })
			if err != nil {
				return err
			}
			return assemble.Verdict(faults)
		},
	}
	c.Flags().BoolVar(&o.Adopt, "adopt", false, "write arrivals whose take is clear into production.yaml")
	c.Flags().BoolVar(&o.Once, "once", false, "deal with what lies there now and end")
	c.Flags().DurationVar(&interval, "interval", 2*time.Second, "how often to look; a file is complete when two looks find it unchanged")
	return c
}

// tell prints one event of a watch, for people or as a line of JSON.
func (a *app) tell(e assemble.WatchEvent) {
	if a.settings.GetBool("json") {
		enc := json.NewEncoder(a.Out)
		enc.SetEscapeHTML(false)
		enc.Encode(e) //nolint:errcheck // nobody reads any more
		return
	}
	if a.settings.GetBool("quiet") {
		return
	}
	for _, line := range eventLines(e) {
		fmt.Fprintln(a.Out, line)
	}
}

// eventLines is an event for people.
func eventLines(e assemble.WatchEvent) []string {
	var lines []string
	switch e.Event {
	case assemble.WatchBegan:
		c := e.Roll.Counts
		return []string{fmt.Sprintf("watching: %d takes in, %d rejected, %d missing, %d late", c.In, c.Rejected, c.Missing, c.Late)}
	case assemble.WatchArrived:
		said := "write line %d of production.yaml as"
		if e.Adopted {
			said = "line %d of production.yaml is now"
		}
		return []string{fmt.Sprintf("%s is the %s of take %q; "+said, e.File, e.Role, e.Take, e.Line), e.Text}
	case assemble.WatchFinished:
		lines = append(lines, e.Changes...)
		if len(lines) == 0 {
			lines = append(lines, "nothing is different")
		}
		if e.Rough != nil {
			lines = append(lines, fmt.Sprintf("rough cut: %s (%d steps made, %d used again, %.1f s)", e.Rough.Output, e.Rough.Tasks.Run, e.Rough.Tasks.Reused, e.Rough.Wall))
		}
		return lines
	case assemble.WatchWaiting:
		lines = append(lines, "not readable yet: "+e.Why)
	case assemble.WatchUnclear:
		lines = append(lines, e.File+": whose is it? "+e.Why)
	default:
		lines = append(lines, "trouble: "+e.Why)
	}
	if e.Hint != "" {
		lines = append(lines, "  hint: "+e.Hint)
	}
	return lines
}
