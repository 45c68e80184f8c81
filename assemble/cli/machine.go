package cli

import (
	"fmt"
	"io"
	"strings"

	"github.com/spf13/cobra"

	"ripieno/assemble"
	"ripieno/assemble/build"
	"ripieno/assemble/doctor"
	"ripieno/assemble/fault"
)

// The verbs that need no production: about the machine, and about the program.

// doctorVerb returns the verb doctor.
func (a *app) doctorVerb() *cobra.Command {
	var noTrial bool
	var bundle string
	c := &cobra.Command{
		Use: "doctor", Short: "say what this machine lacks, and the command that mends it", Args: cobra.NoArgs,
		Long: `Looks at this machine: ffmpeg with every encoder and filter that is used, fonts,
disk, memory and cores, and how long a minute of a film takes here, for which it
makes a few seconds of one. It says what is missing, what that costs, and the
command that mends it on this system. The exit code is 4 when no film can be made.

With --bundle it also writes a text to show to somebody who helps: what was found,
and production.yaml with every name and text replaced. Read it before you send it.`,
		RunE: func(cmd *cobra.Command, _ []string) error {
			set, err := a.openSettings()
			if err != nil {
				return err
			}
			r, err := assemble.Doctor(cmd.Context(), set, !noTrial)
			set.Report.Close()
			if err == nil && bundle != "" {
				err = r.WriteBundle(cmd.Context(), bundle)
			}
			if err != nil {
				return err
			}
			// The table is printed in any case: it is the answer, and the error only
			// the exit code.
			if err := a.show(r, doctorTable(r)); err != nil || r.Ready() {
				return err
			}
			return fault.New(fault.FFmpeg, "", "no film can be made here yet", "see above for what mends it")
		},
	}
	c.Flags().BoolVar(&noTrial, "no-trial", false, "do not try how long a film takes here")
	c.Flags().StringVar(&bundle, "bundle", "", "write a text for asking help to this file")
	return c
}

// doctorTable prints what was found, then what to do.
func doctorTable(r assemble.DoctorResult) func(io.Writer) {
	return func(w io.Writer) {
		fmt.Fprintln(w, versionLine(r.Program))
		fmt.Fprintf(w, "machine: %d cores, %s of memory, %s free\n", r.Cores, sizeOrUnknown(r.Memory),
			sizeOrUnknown(r.Free))
		if f := r.FFmpeg; f != nil {
			there := 0
			for _, p := range f.Parts {
				if p.Has {
					there++
				}
			}
			fmt.Fprintf(w, "ffmpeg: %s at %s; %d of the %d encoders and filters that are used\n", f.Version, f.Path,
				there, len(f.Parts))
		}
		var has, lacks []string
		for _, s := range r.Scripts {
			if s.Has {
				has = append(has, s.Name)
			} else {
				lacks = append(lacks, s.Name)
			}
		}
		fmt.Fprintf(w, "fonts: %s are in the program; %s need `picture: {font: FILE}` in production.yaml\n",
			strings.Join(has, ", "), strings.Join(lacks, ", "))
		if r.Minute != nil {
			fmt.Fprintf(w, "speed: a minute of a film of %d players in Full HD takes about %s the first time, "+
				"with this machine as busy as it is now\n",
				doctor.TrialPlayers, formatEstimate(*r.Minute))
		}
		for i, p := range r.Problems {
			fmt.Fprintf(w, "problem: %s\n", p.What)
			// What mends several is said once, below the last of them.
			if i+1 == len(r.Problems) || r.Problems[i+1].Mend != p.Mend {
				fmt.Fprintf(w, "  to do: %s\n", p.Mend)
			}
		}
		if len(r.Problems) == 0 {
			fmt.Fprintln(w, "nothing is missing")
		}
		if r.Bundle != "" {
			fmt.Fprintf(w, "wrote %s; read it before you send it\n", r.Bundle)
		}
	}
}

// sizeOrUnknown returns bytes as people read them.
func sizeOrUnknown(n int64) string {
	if n == 0 {
		return "an unknown amount"
	}
	return doctor.Size(n)
}

// formatEstimate returns seconds as an estimate deserves. A trial of a few seconds tells no
// more than two digits.
func formatEstimate(seconds float64) string {
	if seconds < 90 {
		return fmt.Sprintf("%.0f seconds", seconds)
	}
	return fmt.Sprintf("%.1f minutes", seconds/60)
}

// versionVerb returns the verb version.
func (a *app) versionVerb() *cobra.Command {
	var licences bool
	c := &cobra.Command{
		Use: "version", Short: "say which version this is", Args: cobra.NoArgs,
		Long: `Prints the version, the commit of the source, the Go release and the system that
the program was built for. With --licences it prints the licence of everything in
the program that others made. ffmpeg is no part of it.`,
		RunE: func(*cobra.Command, []string) error {
			i := build.Read()
			if !licences {
				return a.show(i, func(w io.Writer) { fmt.Fprintln(w, versionLine(i)) })
			}
			all, err := build.Licences()
			if err != nil {
				return err
			}
			return a.show(map[string]any{"program": i, "own": build.Own, "licences": all}, licencesTable(all))
		},
	}
	c.Flags().BoolVar(&licences, "licences", false, "print the licences of everything in the program")
	return c
}

// versionLine returns what a program is, in one line.
func versionLine(i build.Info) string {
	s := "ripieno " + i.Version
	if i.Commit != "" {
		// Twelve digits name a commit in any repository of this size.
		s += " (" + i.Commit[:min(len(i.Commit), 12)]
		if i.Changed {
			s += ", changed"
		}
		if i.Day != "" {
			s += ", " + i.Day
		}
		s += ")"
	}
	return s + ", " + i.Go + ", " + i.System
}

// licencesTable lists what is in the program and then prints every licence whole.
func licencesTable(all []build.Licence) func(io.Writer) {
	return func(w io.Writer) {
		fmt.Fprintf(w, "ripieno itself: %s\n\n", build.Own)
		table(w, func(row func(...any)) {
			row("in the program", "licence")
			for _, l := range all {
				row(l.Work, l.Kind)
			}
		})
		for _, l := range all {
			fmt.Fprintf(w, "\n%s\n%s\n\n%s", l.Work, strings.Repeat("=", len(l.Work)), l.Text)
		}
	}
}
