package cli

import (
	"cmp"
	"fmt"
	"io"
	"math"
	"slices"
	"strings"
	"text/tabwriter"

	"ripieno/assemble"
	"ripieno/mix/align"
)

// table writes aligned columns.
func table(w io.Writer, rows func(row func(cells ...any))) {
	t := tabwriter.NewWriter(w, 0, 0, 2, ' ', 0)
	rows(func(cells ...any) {
		parts := make([]string, len(cells))
		for i, c := range cells {
			parts[i] = fmt.Sprint(c)
		}
		fmt.Fprintln(t, strings.TrimRight(strings.Join(parts, "\t"), "\t "))
	})
	t.Flush()
}

// level prints a measured level, or what takes its place in silence.
func level(v *float64, unit string) string {
	if v == nil {
		return "silent"
	}
	return fmt.Sprintf("%.1f %s", *v, unit)
}

// count returns a number of things: "1 tile", "3 tiles".
func count(n int, thing string) string {
	if n != 1 {
		thing += "s"
	}
	return fmt.Sprintf("%d %s", n, thing)
}

// clock prints seconds as m:ss.sss.
func clock(s float64) string {
	sign := ""
	if s < 0 {
		sign, s = "-", -s
	}
	ms := int64(s*1000 + 0.5)
	return fmt.Sprintf("%s%d:%02d.%03d", sign, ms/60000, ms/1000%60, ms%1000)
}

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

