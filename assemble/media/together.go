package media

import (
	"context"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"time"

	"ripieno/assemble/ffmpeg"
)

// Glance is a picture of which one key frame in so many is looked at, with others.
type Glance struct {
	Info
	Sampling // OneIn is above 1
	Use      func(Gray) error
}

// SampleTogether is [SampleGray] of several pictures with two processes for all, which spares
// most of what short ones cost. Packets and frames lie in the folder dir meanwhile. When
// anything is wrong with one of the pictures it reports false, and nothing of any was used:
// then each is to be sampled by itself, since ffmpeg does not say of which it speaks. There is
// an error of Use for each.
func SampleTogether(ctx context.Context, tool *ffmpeg.Tool, dir string, list []Glance) (wrong []error, ok bool) {
	packets, grays := make([]string, len(list)), make([]string, len(list))
	for i := range list {
		packets[i] = filepath.Join(dir, fmt.Sprintf("glance-%d.nut", i))
		grays[i] = filepath.Join(dir, fmt.Sprintf("glance-%d.gray", i))
		defer os.Remove(packets[i])
		defer os.Remove(grays[i])
	}
	if !runTogether(ctx, tool, list, copyTogether(tool, list, packets), 0) ||
		!runTogether(ctx, tool, list, decodeTogether(tool, list, packets, grays), len(list)) {
		return nil, false
	}
	wrong = make([]error, len(list))
	for i, g := range list {
		wrong[i] = g.read(grays[i])
	}
	return wrong, true
}

// copyTogether copies the packets that are wanted of each into a file of its own.
func copyTogether(tool *ffmpeg.Tool, list []Glance, packets []string) []string {
	args, out := Allocation(), []string(nil)
	for i, g := range list {
		if tool.QueuesInputs() {
			args = append(args, "-thread_queue_size", "0")
		}
		args = append(append(args, "-t", fmt.Sprint(MaxSeconds)), InputArgs(tool, g.Path)...)
		out = append(out, thin(fmt.Sprintf("%d:%d", i, g.Video.Index), g.OneIn, "file:"+packets[i])...)
	}
	return append(args, out...)
}

// decodeTogether decodes those packets into one file of pixels each.
func decodeTogether(tool *ffmpeg.Tool, list []Glance, packets, grays []string) []string {
	args, out := Allocation(), []string(nil)
	for i, g := range list {
		if tool.QueuesInputs() {
			args = append(args, "-thread_queue_size", "0")
		}
		args = append(args, thinnedOptions(tool, "file:"+packets[i])...)
		out = append(out, "-map", fmt.Sprintf("%d:0", i), "-vf", thinnedFilter(g.Video, g.gray(g.Info)))
		out = append(out, grayOut("file:"+grays[i])...)
	}
	return append(args, out...)
}

// runTogether runs a process that reads all of list, and decodes so many of it. It reports
// whether that went without a word of complaint.
func runTogether(ctx context.Context, tool *ffmpeg.Tool, list []Glance, args []string, decoded int) bool {
	var said complaints
	var wait time.Duration
	l := ffmpeg.Limits{}
	bytes := int64(0)
	for i, g := range list {
		wait += timeLimit(g.Duration)
		bytes += fileSize(g.Path)
		gray := g.gray(g.Info)
		// Key frames may come more often than they did at the beginning.
		frames := int64(2*g.Duration/max(g.Every, 1)) + 16
		l.File = max(l.File, fileSize(g.Path)+wavHeader, frames*int64(gray.W*gray.H))
		l.Memory += soundMemoryEach
		if i < decoded {
			l.Memory += pictureLimits(g.Info).Memory
		}
	}
	l.Memory += soundMemory
	l.CPU = probeTime(bytes) + time.Duration(decoded)*timeLimit(0)
	limited, cancel := context.WithTimeout(ctx, wait)
	defer cancel()
	err := tool.Run(limited, ffmpeg.Command{Args: args, Log: &said, About: list[0].Path, Several: true,
		Patience: ffmpeg.Reading(bytes), Limits: l})
	return err == nil && said.errors == 0 && !said.truncated
}

// read hands the frames in a file to whoever wanted them.
func (g Glance) read(path string) error {
	f, err := os.Open(path)
	if err != nil {
		return err
	}
	defer f.Close() //nolint:errcheck // nothing was written
	out := &framer{frame: g.gray(g.Info), use: g.Use}
	out.frame.Pix = make([]byte, 0, out.frame.W*out.frame.H)
	_, err = io.Copy(out, f)
	return err
}
