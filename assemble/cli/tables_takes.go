package cli

import (
	"fmt"
	"io"
	"math"
	"slices"
	"strings"

	"ripieno/assemble"
	"ripieno/assemble/arrival"
	"ripieno/mix/align"
)

// checkTable prints every take with its findings, and how many takes have which
// level.
func checkTable(r assemble.CheckResult) func(io.Writer) {
	return func(w io.Writer) {
		var levels []string
		for _, t := range r.Takes {
			levels = append(levels, t.Level)
			fmt.Fprintf(w, "%-8s %s (%s)\n", t.Level, t.Name, t.Player)
			for _, f := range t.Findings {
				of := ""
				if f.File != "" {
					of = f.File + ": "
				}
				fmt.Fprintf(w, "         - %s%s\n", of, f.What)
				if f.Ask != "" {
					fmt.Fprintf(w, "           %s\n", f.Ask)
				}
			}
		}
		fmt.Fprintln(w, countLevels(levels))
		tellGuides(w, r.Guides)
		tellAstray(w, r.Astray)
	}
}

// tellAstray says which recordings lie where no take is looked for.
func tellAstray(w io.Writer, files []string) {
	for _, file := range files {
		fmt.Fprintf(w, "%s looks like a recording, but lies among the outputs\n  hint: %s\n", escapeLine(file),
			arrival.AstrayHint)
	}
}

// tellGuides says which guides are not as the manifest has them now.
func tellGuides(w io.Writer, changed []assemble.GuideChange) {
	for _, c := range changed {
		fmt.Fprintf(w, "guide: %s\n       %s\n", c.What, c.Hint)
	}
}

// countLevels returns how many takes have which level, given that of each.
func countLevels(levels []string) string {
	counts := map[string]int{}
	for _, l := range levels {
		counts[l]++
	}
	return fmt.Sprintf("%s: %d ok, %d to ask about, %d to record again, %d missing", count(len(levels), "take"),
		counts["ok"], counts["ask"], counts["redo"], counts["missing"])
}

// syncTable stays within 100 columns. The widest cells are a name of 16 characters
// and a method; names beyond are cut, since the table is read by columns.
func syncTable(r assemble.SyncResult) func(io.Writer) {
	return func(w io.Writer) {
		sure, asks := 0, 0
		table(w, func(row func(...any)) {
			row("take", "of", "offset s", "ppm", "confidence", "placed by", "against clap")
			for _, t := range r.Takes {
				how := fmt.Sprintf("%.2f", t.Confidence)
				if sure++; !t.Sure {
					how += " needs review"
					sure--
					asks++
				}
				drift := "-" // not enough playing to tell
				if t.DriftPPM != 0 {
					drift = fmt.Sprintf("%+.1f", t.DriftPPM)
				}
				row(shorten(t.Name, 16), t.Role, fmt.Sprintf("%+.4f", t.Offset), drift, how, t.Method,
					describeLateness(t, placedByHand(r.Takes, t.Name)))
			}
		})
		fmt.Fprintf(w, "%d recordings: %d placed, %d need review; %d analyses run, %d cached\n",
			len(r.Takes), sure, asks, r.Tasks.Run, r.Tasks.Reused)
		tellBroken(w, r.Takes)
		tellRemembered(w, r.Takes)
		for _, p := range r.PNG {
			fmt.Fprintf(w, "drawn in %s\n", p)
		}
		fmt.Fprintf(w, "written to %s\n", r.File)
		if r.Pinned > 0 {
			fmt.Fprintf(w, "%d values written into the manifest\n", r.Pinned)
		}
		if r.Accepted > 0 {
			fmt.Fprintf(w, "%d accepted and written into the manifest; the table is from before, run ripieno sync "+
				"again\n", r.Accepted)
		} else {
			printCandidates(w, r)
		}
		tellGuides(w, r.Guides)
	}
}