// syncTable stays within 100 columns.
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
		for _, p := range r.PNG {
			fmt.Fprintf(w, "drawn in %s\n", p)
		}
		fmt.Fprintf(w, "written to %s\n", r.File)
		if r.Pinned > 0 {
			fmt.Fprintf(w, "%d values written into the manifest\n", r.Pinned)
		}
		if r.Accepted > 0 {
			fmt.Fprintf(w, "%d accepted and written into the manifest; the table is from before, run ripieno sync again\n", r.Accepted)
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

// printCandidates lists the places between which a person has to decide.
func printCandidates(w io.Writer, r assemble.SyncResult) {
	sounds := map[string]string{}
	for _, s := range r.Snippets {
		sounds[fmt.Sprintf("%s/%s=%d", s.Take, s.Role, s.Number)] = s.Path
	}
	for _, t := range r.Takes {
		if t.Sure || t.Method == align.ByDevice {
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
	return slices.ContainsFunc(list, func(t assemble.Placed) bool { return t.Name == take && t.Method == align.ByOffset })
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
		if ms := math.Abs(*t.CueOffset-t.Offset) * 1000; math.Abs(*t.LatenessMS) > ms+5 {
			return fmt.Sprintf("%s, %.0f removed", lateOrEarly(t.LatenessMS), ms)
		}
	}
	return lateOrEarly(t.LatenessMS) + ", removed"
}

// lateOrEarly returns how the playing lies against the clap of the same player.
func lateOrEarly(ms *float64) string {
	switch {
	case ms == nil:
		return ""
	case *ms < 0:
		return fmt.Sprintf("%.0f ms early", -*ms)
	}
	return fmt.Sprintf("%.0f ms late", *ms)
}

// gridTable prints the shots of every deliverable: when, what, and how large the
// tiles are.
func gridTable(r assemble.GridResult) func(io.Writer) {
	return func(w io.Writer) {
		for _, g := range append([]assemble.GridResult{r}, r.Others...) {
			fmt.Fprintf(w, "%s: %dx%d, %.3g frames a second, %s\n", g.Name, g.Canvas.W, g.Canvas.H, g.FPS,
				clock(g.Duration))
			table(w, func(row func(...any)) {
				for _, s := range g.Shots {
					tile := ""
					if len(s.Tiles) > 0 {
						tile = count(len(s.Tiles), "tile") + " of " + tileSizes(s.Tiles)
						if s.Sheets > 1 {
							tile += fmt.Sprintf(", sheet %d of %d", s.Sheet, s.Sheets)
						}
					}
					row("  "+clock(s.From), clock(s.To), s.Show, tile)
				}
			})
			fmt.Fprintf(w, "  drawn in %s\n", g.PNG)
			if g.Sheet != "" {
				fmt.Fprintf(w, "  storyboard in %s, what is shown of every take in %s\n", g.Sheet, g.Crops)
			}
		}
		if r.Pinned > 0 {
			fmt.Fprintf(w, "seats of %d takes written into the manifest\n", r.Pinned)
		}
	}
}

// tileSizes returns the sizes that tiles have, the largest first: each up to three,
// else the largest and the smallest.
func tileSizes(tiles []assemble.GridTile) string {
	var sizes []assemble.GridTile
	for _, t := range tiles {
		t = assemble.GridTile{W: t.W, H: t.H}
		if !slices.Contains(sizes, t) {
			sizes = append(sizes, t)
		}
	}
	slices.SortStableFunc(sizes, func(a, b assemble.GridTile) int {
		return cmp.Or(b.W*b.H-a.W*a.H, b.W-a.W)
	})
	var words []string
	for _, t := range sizes {
		words = append(words, fmt.Sprintf("%dx%d", t.W, t.H))
	}
	if n := len(words); n > 3 {
		return words[0] + " to " + words[n-1]
	}
	return strings.Join(words, ", ")
}

// mixTable prints a line for each strip, then the files and the loudness of the
// sum.
func mixTable(r assemble.MixResult) func(io.Writer) {
	return func(w io.Writer) {
		table(w, func(row func(...any)) {
			row("take", "recorded at", "gain", "in the mix", "pan", "")
			for _, s := range r.Strips {
				row(s.Take, level(s.Loudness, "LUFS"), fmt.Sprintf("%+.1f dB", s.Gain), level(s.Mixed, "LUFS"),
					fmt.Sprintf("%+.0f", s.Pan), strings.Join(s.Notes, "; "))
			}
		})
		fmt.Fprintf(w, "wrote %s (%s): loudness %s, true peak %s\n", r.WAV, clock(r.Duration),
			level(r.Loudness, "LUFS"), level(r.TruePeak, "dBTP"))
		fmt.Fprintf(w, "wrote %s\n", r.Levels)
		if n := len(r.Stems); n > 0 {
			fmt.Fprintf(w, "wrote %d stems, from %s to %s\n", n, r.Stems[0].File, r.Stems[n-1].File)
		}
		if n := len(r.Stages); n > 0 {
			fmt.Fprintf(w, "wrote %d stages, from %s to %s\n", n, r.Stages[0].After, r.Stages[n-1].After)
		}
		for _, old := range r.Removed {
			fmt.Fprintf(w, "removed %s: not part of this mix\n", old)
		}
		for _, n := range r.Notes {
			fmt.Fprintf(w, "note: %s\n", n)
		}
	}
}

// renderTable prints the films, the loudness of their sound, and how much of the
// work was cached.
func renderTable(r assemble.RenderResult) func(io.Writer) {
	return func(w io.Writer) {
		for _, f := range r.Films {
			fmt.Fprintf(w, "wrote %s: %s, %d frames, %s%s\n", f.Output, f.Canvas, f.Frames, clock(f.Duration),
				encodedBy(f))
		}
		fmt.Fprintf(w, "sound: loudness %s, true peak %s\n", level(r.Loudness, "LUFS"), level(r.TruePeak, "dBTP"))
		fmt.Fprintf(w, "%d tasks run, %d cached, %.1f s\n", r.Tasks.Run, r.Tasks.Reused, r.Wall)
	}
}

// encodedBy names the encoder where it is not the usual one.
func encodedBy(f assemble.FilmResult) string {
	if f.Encoder == "libx264" {
		return ""
	}
	return ", " + string(f.Codec) + " by " + f.Encoder
}

// planTable prints every task, whether it would run and why.
func planTable(r assemble.PlanResult) func(io.Writer) {
	return func(w io.Writer) {
		run := 0
		for _, t := range r.Tasks {
			fmt.Fprintln(w, t)
			if t.Runs {
				run++
			}
		}
		fmt.Fprintf(w, "%d of %d tasks would run\n", run, len(r.Tasks))
		f := r.Forecast
		fmt.Fprintf(w, "about %.1f minutes of processor time, %.1f minutes on this machine, %.1f GB of disk\n", f.CPU/60,
			f.Wall/60, float64(f.Bytes)/1e9)
		if f.All > r.Store {
			fmt.Fprintf(w, "all results are about %.0f GB and the cache may hold %.0f GB: allow more with --store-limit %.0fGB\n",
				float64(f.All)/1e9, float64(r.Store)/1e9, math.Ceil(1.2*float64(f.All)/1e9))
		}
	}
}

// explainTable prints what is stored under a key.
func explainTable(r assemble.ExplainResult) func(io.Writer) {
	return func(w io.Writer) { fmt.Fprintln(w, r.Text) }
}

// verifyTable prints the results that came out otherwise than stored, and how many
// did not.
func verifyTable(r assemble.VerifyResult) func(io.Writer) {
	return func(w io.Writer) {
		for _, d := range r.Different {
			fmt.Fprintf(w, "%s %s differs: stored %.12s, made again %.12s\n", d.Stage, d.Name, d.Stored, d.Rebuilt)
		}
		fmt.Fprintf(w, "%d of %d results were made again and are the same\n", r.Tasks-r.Varying-len(r.Different),
			r.Tasks-r.Varying)
		if r.Varying > 0 {
			fmt.Fprintf(w, "%d segments encoded by hardware were encoded again and have all their frames; hardware "+
				"never writes the same bytes twice, so these were not compared\n", r.Varying)
		}
	}
}

// cleanTable prints how much went.
func cleanTable(r assemble.CleanResult) func(io.Writer) {
	return func(w io.Writer) {
		fmt.Fprintf(w, "removed %d stored results, %.1f MB\n", r.Entries, float64(r.Bytes)/1e6)
	}
}

// newTable prints where the manifest is, what nobody could guess from the names of
// files, and what to do next.
func newTable(r assemble.NewResult) func(io.Writer) {
	return func(w io.Writer) {
		fmt.Fprintf(w, "wrote %s with %s\n", r.Manifest, count(r.Takes, "take"))
		if len(r.Unguessed) > 0 {
			fmt.Fprintln(w, "could not guess:")
			for _, u := range r.Unguessed {
				fmt.Fprintf(w, "  - %s\n", escapeLine(u))
			}
		}
		tellScore(w, r.Remarks)
		fmt.Fprintln(w, "next: set the tempo in it, then ripieno click and callsheet for the players, or check, sync "+
			"and rough for their takes")
	}
}

// tellScore prints what to know of the score.
func tellScore(w io.Writer, remarks []string) {
	if len(remarks) == 0 {
		return
	}
	fmt.Fprintln(w, "of the score:")
	for _, text := range remarks {
		fmt.Fprintf(w, "  - %s\n", escapeLine(text))
	}
}

// demoTable prints how far sync was from the truth and where the films are.
func demoTable(r assemble.DemoResult) func(io.Writer) {
	return func(w io.Writer) {
		table(w, func(row func(...any)) {
			row("take", "file", "clapped", "plays", "after sync", "drift off by")
			for _, t := range r.Truth {
				row(t.Take, t.Role, lateOrEarly(&t.ClapErrorMS), lateOrEarly(&t.BiasMS),
					fmt.Sprintf("%+.1f ms", t.ErrorMS), fmt.Sprintf("%+.1f ppm", t.DriftErrorPPM))
			}
		})
		fmt.Fprintf(w, "sync against the truth: median %.1f ms, worst %.1f ms\n", r.MedianMS, r.WorstMS)
		for _, b := range r.Final.Faults {
			fmt.Fprintf(w, "as in real life: %s\n", b.What)
		}
		fmt.Fprintf(w, "rough cut: %s\nfilm:      %s\n", r.Rough.Output, r.Final.Output)
		fmt.Fprintf(w, "to make your own: edit %s/production.yaml, or run `ripieno new` in a folder of takes\n", r.Dir)
	}
}
