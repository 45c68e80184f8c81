package soundtrack

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"

	"golang.org/x/sync/errgroup"

	"ripieno/assemble/ffmpeg"
	"ripieno/assemble/graph"
	"ripieno/assemble/media"
	"ripieno/mix"
	"ripieno/mix/audio"
)

// One encoder takes 15 s for two minutes, so a sound is encoded in pieces of whole
// frames, as many at a time as there are cores. Every piece but the first begins a
// run-in early: by then the encoder has chosen its windows as one that began at the
// beginning would have, on which the next frame's depends, and its rate has settled.
// A few frames behind the end let it look ahead as far as it likes. Both are thrown
// away. A piece and a run-in are whole numbers of microseconds, in which ffmpeg
// counts where it opens a file.
const (
	encodingRule = 1 // version of how a sound is encoded

	pieceFrames = 375 // 8 s
	runInFrames = 15  // 0.32 s
	aheadFrames = 15
)

// encodedPieces returns where the pieces of a sound begin, in frames of AAC, and where the
// last one ends. The first frame is the encoder's delay: frame k holds the samples
// around k*1024.
func encodedPieces(samples audio.Frames) []int {
	end := int((samples+graph.AACFrame-1)/graph.AACFrame) + 1
	edges := []int{0}
	// What is left at the end joins the last piece when it is less than half of one.
	for at := pieceFrames; end-at >= pieceFrames/2; at += pieceFrames {
		edges = append(edges, at)
	}
	return append(edges, end)
}

// encode makes the AAC of a sound of so many samples and measures what a listener's
// decoder will give.
func (b bus) encode(ctx context.Context, wav, m4a string, samples audio.Frames) (mix.Measured, error) {
	// Of the try before: ffmpeg is never told to write over a file.
	if err := os.Remove(m4a); err != nil && !errors.Is(err, fs.ErrNotExist) {
		return mix.Measured{}, err
	}
	edges := encodedPieces(samples)
	var err error
	if len(edges) == 2 || !b.tool.StampsDurations() {
		// What joins pieces could not say there how long the last frame is.
		err = encodeWhole(ctx, b.tool, wav, m4a)
	} else {
		err = b.encodePieces(ctx, wav, m4a, edges, samples)
	}
	if err != nil {
		return mix.Measured{}, err
	}
	return measureFile(ctx, b.tool, m4a)
}

// encodeWhole encodes a sound in one piece.
func encodeWhole(ctx context.Context, tool *ffmpeg.Tool, wav, m4a string) error {
	cmd, err := graph.AAC("file:"+wav, "file:"+m4a)
	if err != nil {
		return err
	}
	return tool.RunGraph(ctx, cmd, m4a, 0, nil)
}

// encodePieces encodes a sound in the pieces between edges and joins them. The bytes
// do not depend on how many cores work on it.
func (b bus) encodePieces(ctx context.Context, wav, m4a string, edges []int, samples audio.Frames) error {
	parts := make([]media.Stretch, len(edges)-1)
	defer func() {
		for _, p := range parts {
			os.Remove(p.Path)
		}
	}()
	group, limited := errgroup.WithContext(ctx)
	group.SetLimit(max(1, b.workers))
	for i := range parts {
		from, to := edges[i], edges[i+1]
		skip := min(from, runInFrames)
		parts[i] = media.Stretch{Path: fmt.Sprintf("%s.%05d.aac", m4a, i), Skip: skip, Count: to - from}
		length := to - from + skip + aheadFrames
		if i == len(parts)-1 {
			length = 0 // to the end, however many samples the last frame has
		}
		group.Go(func() error {
			cmd, err := graph.AACPiece("file:"+wav, from-skip, length, "file:"+parts[i].Path)
			if err != nil {
				return err
			}
			return b.tool.RunGraph(limited, cmd, parts[i].Path, 0, nil)
		})
	}
	if err := group.Wait(); err != nil {
		return err
	}
	joined := m4a + ".aac"
	defer os.Remove(joined)
	if err := media.JoinADTS(joined, parts); err != nil {
		return err
	}
	cmd, err := graph.WrapAAC("file:"+joined, edges[len(edges)-1], int64(samples), "file:"+m4a)
	if err != nil {
		return err
	}
	return b.tool.RunGraph(ctx, cmd, m4a, 0, nil)
}

// measureFile decodes and measures a stereo sound of our own. Its peak is
// what listeners get; that of the samples that went in may be lower.
func measureFile(ctx context.Context, tool *ffmpeg.Tool, path string) (mix.Measured, error) {
	decoded := path + ".wav"
	defer os.Remove(decoded)
	info := media.Info{Path: path, Own: true, Audio: &media.Audio{Rate: audio.Rate, Channels: 2}}
	if err := media.DecodeAudio(ctx, tool, info, decoded); err != nil {
		return mix.Measured{}, err
	}
	src, err := media.OpenWAV(decoded)
	if err != nil {
		return mix.Measured{}, err
	}
	defer src.Close()
	return mix.Measure(src)
}
