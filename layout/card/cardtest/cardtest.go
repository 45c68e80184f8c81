// Package cardtest makes fonts for tests, so that no font has to be kept or
// installed for them.
package cardtest

import (
	"encoding/binary"
	"slices"
)

// Block is a glyph: a bar standing on the baseline.
type Block struct {
	Char          rune
	Width, Height int16 // of 1000 to the em
}

// Bar returns the glyph of a character, so many thousandths of the em wide and high.
func Bar(char rune, width, height int16) Block { return Block{char, width, height} }

// Font builds a whole TrueType font (OpenType 1.9: cmap 4, glyf, head,
// hhea, hmtx, loca, maxp) of bars, so that a test sees which glyph went where.
// It has what the embedded faces lack, and nobody's licence.
func Font(blocks ...Block) []byte {
	blocks = slices.Clone(blocks)
	slices.SortFunc(blocks, func(a, b Block) int { return int(a.Char - b.Char) })
	be := binary.BigEndian
	num := func(v ...int) (b []byte) {
		for _, x := range v {
			b = be.AppendUint16(b, uint16(x))
		}
		return b
	}
	n := len(blocks)
	var glyf, loca, hmtx []byte
	loca = be.AppendUint32(loca, 0)
	for i := range n + 1 {
		k := Block{0, 500, 700} // glyph 0, .notdef
		if i > 0 {
			k = blocks[i-1]
		}
		w, h := int(k.Width), int(k.Height)
		glyf = append(glyf, num(1, 0, 0, w, h, 3, 0)...)
		glyf = append(glyf, 1, 1, 1, 1)                 // four points on the curve
		glyf = append(glyf, num(0, 0, w, 0)...)         // x steps
		glyf = append(glyf, num(0, h, 0, 0x10000-h)...) // y steps
		loca = be.AppendUint32(loca, uint32(len(glyf)))
		hmtx = append(hmtx, num(w+100, 0)...)
	}
	segments := n + 1 // one per character and the closing one
	var ends, starts, deltas []byte
	for i, k := range blocks {
		ends = append(ends, num(int(k.Char))...)
		starts = append(starts, num(int(k.Char))...)
		deltas = append(deltas, num(i+1-int(k.Char))...)
	}
	sub := slices.Concat(num(4, 16+8*segments, 0, 2*segments, 0, 0, 0), ends, num(0xffff, 0), starts, num(0xffff),
		deltas, num(1), make([]byte, 2*segments))
	tables := map[string][]byte{
		"cmap": slices.Concat(num(0, 1, 3, 1, 0, 12), sub),
		"glyf": glyf,
		"head": slices.Concat(num(1, 0, 1, 0, 0, 0, 0x5f0f, 0x3cf5, 0, 1000), make([]byte, 16),
			num(0, 0, 1000, 1000, 0, 8, 2, 1, 0)),
		"hhea": num(1, 0, 900, 0x10000-200, 0, 1000, 0, 0, 1000, 1, 0, 0, 0, 0, 0, 0, 0, n+1),
		"hmtx": hmtx,
		"loca": loca,
		"maxp": num(1, 0, n+1, 4, 1, 0, 0, 1, 0, 0, 0, 0, 0, 0, 0, 0),
	}
	names := []string{"cmap", "glyf", "head", "hhea", "hmtx", "loca", "maxp"}
	file := num(1, 0, len(names), 64, 2, 48)
	at := len(file) + 16*len(names)
	var body []byte
	for _, name := range names {
		data := tables[name]
		file = append(file, name...)
		file = be.AppendUint32(file, 0) // checksum, not looked at
		file = be.AppendUint32(file, uint32(at+len(body)))
		file = be.AppendUint32(file, uint32(len(data)))
		body = append(body, data...)
		body = append(body, make([]byte, (4-len(body)%4)%4)...)
	}
	return append(file, body...)
}
