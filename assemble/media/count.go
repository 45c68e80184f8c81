package media

import (
	"context"
	"fmt"
	"strconv"
	"strings"

	"ripieno/assemble/ffmpeg"
)

// Rule is the version of how this package probes and decodes. It belongs in
// the key of everything that is kept of a file's content.
const Rule = 2

// CountFrames is how many packets the picture of a file of our own has, which
// for such files is its number of frames. Nothing is decoded.
func CountFrames(ctx context.Context, tool *ffmpeg.Tool, path string) (int, error) {
	out, err := tool.Probe(ctx, []string{"-select_streams", "v:0", "-count_packets", "-show_entries", "stream=nb_read_packets", "-of", "csv=p=0", "file:" + path})
	if err != nil {
		return 0, err
	}
	n, err := strconv.Atoi(strings.TrimRight(strings.TrimSpace(string(out)), ","))
	if err != nil {
		return 0, fmt.Errorf("media: ffprobe counted no frames in %s: %q", path, out)
	}
	return n, nil
}
