package cli

import (
	"bytes"
	"encoding/json"
	"fmt"
	"io"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"ripieno/assemble"
	"ripieno/assemble/arrival"
	"ripieno/assemble/fault"
	"ripieno/assemble/roll"
)

// The verbs of whoever waits for takes.

// rollcallVerb returns the verb rollcall.
func (a *app) rollcallVerb() *cobra.Command {
	return a.verb("rollcall", "say who is in, late, rejected and missing",
		`Lists every player in the order of seats as in, rejected (check found the take
unusable), missing, or late (missing after the due date of the call sheet), with
the release of each. The exit code is 5 as long as somebody is missing.`,
		func(cmd *cobra.Command, p *assemble.Production) (func() error, error) {
			r, err := p.Rollcall(cmd.Context())
			return withVerdict(a, r, rollTable, err, roll.Verdict(r.Faults))
		})
}

// reportVerb returns the verb report.
func (a *app) reportVerb() *cobra.Command {
	var o assemble.ReviewOptions
	var review bool
	c := a.verb("report", "write one page about all takes",
		`Writes out/report.html, one page about all takes for whoever coordinates the
production: the roll call with every take's loudness over the bar lines, what
check found, where sync placed each file and why, levels, how everybody plays,
the rough cut when there is one, and a note to every player to copy into an
e-mail. It is one file that needs no network, works from disk and prints on
paper.

How takes are played (timing measure by measure, tuning, entries) is a help for
the conductor and no grading. --no-playing leaves it out.

With --review it writes out/review.html instead: the rough cut, small, with its
sound inside one page, for a conductor who opens it without a server, says
something at a moment, for all or for one player, and sends back a small file,
which ripieno remarks --take FILE brings in.`,
		func(cmd *cobra.Command, p *assemble.Production) (func() error, error) {
			if review {
				return a.writeHandout(cmd, p)
			}
			r, err := p.Review(cmd.Context(), o)
			return withVerdict(a, r, reviewTable, err, roll.Verdict(r.Faults))
		})
	c.Flags().BoolVar(&review, "review", false, "write the page that a conductor remarks on instead")
	c.Flags().BoolVar(&o.NoPlaying, "no-playing", false, "leave out how takes are played and who is hidden")
	return c
}

// reviewTable prints where the page is and how many takes have which level.
func reviewTable(r assemble.ReviewResult) func(io.Writer) {
	return func(w io.Writer) {
		var levels, asks []string
		for _, t := range r.Takes {
			levels = append(levels, t.Level)
			if t.Asks {
				asks = append(asks, t.Name)
			}
		}
		fmt.Fprintf(w, "wrote %s (%d kB)\n", r.File, (r.Bytes+999)/1000)
		fmt.Fprintln(w, countLevels(levels))
		if len(asks) > 0 {
			fmt.Fprintf(w, "%s; run ripieno sync\n", roll.InReview(asks))
		}
		if r.Film == "" {
			fmt.Fprintln(w, "no rough cut to show yet; ripieno rough makes it")
		}
		tellGuides(w, r.Guides)
		tellScore(w, r.Remarks)
	}
}

// rollTable prints the roll, a line for each take, and the counts.
func rollTable(r assemble.RollResult) func(io.Writer) {
	return func(w io.Writer) {
		table(w, func(row func(...any)) {
			row("status", "take", "player", "part", "release", "")
			for _, t := range r.Takes {
				more := t.Why
				if t.Email != "" && t.Status != roll.StatusIn {
					more = append([]string{t.Email}, more...)
				}
				row(t.Status, t.Name, t.Player, t.Part, t.Release, strings.Join(more, "; "))
			}
		})
		fmt.Fprintf(w, "%s: %d in, %d rejected, %d missing, %d late\n",
			count(len(r.Takes), "take"), r.Counts.In, r.Counts.Rejected, r.Counts.Missing, r.Counts.Late)
		if n := r.Counts.Unreleased; n > 0 {
			fmt.Fprintf(w, "release missing for %s\n", count(n, "take"))
		}
		tellAstray(w, r.Astray)
		tellRemarks(w, r.Remarks, r.Approvals)
	}
}

