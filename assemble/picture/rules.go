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
		RuleConform: func(ctx context.Context, args []byte, in []string, dst string) error {
			var w conformWork
			if err := json.Unmarshal(args, &w); err != nil {
				return fmt.Errorf("picture: the picture asked for cannot be read: %w", err)
			}
			if len(in) != 1 {
				return fmt.Errorf("picture: a picture is asked for of %d files", len(in))
			}
			return w.elsewhere(ctx, tool, in[0], dst)
		},
		RulePieces: func(ctx context.Context, args []byte, in []string, dst string) error {
			var w piecesWork
			if err := json.Unmarshal(args, &w); err != nil {
				return fmt.Errorf("picture: the pieces asked for cannot be read: %w", err)
			}
			if len(in) != 1 {
				return fmt.Errorf("picture: pieces are asked for of %d files", len(in))
			}
			return w.elsewhere(ctx, tool, in[0], dst)
		},
		RuleBand: func(ctx context.Context, args []byte, in []string, dst string) error {
			var w bandWork
			if err := json.Unmarshal(args, &w); err != nil {
				return fmt.Errorf("picture: the band asked for cannot be read: %w", err)
			}
			return w.run(ctx, tool, in, dst, func(float64) {})
		},
		RuleSegment: func(ctx context.Context, args []byte, in []string, dst string) error {
			var w segmentWork
			if err := json.Unmarshal(args, &w); err != nil {
				return fmt.Errorf("picture: the segment asked for cannot be read: %w", err)
			}
			if w.Coding.Hardware() {
				return fmt.Errorf("picture: %s encodes at home only", w.Coding.Encoder)
			}
			return w.run(ctx, tool, make(sessions, 1), in, dst, func(float64) {})
		},
	}
}
