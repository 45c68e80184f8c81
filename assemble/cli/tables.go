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
)

// table writes aligned columns. Cells must have no tab and no line break. Empty cells
// at the end of a row are dropped with their padding.
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

// level prints a measured level, or what takes its place in silence. nil is silence,
// for which JSON has no number.
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

// clock prints seconds as m:ss.sss. It rounds to a millisecond. Minutes go on past
// 59: a film is told in minutes.
func clock(s float64) string {
	sign := ""
	if s < 0 {
		sign, s = "-", -s
	}
	ms := int64(s*1000 + 0.5)
	return fmt.Sprintf("%s%d:%02d.%03d", sign, ms/60000, ms/1000%60, ms%1000)
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
// else the largest and the smallest. A size that differs in both sides only by
// turning is another.
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
		fmt.Fprintf(w, "%d tasks run%s, %d cached, %.1f s\n", r.Tasks.Run, awayNote(r.Tasks), r.Tasks.Reused, r.Wall)
	}
}

// awayNote says how many tasks other machines made, if any.
func awayNote(c assemble.TaskCount) string {
	if c.Away == 0 {
		return ""
	}
	return fmt.Sprintf(" (%d on other machines)", c.Away)
}

// encodedBy names the encoder where it is not the usual one.
func encodedBy(f assemble.FilmResult) string {
	// The default, which nobody asks about.
	if f.Encoder == "libx264" {
		return ""
	}
	return ", " + string(f.Codec) + " by " + f.Encoder
}

// planTable prints every task, whether it would run and why. The forecast is what
// tasks of the same kind took in earlier runs, on this machine as it was then.
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
		fmt.Fprintf(w, "about %.1f minutes of processor time, %.1f minutes on this machine, %.1f GB of disk\n",
			f.CPU/60, f.Wall/60, float64(f.Bytes)/1e9)
		if a := f.Away; a != nil {
			fmt.Fprintf(w, "%d of them can be made elsewhere (%.2f GB to send): about %.1f minutes with the %d cores "+
				"that are there\n", a.Tasks, float64(a.Bytes)/1e9, a.Wall/60, a.Cores)
		}
		if f.All > r.Store {
			fmt.Fprintf(w, "all results are about %.0f GB and the cache may hold %.0f GB: allow more with "+
				"--store-limit %.0fGB\n",
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

// tellScore prints what to know of the score, and of beats that were found.
func tellScore(w io.Writer, remarks []string) {
	if len(remarks) == 0 {
		return
	}
	fmt.Fprintln(w, "remarks:")
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
