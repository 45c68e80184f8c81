package picture

import (
	"ripieno/assemble/plan"
	"ripieno/assemble/reading"
)

// Peak memory of ffmpeg 5.1.9 was measured as the resident size of the process
// (getrusage) and fitted with a little to spare:
//
//	conform 720, 1080, 2160 lines, 2 cores       70-79   82-100   150-212 MB
//	1080 lines, medium preset, no tiles          504 MB, with 540 lines 216 MB
//	1080 lines, libx264, libx265, libsvtav1 alone, and with 540 lines     480, 476, 601; 181, 193, 216 MB
//	libx264 with one thread instead of two, as films of 1080 lines have it        424; 163 MB
//
// 1080 lines, veryfast preset 303 MB, with 540 lines 156 MB (a rough cut's is faster and takes less)
//
//	1080 lines, 9, 25, 50, 100, 200 tiles        506, 527, 557, 637, 844 MB
//
// The mix takes about 60 MB, whatever it mixes, and is not counted.
const (
	composeBase  = 100e6
	composeInput = 2e6
	finalFrames  = 130 // frames of the canvas that the encoder looks ahead and refers to
	av1Frames    = 170
	roughFrames  = 65
	tileFrames   = 5
	rollBytes    = 12 // of a pixel of a roll: read, converted and held, 4 bytes each
)

// composeMemory returns the estimated peak of composing a segment at once, in bytes.
func composeMemory(f plan.Film, seg plan.Segment) int64 { return memoryOf(f, seg, openTiles(f, seg)) }

// memoryOf does what composeMemory does, for a segment that opens the pictures of some tiles
// only. Too little lets a machine run out of memory, too much only makes tasks wait, so all
// of it is rounded upwards.
func memoryOf(f plan.Film, seg plan.Segment, tiles []plan.Tile) int64 {
	ahead := float64(finalFrames)
	switch {
	case f.Rough:
		ahead = roughFrames
	case f.Codec == plan.AV1:
		ahead = av1Frames
	}
	m := composeBase + ahead*reading.FrameBytes(f.Canvas.W, f.Canvas.H)
	for _, t := range tiles {
		c := f.Conforms[t.Conform]
		m += composeInput + tileFrames*reading.FrameBytes(c.W, c.H)
	}
	if roll := f.Shots[seg.Shot].Roll; roll.Step > 0 {
		m += rollBytes * float64(f.Canvas.W) * float64(f.Canvas.H+roll.Step*seg.Len())
	}
	return int64(m)
}
