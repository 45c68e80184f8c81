package demo

import (
	"encoding/binary"
	"fmt"
	"io"
	"os"

	"ripieno/assemble/demo/figure"
)

// setRotation writes into an MP4 or MOV file that its picture has to be turned
// for viewing: the matrix of the video track's header (tkhd), as phones do.
// ffmpeg has had three ways to say this in as many versions, so the 36 bytes
// are set here. The file is one of ours, small in boxes and with the index
// whole.
//
// ISO/IEC 14496-12, 8.3.2: the matrix {a b u c d v x y w} is row by row in
// 16.16 numbers (u v w in 2.30) at byte 40 of a version 0 header's content, 52
// of version 1; width and height follow it.
func setRotation(path string, v figure.View) error {
	f, err := os.OpenFile(path, os.O_RDWR, 0)
	if err != nil {
		return err
	}
	err = patchRotation(f, v)
	if e := f.Close(); err == nil {
		err = e
	}
	return err
}

// patchRotation finds the track with the picture in an MP4 or QuickTime file and
// writes the rotation of v into its header.
func patchRotation(f *os.File, v figure.View) error {
	size, err := f.Seek(0, io.SeekEnd)
	if err != nil {
		return err
	}
	moov, err := boxIn(f, 0, size, "moov")
	if err != nil {
		return err
	}
	for at := moov.from; ; {
		trak, err := boxIn(f, at, moov.to, "trak")
		if err != nil {
			return fmt.Errorf("demo: no picture track to turn: %w", err)
		}
		at = trak.to
		head, err := boxIn(f, trak.from, trak.to, "tkhd")
		if err != nil {
			return err
		}
		b := make([]byte, head.to-head.from)
		if _, err := f.ReadAt(b, head.from); err != nil {
			return err
		}
		start := 40
		if b[0] == 1 {
			start = 52
		}
		if len(b) < start+44 {
			return fmt.Errorf("demo: a track header of %d bytes", len(b))
		}
		if binary.BigEndian.Uint32(b[start+36:]) == 0 { // no width: sound
			continue
		}
		copy(b[start:], rotation(v))
		_, err = f.WriteAt(b, head.from)
		return err
	}
}

// rotation returns the matrix that turns a picture of v's coded size clockwise by
// v.Turn and moves it back to the origin.
func rotation(v figure.View) []byte {
	var a, b, c, d, x, y int32
	switch v.Turn {
	case 0:
		a, d = 1, 1
	case 90:
		b, c, x = 1, -1, int32(v.H)
	case 180:
		a, d, x, y = -1, -1, int32(v.W), int32(v.H)
	case 270:
		b, c, y = -1, 1, int32(v.W)
	}
	out := make([]byte, 0, 36)
	for _, n := range []int32{a << 16, b << 16, 0, c << 16, d << 16, 0, x << 16, y << 16, 1 << 30} {
		out = binary.BigEndian.AppendUint32(out, uint32(n))
	}
	return out
}

// box is the content of a box in a file.
type box struct{ from, to int64 }

// boxIn finds the first box of a kind between two places.
func boxIn(f io.ReaderAt, from, to int64, kind string) (box, error) {
	var head [16]byte
	for from+8 <= to {
		if _, err := f.ReadAt(head[:8], from); err != nil {
			return box{}, err
		}
		size, skip := int64(binary.BigEndian.Uint32(head[:])), int64(8)
		switch size {
		case 0: // to the end
			size = to - from
		case 1: // 64 bits
			if _, err := f.ReadAt(head[8:], from+8); err != nil {
				return box{}, err
			}
			size, skip = int64(binary.BigEndian.Uint64(head[8:])), 16
		}
		if size < skip || from+size > to {
			break
		}
		if string(head[4:8]) == kind {
			return box{from + skip, from + size}, nil
		}
		from += size
	}
	return box{}, fmt.Errorf("demo: no %s box", kind)
}
