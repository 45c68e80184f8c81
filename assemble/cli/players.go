package cli

import (
	"fmt"
	"io"
	"strings"

	"github.com/spf13/cobra"

	"ripieno/assemble"
	"ripieno/assemble/roll"
)

// The verbs of this file make what players get: the guide and the call sheet.

// clickVerb returns the verb click.
func (a *app) clickVerb() *cobra.Command {
	var o assemble.ClickOptions
	c := a.verb("click", "write the click track everybody plays to",
		`Writes the guide as out/guide.wav, out/guide.mp3 and out/guide.mid: the
count-in, a click on every beat, a different sound on the beat where all clap,
and the drone if the manifest has one. It prints the measures as they are played
and writes them as an empty score, out/guide.musicxml, and as labels for editors
of sound, out/guide-labels.txt. What a score asks without a number, such as rit.
or a fermata, is listed; interpret: yes in the manifest follows it. Every variant
in the manifest becomes out/guide-NAME.wav and so on:

  guide:
    levels: {click: 0, drone: -3}       # dB, or off
    subdivisions: 2                     # clicks in a beat, or written
    count_tones: true
    drone: [{measure: count-in, note: D3, fifth: just}]
    variants:
      - {name: loud, levels: {click: 4, drone: off}}
      - {name: from-33, from: m33, to: m49}      # for a re-take
      - {name: together, with: others}           # over the takes that are in

A take names the variant it is recorded to (guide: from-33), so that sync knows
where its clap belongs.

--film also writes each guide as a small film for those who play by eye: the
beats as lights, measures and rehearsal marks, the clap as a sign, and another
meter or tempo two measures before it comes. A guide that the players of one part
of the score have for themselves says where they enter after a rest. Whoever
conducts is seen beside the beats when the manifest names a film, which is
recorded to the guide with its clap as takes are:

  guide:
    conductor: {video: intake/beat.mp4, release: yes}     # cue_at: 9.87 where the clap is not found

Headphones: begin at a low level and raise it until the click is just clear.
Long listening at high levels harms hearing.`,
		func(cmd *cobra.Command, p *assemble.Production) (func() error, error) {
			r, err := p.Click(cmd.Context(), o)
			return withVerdict(a, r, guideTable, err, roll.Verdict(r.Faults))
		})
	c.Flags().StringSliceVar(&o.Only, "only", nil, "names of the variants to write besides the guide (default: all)")
	c.Flags().BoolVar(&o.Film, "film", false, "also write each guide as a film to look at, out/guide.mp4")
	return c
}

// guideTable prints the guide and then its variants.
func guideTable(r assemble.GuideResult) func(io.Writer) {
	return func(w io.Writer) {
		guideLines(w, r.GuideFile)
		for _, v := range r.Variants {
			fmt.Fprintln(w)
			guideLines(w, v)
		}
		fmt.Fprintln(w)
		measureLines(w, r)
		tellScore(w, r.Remarks)
	}
}

// maxRuns is how many lines the table of measures has at most. A piece in which every
// measure has another tempo, as one that follows a recording has, would fill the
// terminal and hide what stands above.
const maxRuns = 60

// measureLines prints the measures of the guide, those that begin alike in one line.
func measureLines(w io.Writer, r assemble.GuideResult) {
	runs := assemble.GuideRuns(r.Measures)
	table(w, func(row func(...any)) {
		row("measures", "on the page", "meter", "tempo", "begins at", "marks")
		for _, run := range runs[:min(len(runs), maxRuns)] {
			name := fmt.Sprintf("%d", run.From.Number)
			page := run.From.Page
			switch {
			// Measures of the count-in have negative numbers.
			case run.From.Number < 0:
				name = "count-in"
			case run.To.Number > run.From.Number:
				name += fmt.Sprintf("-%d", run.To.Number)
				if page != "" {
					page += " to " + run.To.Page
				}
			}
			row(name, escapeLine(page), run.From.Meter, run.Tempo, clock(run.From.Begins),
				escapeLine(strings.Join(run.From.Marks, ", ")))
		}
	})
	if more := len(runs) - maxRuns; more > 0 {
		fmt.Fprintf(w, "and %d more lines: --json and %s have every measure\n", more, r.Labels)
	}
	if r.Order != "" {
		fmt.Fprintf(w, "the page's measures are played in this order: %s\n", escapeLine(r.Order))
	}
}

