package graph

import (
	"maps"
	"strconv"

	ffmpeg "github.com/u2takey/ffmpeg-go"

	"ripieno/layout"
	"ripieno/layout/shot"
)

// Band is the moving tiles in a part of the canvas. Composed by themselves, as a picture
// in the manner of mezzanines, they take the place of all these tiles in a segment.
type Band struct {
	Canvas   layout.Canvas
	Rate     shot.Rate
	Frames   int
	Rect     layout.Rect // the part; pieces keep their places on the canvas
	Pieces   []Piece
	Backdrop string // see [Segment], as are the others
	Scenery  bool
	Zscale   bool
	Queues   bool
}

// bandQuantizer is that of bands, which are encoded once more in the film: finer than
// that of mezzanines, so that what is lost twice is seen nowhere. README.md has figures.
const bandQuantizer = "16"

// segment returns a segment with nothing but the band's tiles.
func (b Band) segment() Segment {
	return Segment{Canvas: b.Canvas, Rate: b.Rate, Frames: b.Frames, Scene: Scene{Pieces: b.Pieces},
		Backdrop: b.Backdrop, Scenery: b.Scenery, Zscale: b.Zscale, Queues: b.Queues}
}

// ComposeBand stacks the tiles of a band, each frame encoded by itself.
func ComposeBand(b Band, dst string) (Command, error) {
	g := b.segment()
	inputs := min(1, g.gaps())
	for _, p := range b.Pieces {
		inputs += 1 + len(p.More)
	}
	return build(inputs, func() *ffmpeg.Stream {
		s := filter(stackIn(b.Rect, b.Pieces, g, backdrops(g)), "format", "pix_fmts=yuv420p")
		out := bt709(plain(ffmpeg.KwArgs{
			"frames:v": strconv.Itoa(b.Frames), "r": b.Rate.String(), "f": "mp4",
			"video_track_timescale": timescale(b.Rate),
		}))
		maps.Copy(out, mezzanineCodec)
		// The same bytes with any number of cores: see [Conform].
		maps.Copy(out, ffmpeg.KwArgs{"qp": bandQuantizer, "threads": "1", "filter_complex_threads": "1",
			"profile:v": "high"})
		return ffmpeg.Output([]*ffmpeg.Stream{tagged(filter(s, "setsar", "sar=1"))}, dst, out)
	})
}

// Piece returns the band as a tile of a segment.
func (b Band) Piece(path string) Piece {
	return Piece{Path: path, Count: b.Frames, Crop: layout.Rect{W: b.Rect.W, H: b.Rect.H}, W: b.Rect.W, H: b.Rect.H,
		Hole: b.Rect}
}

// Rename does what [Segment.Rename] does.
func (b Band) Rename(rename func(path string) string) Band {
	g := b.segment().Rename(rename)
	b.Pieces, b.Backdrop = g.Pieces, g.Backdrop
	return b
}
