package media

import (
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"os"
)

// Rule is the version of how this package probes and decodes. It belongs in
// the key of everything that is kept of a file's content.
const Rule = 4

// ErrNoPicture is the error of a file that has no picture at all.
var ErrNoPicture = errors.New("there is no picture")

// CountFrames returns how many samples the first picture of an MP4 or QuickTime
// file has, which for files of our own is its number of frames. It reads the
// index alone, and wants the file to end where its last box ends: a writer that
// was stopped leaves another length or no index. Starting ffprobe for it takes
// a tenth of a second of processor time.
func CountFrames(path string) (int, error) {
	f, err := os.Open(path)
	if err != nil {
		return 0, err
	}
	defer f.Close()
	st, err := f.Stat()
	if err != nil {
		return 0, err
	}
	n, err := countSamples(f, st.Size())
	if err != nil {
		return 0, fmt.Errorf("media: counting the frames of %s: %w", showPath(path), err)
	}
	return n, nil
}

// countSamples counts those of the picture's track in a file of size bytes.
func countSamples(r io.ReaderAt, size int64) (int, error) {
	track, err := pictureTrack(r, size)
	if err != nil {
		return 0, err
	}
	// ISO/IEC 14496-12, 8.7.3 (stsz): version, flags and a common size come first.
	count, err := field(r, track, 8, "mdia", "minf", "stbl", "stsz")
	if err != nil {
		return 0, err
	}
	return int(binary.BigEndian.Uint32(count)), nil
}

// pictureTrack finds the first picture's track in a file of size bytes.
func pictureTrack(r io.ReaderAt, size int64) (atom, error) {
	list := readAtoms(r, size)
	if len(list) == 0 || list[len(list)-1].end() != size {
		return atom{}, errors.New("the file does not end where its last box ends")
	}
	index, ok := find(list, "moov")
	if !ok {
		return atom{}, errors.New("there is no index")
	}
	for _, track := range insideFrom(r, index, 0) {
		if track.kind != "trak" {
			continue
		}
		// ISO/IEC 14496-12, 8.4.3 (hdlr): version and flags come first.
		kind, err := field(r, track, 8, "mdia", "hdlr")
		if err != nil {
			return atom{}, err
		}
		if string(kind) == "vide" {
			return track, nil
		}
	}
	return atom{}, ErrNoPicture
}

// insideFrom lists the boxes in a box with a short header, behind so many
// bytes of its content.
func insideFrom(r io.ReaderAt, a atom, skip int64) []atom {
	from, size := a.offset+8+skip, a.size-8-skip
	if size < 0 {
		return nil
	}
	list := readAtoms(io.NewSectionReader(r, from, size), size)
	for i := range list {
		list[i].offset += from
	}
	return list
}

// follow returns the box that a path leads to.
func follow(r io.ReaderAt, a atom, path ...string) (atom, error) {
	for _, kind := range path {
		next, ok := find(insideFrom(r, a, 0), kind)
		if !ok || next.end() > a.end() {
			return atom{}, fmt.Errorf("there is no box %q in %q", kind, a.kind)
		}
		a = next
	}
	return a, nil
}

// field returns the four bytes at a place in the content of the box that path leads
// to.
func field(r io.ReaderAt, a atom, at int64, path ...string) ([]byte, error) {
	a, err := follow(r, a, path...)
	if err != nil {
		return nil, err
	}
	var b [4]byte
	if a.size < 8+at+4 {
		return nil, fmt.Errorf("the box %q is too short", a.kind)
	}
	_, err = r.ReadAt(b[:], a.offset+8+at)
	return b[:], err
}
