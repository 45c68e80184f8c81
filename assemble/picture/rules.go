package picture

import (
	"context"
	"encoding/json"
	"fmt"

	"ripieno/assemble/ffmpeg"
)

// The rules that another machine can carry out. A run at home calls the same
// functions.
const (
	RuleConform = "conform"
	RulePieces  = "pieces" // of one take, conformed
	RuleSegment = "segment"
	RuleBand    = "band"
)

// Rules returns what this program can do for a production elsewhere: functions that
// are given arguments as JSON, the paths of the files they read, and where to write.
// args come from another machine and are checked before they are used: nothing in
// them is a path or an option of ffmpeg. A machine that asks for a rule which is not
// here is refused.
func Rules(tool *ffmpeg.Tool) map[string]func(ctx context.Context, args []byte, in []string, dst string) error {
	return map[string]func(context.Context, []byte, []string, string) error{
		RuleConform: asked("picture", func(ctx context.Context, w conformWork, in []string, dst string) error {
			if len(in) != 1 {
				return fmt.Errorf("picture: a picture is asked for of %d files", len(in))
			}
			return w.elsewhere(ctx, tool, in[0], dst)
		}),
		RulePieces: asked("pieces", func(ctx context.Context, w piecesWork, in []string, dst string) error {
			if len(in) != 1 {
				return fmt.Errorf("picture: pieces are asked for of %d files", len(in))
			}
			return w.elsewhere(ctx, tool, in[0], dst)
		}),
		RuleBand: asked("band", func(ctx context.Context, w bandWork, in []string, dst string) error {
			return w.run(ctx, tool, in, dst, func(float64) {})
		}),
		RuleSegment: asked("segment", func(ctx context.Context, w segmentWork, in []string, dst string) error {
			if w.Coding.Hardware() {
				return fmt.Errorf("picture: %s encodes at home only", w.Coding.Encoder)
			}
			return w.run(ctx, tool, make(sessions, 1), in, dst, func(float64) {})
		}),
	}
}

// asked returns a function that reads work from JSON and does it; what names it in an error.
func asked[W any](what string, do func(ctx context.Context, w W, in []string, dst string) error) func(context.Context,
	[]byte, []string, string) error {
	return func(ctx context.Context, args []byte, in []string, dst string) error {
		var w W
		if err := json.Unmarshal(args, &w); err != nil {
			return fmt.Errorf("picture: the %s asked for cannot be read: %w", what, err)
		}
		return do(ctx, w, in, dst)
	}
}
