package ffmpeg

import (
	"context"
	"os"
	"time"
)

// Graphed is a command with a filter graph that is too long for an argument.
type Graphed interface {
	// Argv returns the arguments. flag is the option by which the ffmpeg at hand
	// reads a graph from a file, and file is where the graph was written.
	Argv(flag, file string) []string
	// Filters returns the text of the graph, "" for none.
	Filters() string
}

// ownPatience is for how long nothing may be heard of work on files of our own:
// an encoder looks 130 frames ahead, of which each takes seconds where hundreds
// of tiles are large, and a film's index is moved to its beginning at the end.
const ownPatience = 20 * time.Minute

// RunGraph runs a command on files of our own, whose output is tmp; its graph
// goes beside it. advance, when not nil, is told the share done of so many
// frames; 0 frames tell nothing. Errors are as for [Tool.Run].
func (t *Tool) RunGraph(ctx context.Context, c Graphed, tmp string, frames int, advance func(float64)) error {
	return t.RunGraphWith(ctx, c, tmp, Command{
		Patience: ownPatience,
		Progress: func(p Progress) {
			if frames > 0 && advance != nil {
				advance(float64(p.Frame) / float64(frames))
			}
		},
	})
}

// graphOption reads a graph from a file; see [Tool.spell].
const graphOption = "-filter_complex_script"

// GraphFile returns where RunGraph puts the graph of a command whose output is tmp. It stays
// there: who writes beside what people see removes it.
func GraphFile(tmp string) string { return tmp + ".graph" }

// RunGraphWith returns RunGraph with the rest of run given; more arguments come first.
func (t *Tool) RunGraphWith(ctx context.Context, c Graphed, tmp string, run Command, more ...string) error {
	file := GraphFile(tmp)
	if text := c.Filters(); text != "" {
		if err := os.WriteFile(file, []byte(text), 0o666); err != nil {
			return err
		}
	}
	run.Args = append(more, c.Argv(graphOption, file)...)
	return t.Run(ctx, run)
}
