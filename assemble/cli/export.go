package cli

import (
	"fmt"
	"io"

	"github.com/spf13/cobra"

	"ripieno/assemble"
	"ripieno/assemble/roll"
)

// exportVerb returns the verb export.
func (a *app) exportVerb() *cobra.Command {
	return a.verb("export", "write stems, timeline and tempo map in open formats",
		`Writes into out/export what an editor needs to continue in any program that
reads open formats:

  timeline.otio   all recordings in their places, a track each, with the drift of
                  their clocks; measures, shots and chapters as markers
                  (OpenTimelineIO)
  edits/          the same as edit lists, one for each take, and the shots of
                  every film as cuts of the finished film (CMX 3600)
  stems/          every take and every section as mixed, from guide time 0 (BWF)
  tempo.mid       count-in, tempo and meter, from guide time 0 (MIDI)
  offsets.csv     where every recording lies
  written.sha256  the files of this export; those of an earlier one are removed

The timeline refers to the recordings where they are. What a player has not
released is in none of it.`,
		func(cmd *cobra.Command, p *assemble.Production) (func() error, error) {
			r, err := p.Export(cmd.Context())
			return withVerdict(a, r, exportTable, err, roll.Verdict(r.Faults))
		})
}

// exportTable prints which files there are now and which went.
func exportTable(r assemble.ExportResult) func(io.Writer) {
	return func(w io.Writer) {
		fmt.Fprintf(w, "wrote %s\n", r.Timeline)
		fmt.Fprintf(w, "wrote %d edit lists beside it, %d stems, %s and %s\n", len(r.Edits), len(r.Stems), r.Tempo,
			r.Offsets)
		for _, f := range r.Removed {
			fmt.Fprintf(w, "removed %s: not part of this export\n", f)
		}
		for _, n := range r.Notes {
			fmt.Fprintf(w, "note: %s\n", n)
		}
	}
}