// guideLines prints one guide: its files, when to clap, and where its times are on
// guide time. A guide of a part has a time of its own: what to add to it is printed
// to the microsecond, since people copy it.
func guideLines(w io.Writer, r assemble.GuideFile) {
	files := []string{r.WAV, r.MP3}
	if r.MIDI != "" {
		files = append(files, r.MIDI)
	}
	files = append(files, r.MusicXML, r.Labels)
	if r.Film != "" {
		files = append(files, r.Film)
	}
	fmt.Fprintf(w, "wrote %s (%s)\n", strings.Join(files, ", "), clock(r.Duration))
	if r.CueAt != nil {
		fmt.Fprintf(w, "count-in of %s; everybody claps on measure %d beat %d of it, at %s\n",
			count(r.CountIn, "measure"),
			r.CueMeasure, r.CueBeat, clock(*r.CueAt))
	}
	if r.From > 0 {
		fmt.Fprintf(w, "measures %d to %d begin at %s; add %.6f s to a time in it for guide time\n", r.From, r.To,
			clock(r.StartsAt), r.Offset)
	} else {
		fmt.Fprintf(w, "the piece begins at %s\n", clock(r.StartsAt))
	}
	if len(r.With) > 0 {
		fmt.Fprintf(w, "with %s under the clicks\n", strings.Join(r.With, ", "))
	}
	fmt.Fprintf(w, "loudness %s, true peak %s; begin at a low headphone level\n", level(r.Loudness, "LUFS"),
		level(r.TruePeak, "dBTP"))
	for _, n := range r.Notes {
		fmt.Fprintf(w, "note: %s\n", n)
	}
}

// callsheetVerb returns the verb callsheet. It does not open the production as
// others do, since it needs neither ffmpeg nor the store.
func (a *app) callsheetVerb() *cobra.Command {
	var o assemble.CallSheetOptions
	var list bool
	c := &cobra.Command{
		Use: "callsheet", Short: "write the page that tells players what to do", Args: cobra.NoArgs,
		Long: `Writes out/callsheet.html for everybody and out/callsheets/NAME.html for each
take: what to play to, when exactly to clap, how to record, where to send it.
Each is one file that needs no network and prints on paper. The manifest may say

  callsheet:
    language: en                        # or de, es, fr, it
    due: 2031-06-12 20:00               # or any words
    send_to: takes@example.org          # mail, web address or words
    contact: Mara Voss
    notes: Mutes from measure 20 on.
    strings: {step-check: "Send the second try, not the first."}`,
		RunE: func(cmd *cobra.Command, _ []string) error {
			set, err := a.openSettings()
			if err != nil {
				return err
			}
			set.Report.Close() // nothing here takes long
			if list {
				s, err := assemble.CallSheetStrings(set, o)
				if err != nil {
					return err
				}
				return a.show(s, stringsTable(s))
			}
			r, err := assemble.CallSheets(cmd.Context(), set, o)
			if err != nil {
				return err
			}
			return a.show(r, callSheetTable(r))
		},
	}
	c.Flags().StringSliceVar(&o.Only, "only", nil, "names of the takes to write pages for (default: all)")
	c.Flags().StringVar(&o.Language, "language", "", "language of the pages (default: as the manifest says)")
	c.Flags().BoolVar(&list, "strings", false, "print the sentences that the manifest can replace, with their keys")
	return c
}

// callSheetTable prints the pages with whom they are for.
func callSheetTable(r assemble.CallSheetResult) func(io.Writer) {
	return func(w io.Writer) {
		fmt.Fprintf(w, "wrote %s for everybody\n", r.All)
		table(w, func(row func(...any)) {
			for _, p := range r.Pages {
				row("wrote "+p.File, p.Player, p.Part)
			}
		})
	}
}

// stringsTable prints sentences as they would stand under strings: in a manifest.
func stringsTable(r assemble.SentencesResult) func(io.Writer) {
	return func(w io.Writer) {
		for _, s := range r.Strings {
			fmt.Fprintf(w, "%s: %s\n", s.Key, s.Text)
		}
	}
}
