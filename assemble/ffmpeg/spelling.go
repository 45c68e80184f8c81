package ffmpeg

import (
	"slices"
	"strings"
)

// renamed are options that releases call differently. Commands are written with
// the newest name that 5.1 knows; [Tool.spell] puts the one in its place that the
// ffmpeg at hand understands.
var renamed = []struct {
	written, instead string
	before           bool // than this release; otherwise from it on
	major, minor     int
}{
	// Release notes of 5.1 and 7.0; -vsync was removed after 7.
	{"-fps_mode", "-vsync", true, 5, 1},
	{"-filter_complex_script", "-/filter_complex", false, 7, 0},
}

// sideData is how 5.1 and later are asked for what a stream says of its rotation. 4.3, and
// an ffprobe of 2021 between 4.4 and 5.0, refuse these words and take the others; one of
// 2022 that became 5.1 takes both. All say the same of a file that is turned.
const (
	sideData      = "stream_side_data="
	olderSideData = "stream_side_data_list"
)

// spellEntries returns arguments of ffprobe as this one knows them.
func (t *Tool) spellEntries(args []string) []string {
	if t.Version.AtLeast(5, 1) {
		return args
	}
	args = slices.Clone(args)
	for i, a := range args {
		if before, after, ok := strings.Cut(a, sideData); ok {
			_, rest, more := strings.Cut(after, ":")
			if args[i] = before + olderSideData; more {
				args[i] += ":" + rest
			}
		}
	}
	return args
}

// stamping begins what a command says of the times of packets that it copies.
const stamping = "setts="

// StampsDurations reports whether this ffmpeg can say how long packets are that it
// copies, and in what time they are counted. In 4.4 the bitstream filter setts has
// neither of its options duration and time_base, and every packet keeps its length (its
// source; 5.0 was not at hand and is taken for the same).
func (t *Tool) StampsDurations() bool { return t.Version.AtLeast(5, 1) }

// withoutDurations returns the words of setts as older releases know them.
func withoutDurations(arg string) string {
	words := strings.Split(strings.TrimPrefix(arg, stamping), ":")
	return stamping + strings.Join(slices.DeleteFunc(words, func(w string) bool {
		return strings.HasPrefix(w, "duration=") || strings.HasPrefix(w, "time_base=")
	}), ":")
}

// spell returns arguments with the options as this ffmpeg calls them.
func (t *Tool) spell(args []string) []string {
	copied := false
	if i := slices.IndexFunc(args, func(a string) bool { return strings.HasPrefix(a, stamping) }); i >= 0 &&
		!t.StampsDurations() {
		args, copied = slices.Clone(args), true
		args[i] = withoutDurations(args[i])
	}
	for _, r := range renamed {
		if t.Version.AtLeast(r.major, r.minor) == r.before {
			continue
		}
		for i, a := range args {
			if a != r.written {
				continue
			}
			if !copied {
				args, copied = slices.Clone(args), true
			}
			args[i] = r.instead
		}
	}
	return args
}
