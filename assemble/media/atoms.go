package media

import (
	"encoding/binary"
	"io"
)

// atom is one top-level box of an MP4 or QuickTime file (ISO/IEC 14496-12,
// 4.2).
type atom struct {
	kind   string // four characters
	offset int64
	size   int64 // as claimed, header included; to the end of the file when the file says so
}

func (a atom) end() int64 { return a.offset + a.size }

// maxAtoms is far above what recorders write; fragmented files have two for
// every second or so.
const maxAtoms = 100_000

// readAtoms lists the top-level boxes of a file of size bytes. It stops at the
// first that is no box, at one that reaches beyond the file (which is still
// listed), and after maxAtoms.
func readAtoms(r io.ReaderAt, size int64) []atom {
	var list []atom
	var head [16]byte
	for at := int64(0); at+8 <= size && len(list) < maxAtoms; {
		n, _ := r.ReadAt(head[:], at)
		if n < 8 {
			break
		}
		a := atom{kind: string(head[4:8]), offset: at, size: int64(binary.BigEndian.Uint32(head[:4]))}
		switch a.size {
		case 0: // to the end of the file
			a.size = size - at
		case 1: // 64-bit size follows
			if n < 16 {
				return list
			}
			a.size = int64(binary.BigEndian.Uint64(head[8:16]))
			if a.size < 16 {
				return list
			}
		}
		if a.size < 8 || !plausibleKind(a.kind) || a.end() < at {
			return list
		}
		list = append(list, a)
		at = a.end()
	}
	return list
}

// plausibleKind reports whether s can be the type of a box: printable Latin-1,
// QuickTime's © included.
func plausibleKind(s string) bool {
	for _, c := range []byte(s) {
		if c < 0x20 || c > 0x7e && c != 0xa9 {
			return false
		}
	}
	return true
}

// find returns the first atom of a kind.
func find(list []atom, kind string) (atom, bool) {
	for _, a := range list {
		if a.kind == kind {
			return a, true
		}
	}
	return atom{}, false
}

// fastStart reports whether a player can begin before it has the whole file: the
// index stands before the media data.
func fastStart(list []atom) bool {
	index, ok := find(list, "moov")
	data, has := find(list, "mdat")
	return ok && has && index.offset < data.offset
}
