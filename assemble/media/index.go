package media

import (
	"encoding/binary"
	"io"
	"math"
)

// maxIndex is how many frames and packets an MP4 or QuickTime file may list: 4
// hours of slow motion at 240 frames a second and of AAC beside it. ffmpeg makes
// some 30 bytes of each before anything else is known of the file, and an
// index of a few bytes can claim millions.
const maxIndex = 4_500_000

// judgeIndex says why the index of an MP4 or QuickTime file with these top-level
// boxes cannot be used; "" when it can. Box by box it is ISO/IEC 14496-12: 8.7.2
// (dref), 8.7.3 (stsz), 8.6.1.2 (stts), 8.8.8 (trun). What is damaged is left to
// ffmpeg.
func judgeIndex(r io.ReaderAt, list []atom) (what, hint string) {
	listed, outside, inside := int64(0), 0, 0
	for _, a := range list {
		switch a.kind {
		case "moov":
			for _, t := range insideFrom(r, a, 0) {
				if t.kind != "trak" {
					continue
				}
				listed = sum(listed, listedBy(r, t))
				if kind, err := field(r, t, 8, "mdia", "hdlr"); err == nil && (string(kind) == "vide" ||
					string(kind) == "soun") {
					if elsewhere(r, t) {
						outside++
					} else {
						inside++
					}
				}
			}
		case "moof":
			for _, t := range insideFrom(r, a, 0) {
				if t.kind == "traf" {
					listed = sum(listed, listedIn(r, t))
				}
			}
		}
	}
	switch {
	case listed > maxIndex:
		return "the index claims absurdly " +
			"many frames", "the file is damaged or made to break programs: ask the player for a new export"
	case outside > 0 && inside == 0:
		return "the file refers to picture and sound in other files, and holds none itself",
			"ask the player for an export that is complete in itself (in QuickTime: Save As a self-contained movie)"
	}
	return "", ""
}

// sum returns a+b, or the largest number where that is too large.
func sum(a, b int64) int64 {
	if a > math.MaxInt64-b {
		return math.MaxInt64
	}
	return a + b
}

// listedBy returns how many entries ffmpeg makes of a track's sample table: one for
// each sample, but only one for each piece of sound whose samples are single
// values.
func listedBy(r io.ReaderAt, track atom) int64 {
	box, err := follow(r, track, "mdia", "minf", "stbl")
	if err != nil {
		return 0
	}
	size, err := field(r, box, 4, "stsz")
	if err != nil {
		return 0 // another box, whose length is its own
	}
	count, err := field(r, box, 8, "stsz")
	if err != nil {
		return 0
	}
	n := int64(binary.BigEndian.Uint32(count))
	if binary.BigEndian.Uint32(size) > 0 {
		runs, err1 := field(r, box, 4, "stts")
		each, err2 := field(r, box, 12, "stts")
		if err1 == nil && err2 == nil && binary.BigEndian.Uint32(runs) == 1 && binary.BigEndian.Uint32(each) == 1 {
			return n / 1024
		}
	}
	return n
}

// listedIn returns how many samples the runs of a fragment's track have. A run whose
// samples are all alike takes no bytes for them.
func listedIn(r io.ReaderAt, fragment atom) int64 {
	n := int64(0)
	for _, a := range insideFrom(r, fragment, 0) {
		if a.kind != "trun" || a.size < 16 {
			continue
		}
		var count [4]byte
		if _, err := r.ReadAt(count[:], a.offset+12); err == nil {
			n = sum(n, int64(binary.BigEndian.Uint32(count[:])))
		}
	}
	return n
}

// elsewhere reports whether a track's media lie in another file: all its references
// are aliases of QuickTime, and none says that it is to this file (flag 1). What
// else refers to other files ffmpeg reads in this one.
func elsewhere(r io.ReaderAt, track atom) bool {
	box, err := follow(r, track, "mdia", "minf", "dinf", "dref")
	if err != nil {
		return false
	}
	refs := insideFrom(r, box, 8)
	for _, a := range refs {
		var flags [4]byte
		if _, err := r.ReadAt(flags[:], a.offset+8); err != nil || flags[3]&1 != 0 || a.kind != "alis" || a.size <= 12 {
			return false
		}
	}
	return len(refs) > 0
}
