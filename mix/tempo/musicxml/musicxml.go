// Package musicxml reads the time of a piece from MusicXML scores, plain
// (.musicxml, .xml) and compressed (.mxl), partwise and timewise.
//
// [Read] takes tempos, time signatures, the pick-up, repeats with endings, da capo,
// dal segno, coda and fine (as sound elements, signs, and words in Italian, English
// and German; [score.Unroll] says by which rules they are played) and the onsets of
// each part's notes. Tied notes begin once; grace notes and cue
// notes do not count. Measures have the length of what is in them, so that
// split and incomplete measures keep their time. What it cannot follow
// (fermatas, "rit." without a number) it says in the score's remarks.
//
// Elements and meanings are those of MusicXML 4.0: a sound element's tempo
// counts quarter notes a minute whatever the meter; a metronome mark counts
// its beat unit.
//
// # Not here
//
// Layout, lyrics, dynamics, and checking a file against the schema.
package musicxml

import (
	"archive/zip"
	"bytes"
	"encoding/xml"
	"errors"
	"fmt"
	"io"
	"strings"
	"unicode/utf16"

	"ripieno/mix/tempo/score"
)

// Limits of what Read accepts. A score for full orchestra of an hour stays
// below them; they keep a crafted file from filling the memory.
const (
	MaxBytes    = 32 << 20 // of the file as given
	maxUnpacked = 64 << 20 // of the score inside a compressed file
	maxEntries  = 1000     // files inside a compressed file
	maxParts    = 500
	maxRemarks  = 40
	maxNotes    = 1_000_000
	maxMarks    = 1000    // tempo marks in a measure
	maxTokens   = 200_000 // tags and texts in one child of a measure
)

// Read reads a score: r to its end, or to MaxBytes, of which more is an error. An error
// names the measure where there is one. What is not an error but could not be followed
// is in the score's Remarks.
func Read(r io.Reader) (*score.Score, error) {
	data, err := readLimited(r, MaxBytes)
	if err != nil {
		return nil, err
	}
	if bytes.HasPrefix(data, []byte("PK\x03\x04")) {
		if data, err = unpack(data); err != nil {
			return nil, fmt.Errorf("musicxml: %w", err)
		}
	}
	s, err := parse(data)
	if err != nil {
		return nil, fmt.Errorf("musicxml: %w", err)
	}
	return s, nil
}

// readLimited reads at most limit bytes; more are an error.
func readLimited(r io.Reader, limit int64) ([]byte, error) {
	data, err := io.ReadAll(io.LimitReader(r, limit+1))
	if err == nil && int64(len(data)) > limit {
		err = fmt.Errorf("musicxml: larger than %d MiB", limit>>20)
	}
	return data, err
}

// unpack takes the score out of a compressed file: META-INF/container.xml
// names it. No file is ever written. Sizes are counted while unpacking, so an archive
// that claims little and unpacks to much is refused.
func unpack(data []byte) ([]byte, error) {
	z, err := zip.NewReader(bytes.NewReader(data), int64(len(data)))
	if err != nil {
		return nil, fmt.Errorf("the compressed file is damaged: %w", err)
	}
	if len(z.File) > maxEntries {
		return nil, fmt.Errorf("the compressed file holds %d files, more than %d", len(z.File), maxEntries)
	}
	inside := func(name string, limit int64) ([]byte, error) {
		for _, f := range z.File {
			if f.Name != name {
				continue
			}
			r, err := f.Open()
			if err != nil {
				return nil, fmt.Errorf("%q inside the compressed file: %w", name, err)
			}
			defer r.Close()
			// The size that the archive claims is not trusted.
			data, err := readLimited(r, limit)
			if err != nil {
				return nil, fmt.Errorf("%q inside the compressed file: %w", name, err)
			}
			return data, nil
		}
		return nil, fmt.Errorf("the compressed file has no %q", name)
	}
	index, err := inside("META-INF/container.xml", 1<<20)
	if err != nil {
		return nil, err
	}
	var container struct {
		Roots []struct {
			Path string `xml:"full-path,attr"`
			Type string `xml:"media-type,attr"`
		} `xml:"rootfiles>rootfile"`
	}
	if err := decoder(index).Decode(&container); err != nil {
		return nil, fmt.Errorf("META-INF/container.xml: %w", err)
	}
	for _, root := range container.Roots {
		// Without a type it is the score (MusicXML 4.0, container.rng).
		if root.Type == "" || strings.Contains(root.Type, "musicxml") {
			return inside(root.Path, maxUnpacked)
		}
	}
	return nil, errors.New("META-INF/container.xml names no score")
}

// decoder reads XML in UTF-8, UTF-16 or Latin-1. Entities other than XML's
// own are errors and external ones are never fetched. There is no way to name a file
// or an address that would be opened.
func decoder(data []byte) *xml.Decoder {
	wide := len(data) >= 2 && (data[0] == 0xfe && data[1] == 0xff || data[0] == 0xff && data[1] == 0xfe)
	if wide {
		big := data[0] == 0xfe
		units := make([]uint16, 0, len(data)/2)
		for i := 2; i+1 < len(data); i += 2 {
			u := uint16(data[i]) | uint16(data[i+1])<<8
			if big {
				u = u<<8 | u>>8
			}
			units = append(units, u)
		}
		data = []byte(string(utf16.Decode(units)))
	}
	d := xml.NewDecoder(bytes.NewReader(data))
	d.CharsetReader = func(label string, r io.Reader) (io.Reader, error) {
		switch strings.ToLower(label) {
		case "utf-16", "utf-16le", "utf-16be":
			if wide {
				return r, nil // it is UTF-8 by now
			}
		case "iso-8859-1", "latin1", "windows-1252", "us-ascii", "ascii":
			return latin1{r}, nil
		}
		return nil, fmt.Errorf("text encoding %q is not read: save the score as UTF-8", label)
	}
	return d
}

// latin1 turns bytes into the code points of the same number.
type latin1 struct{ r io.Reader }

// Read implements io.Reader; p must have room for one character, two bytes.
func (l latin1) Read(p []byte) (int, error) {
	// Each byte becomes at most two.
	half := make([]byte, max(len(p)/2, 1))
	if len(p) < 2 {
		return 0, io.ErrShortBuffer
	}
	n, err := l.r.Read(half)
	out := p[:0]
	for _, b := range half[:n] {
		out = append(out, string(rune(b))...)
	}
	return len(out), err
}