// watchVerb returns the verb watch, which runs until Ctrl-C. It opens the
// production anew for every round, so that a changed manifest counts.
func (a *app) watchVerb() *cobra.Command {
	var o assemble.WatchOptions
	var interval time.Duration
	c := &cobra.Command{
		Use: "watch", Short: "wait for takes and make the rough cut when one comes in", Args: cobra.NoArgs,
		Long: `Looks at the production's folder every few seconds. When a recording has arrived
completely and its name clearly belongs to one take, it prints the line that
production.yaml needs; with --adopt it writes that line and changes nothing else
in the file. Whenever production.yaml or a file that it names has changed, check,
sync and the rough cut run, and it prints what has changed. Ctrl-C ends it. With
--json every event is one object on a line.

A name is clear when more of its words are those of one take's name, part or
player than of any other's: horn-2.mov, "Ilse Horn II.mp4".`,
		RunE: func(cmd *cobra.Command, _ []string) error {
			// Tests look that often; less would keep a disk busy.
			if interval < 10*time.Millisecond {
				return fault.New(fault.Manifest, "", fmt.Sprintf("invalid --interval %q", interval),
					"use a time such as 2s")
			}
			set, err := a.openSettings()
			if err != nil {
				return err
			}
			defer set.Report.Close()
			tick := time.NewTicker(interval)
			defer tick.Stop()
			o.Tick = tick.C
			faults, err := assemble.Watch(cmd.Context(), set, o, func(e assemble.WatchEvent) { a.printEvent(e) })
			if err != nil {
				return err
			}
			return roll.Verdict(faults)
		},
	}
	c.Flags().BoolVar(&o.Adopt, "adopt", false, "write new recordings whose take is clear into production.yaml")
	c.Flags().BoolVar(&o.Once, "once", false, "process what is there now and end")
	c.Flags().DurationVar(&interval, "interval", 2*time.Second,
		"how often to look; a file is complete when two looks find it unchanged")
	return c
}

// printEvent prints one event of a watch, for people or as a line of JSON. Unlike
// results, events are printed while the work goes on, each whole.
func (a *app) printEvent(e assemble.WatchEvent) {
	if a.settings.GetBool("json") {
		var text bytes.Buffer
		enc := json.NewEncoder(&text)
		enc.SetEscapeHTML(false)
		if enc.Encode(e) == nil {
			_, _ = a.Out.Write(escapeJSON(text.Bytes())) // Main tells when it fails
		}
		return
	}
	if a.settings.GetBool("quiet") {
		return
	}
	for _, line := range eventLines(e) {
		fmt.Fprintln(a.Out, escapeLine(line))
	}
}

// eventLines returns an event for people. The hint comes last, indented as those of
// errors are.
func eventLines(e assemble.WatchEvent) []string {
	var lines []string
	switch e.Event {
	case arrival.Began:
		c := e.Roll.Counts
		return []string{fmt.Sprintf("watching: %d takes in, %d rejected, %d missing, %d late", c.In, c.Rejected,
			c.Missing, c.Late)}
	case arrival.Arrived:
		said := "write line %d of production.yaml as"
		if e.Adopted {
			said = "line %d of production.yaml is now"
		}
		return []string{fmt.Sprintf("%s is the %s of take %q; "+said, e.File, e.Role, e.Take, e.Line), e.Text}
	case arrival.Finished:
		lines = append(lines, e.Changes...)
		if len(lines) == 0 {
			lines = append(lines, "nothing has changed")
		}
		if e.Rough != nil {
			lines = append(lines, fmt.Sprintf("rough cut: %s (%d tasks run, %d cached, %.1f s)", e.Rough.Output,
				e.Rough.Tasks.Run, e.Rough.Tasks.Reused, e.Rough.Wall))
		}
		return lines
	case arrival.Waiting:
		lines = append(lines, "not readable yet: "+e.Why)
	case arrival.Unclear:
		lines = append(lines, e.File+": whose is it? "+e.Why)
	case arrival.Strayed:
		lines = append(lines, e.File+" looks like a recording, but "+e.Why)
	default:
		lines = append(lines, "problem: "+e.Why)
	}
	if e.Hint != "" {
		lines = append(lines, "  hint: "+e.Hint)
	}
	return lines
}
