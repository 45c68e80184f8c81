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

// sideData is how 5.1 and later are asked for what a stream says of its rotation. 4.3
// does not know the words and takes the others; what is between was not at hand.
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

// spell returns arguments with the options as this ffmpeg calls them.
func (t *Tool) spell(args []string) []string {
	copied := false
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