// tellBroken says which recordings are not one piece of time or labelled with another
// rate, a line each.
func tellBroken(w io.Writer, list []assemble.Placed) {
	for _, t := range list {
		for _, b := range t.Breaks {
			fmt.Fprintf(w, "%s (%s) is %s\n", t.Name, t.Role, b)
		}
		if t.SampleRate > 0 {
			fmt.Fprintf(w, "%s (%s) was recorded with %d samples a second and is labelled %d\n", t.Name, t.Role,
				t.SampleRate, t.LabelledRate)
		}
	}
}

// tellRemembered says who is sure only because they were so before, what they would be asked, and how
// to hear it: a line a take, since a second device lies where the first one does.
func tellRemembered(w io.Writer, list []assemble.Placed) {
	told := false
	for _, t := range list {
		if t.Remembered != "" && t.Method != align.ByDevice {
			told = true
			fmt.Fprintf(w, "%s (%s) was sure before and stays so; asked now: %s\n", t.Name, t.Role, t.Remembered)
		}
	}
	if told {
		fmt.Fprintln(w, "hear these places with ripieno sync --snippets; to be asked about them delete sync.yaml")
	}
}

// printCandidates lists the places between which a person has to decide, or may though a take was
// sure before. A second device lies where its take's first one lies, and is not asked about by itself.
func printCandidates(w io.Writer, r assemble.SyncResult) {
	sounds := map[string]string{}
	for _, s := range r.Snippets {
		sounds[fmt.Sprintf("%s/%s=%d", s.Take, s.Role, s.Number)] = s.Path
	}
	for _, t := range r.Takes {
		if t.Sure && t.Remembered == "" || t.Method == align.ByDevice {
			continue
		}
		for _, c := range t.Candidates {
			name := fmt.Sprintf("%s/%s=%d", t.Name, t.Role, c.Number)
			by := strings.ReplaceAll(c.By, "cue", "clap") // as all other messages call it
			line := fmt.Sprintf("  --accept %-24s %s at %.2f s of %s (%.0f %%)", name, by, c.At, t.File, 100*c.Odds)
			if path := sounds[name]; path != "" {
				line += ": " + path
			}
			fmt.Fprintln(w, line)
		}
	}
}

// shorten returns a name of at most n characters.
func shorten(s string, n int) string {
	if r := []rune(s); len(r) > n {
		return string(r[:n-1]) + "…"
	}
	return s
}

// placedByHand reports whether the offset of one of a take's recordings is written in
// the manifest: then nothing of the take is moved.
func placedByHand(list []assemble.Placed, take string) bool {
	return slices.ContainsFunc(list, func(t assemble.Placed) bool {
		return t.Name == take && t.Method == align.ByOffset
	})
}

// describeLateness returns how the playing lies against the player's own clap, and what was
// done about it.
func describeLateness(t assemble.Placed, byHand bool) string {
	switch {
	case t.Method == align.ByOffset:
		return "by hand"
	case byHand:
		return "as the other, by hand"
	case t.LatenessMS == nil && t.CueAt == nil:
		return "no clap"
	case t.LatenessMS == nil:
		return "clap only"
	case math.Abs(*t.LatenessMS) < 0.5:
		return "on the clap"
	case t.KeptMS != 0:
		return lateOrEarly(t.LatenessMS) + ", kept"
	case t.Method == align.ByCueGiven || !t.Sure:
		return lateOrEarly(t.LatenessMS)
	}
	// The playing is not moved farther from its clap than sync allows, and
	// where it tells little, not all the way.
	if t.CueOffset != nil && t.Method != align.ByDevice {
		// 5 ms are the rounding of both figures and what nobody hears.
		if ms := math.Abs(*t.CueOffset-t.Offset) * 1000; math.Abs(*t.LatenessMS) > ms+5 {
			return fmt.Sprintf("%s, %.0f removed", lateOrEarly(t.LatenessMS), ms)
		}
	}
	return lateOrEarly(t.LatenessMS) + ", removed"
}

// lateOrEarly returns how the playing lies against the clap of the same player. ms is
// positive when the playing comes after the clap says it should; nil is not measured.
func lateOrEarly(ms *float64) string {
	switch {
	case ms == nil:
		return ""
	case *ms < 0:
		return fmt.Sprintf("%.0f ms early", -*ms)
	}
	return fmt.Sprintf("%.0f ms late", *ms)
}
