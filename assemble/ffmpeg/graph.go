package ffmpeg

import (
	"context"
	"os"
)

// Graphed is a command with a filter graph that is too long for an argument.
type Graphed interface {
	// Argv returns the arguments. flag is the option by which the ffmpeg at hand
	// reads a graph from a file, and file is where the graph was written.
	Argv(flag, file string) []string
	// Filters returns the text of the graph, "" for none.
	Filters() string
}

// RunGraph runs a command whose output is tmp; its graph goes beside it.
// advance, when not nil, is told the share done of so many frames; 0 frames
// tell nothing. Errors are as for [Tool.Run].
func (t *Tool) RunGraph(ctx context.Context, c Graphed, tmp string, frames int, advance func(float64)) error {
	flag := "-filter_complex_script"
	if t.Version.AtLeast(7, 0) {
		flag = "-/filter_complex"
	}
	file := tmp + ".graph"
	if text := c.Filters(); text != "" {
		if err := os.WriteFile(file, []byte(text), 0o666); err != nil {
			return err
		}
	}
	return t.Run(ctx, Command{
		Args: c.Argv(flag, file),
		Progress: func(p Progress) {
			if frames > 0 && advance != nil {
				advance(float64(p.Frame) / float64(frames))
			}
		},
	})
}
