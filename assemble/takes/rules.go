package takes

import (
	"context"
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"strings"

	"ripieno/assemble/ffmpeg"
	"ripieno/assemble/intake"
	"ripieno/assemble/media"
	"ripieno/assemble/task"
	"ripieno/layout/face"
	"ripieno/layout/motion"
	"ripieno/mix/align"
)

// The rules of takes that another machine can carry out. A run at home calls the same
// functions.
const (
	RuleSound    = "sound"    // decodes the sound of a file
	RuleFeatures = "features" // hears what sync has to know of a sound
	RuleSee      = "see"      // looks at the picture of a file
)

// Versions says, in one line, by which versions of the rules this program works: others
// make other bytes.
func Versions() string {
	return fmt.Sprint("media ", media.Rule, " align ", align.Version(), " intake ", intake.Rule, " face ", face.Version,
		" motion ", motion.HeatVersion)
}

// fileWork is what is made of one file, as plain data: what is known of it, and by how
// many degrees its picture is to be turned.
type fileWork struct {
	Info media.Info
	Turn int `json:",omitempty"`
}

// errand returns the work on a recording's file as another machine is asked for it; nil
// where the file must not leave: its picture is not released.
func (w fileWork) errand(rule string, r *Recording) *task.Errand {
	if r.stays {
		return nil
	}
	w.Info.Path = ""
	return &task.Errand{Rule: rule, Args: w, Inputs: []task.ErrandInput{{
		Ext: strings.ToLower(filepath.Ext(r.Path)), Path: r.Path, Hash: r.Hash.String(),
	}}}
}

// sound writes the sound of the file and the decoder's account into dir.
func (w fileWork) sound(ctx context.Context, tool *ffmpeg.Tool, dir string) error {
	return decodeSound(ctx, tool, w.Info, dir)
}

// see stores what is seen in the picture of the file.
func (w fileWork) see(ctx context.Context, tool *ffmpeg.Tool, dst string) error {
	return seePicture(ctx, tool, w.Info, w.Turn, dst)
}

// elsewhere reads the arguments of an order on one file and opens that for the work, with
// as much of the processor as it may take at home.
func elsewhere(tool *ffmpeg.Tool, args []byte, in []string) (w fileWork, err error) {
	if err := json.Unmarshal(args, &w); err != nil {
		return w, fmt.Errorf("takes: what is asked for cannot be read: %w", err)
	}
	if len(in) != 1 {
		return w, fmt.Errorf("takes: one file is asked about, and there are %d", len(in))
	}
	w.Info.Path = in[0]
	info, err := os.Stat(in[0])
	if err == nil {
		tool.Allow(in[0], in[0], media.Allowance(info.Size()))
	}
	return w, err
}

// Rules returns what this program can do for a production elsewhere, as picture.Rules
// does.
func Rules(tool *ffmpeg.Tool) map[string]func(ctx context.Context, args []byte, in []string, dst string) error {
	return map[string]func(context.Context, []byte, []string, string) error{
		RuleSound: func(ctx context.Context, args []byte, in []string, dst string) error {
			w, err := elsewhere(tool, args, in)
			if err == nil {
				err = w.Info.NeedAudio()
			}
			if err != nil {
				return err
			}
			return w.sound(ctx, tool, dst)
		},
		RuleSee: func(ctx context.Context, args []byte, in []string, dst string) error {
			w, err := elsewhere(tool, args, in)
			if err != nil {
				return err
			}
			return w.see(ctx, tool, dst)
		},
		RuleFeatures: func(_ context.Context, _ []byte, in []string, dst string) error {
			if len(in) != 1 {
				return fmt.Errorf("takes: one sound is to be heard, and there are %d", len(in))
			}
			return measureSound(in[0], dst, align.Analyse)
		},
	}
}
