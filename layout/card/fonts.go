package card

import (
	"bytes"
	"encoding/binary"
	"errors"
	"fmt"
	"sync"

	"github.com/go-fonts/stix/stix2textmedium"
	"github.com/go-text/typesetting/font"
	"golang.org/x/image/font/gofont/gobold"
	"golang.org/x/image/font/gofont/gomedium"
	"golang.org/x/image/font/gofont/goregular"
)

// weight picks one of the embedded faces.
type weight int

const (
	regular weight = iota
	medium
	bold
	display // of titles and headings on cards
	weights
)

// embedded are the Go fonts (Bigelow & Holmes, BSD-style licence) and, for display,
// STIX Two Text (SIL Open Font License 1.1): Latin, Greek and Cyrillic. They are
// parsed on first use, once. The Go fonts have neither kerning nor ligatures, which
// small names do without; large titles cannot, and STIX Two has both.
var embedded = sync.OnceValue(func() (f [weights]*font.Font) {
	for i, ttf := range [weights][]byte{goregular.TTF, gomedium.TTF, gobold.TTF, stix2textmedium.TTF} {
		face, err := font.ParseTTF(bytes.NewReader(ttf))
		if err != nil {
			panic("card: an embedded font is broken: " + err.Error()) // a build fault, not user data
		}
		f[i] = face.Font
	}
	return f
})

// Fonts is what text is set in: the embedded faces first, then the user's in
// the order given. A nil *Fonts is the embedded faces alone. Fonts is safe for
// concurrent use.
type Fonts struct{ extra []*font.Font }

// FontError says which of several files is not a font that can be used.
type FontError struct {
	Index int // into the files
	Err   error
}

// Error returns a line such as "font 2: not a whole TrueType or OpenType file", counting from 1.
func (e *FontError) Error() string { return fmt.Sprintf("font %d: %v", e.Index+1, e.Err) }

// Unwrap returns what is wrong with the file.
func (e *FontError) Unwrap() error { return e.Err }

// ParseFonts reads TrueType or OpenType files, or collections of them, that
// fill in for characters the embedded faces lack: whatever those have keeps
// its look, so one name in another script changes no other drawing. The error
// is a *FontError.
func ParseFonts(files ...[]byte) (f *Fonts, err error) {
	at := 0
	// The parser is fed a file from outside; whatever it meets there must
	// not end the program.
	defer func() {
		if p := recover(); p != nil {
			f, err = nil, &FontError{at, fmt.Errorf("not a usable font: %v", p)}
		}
	}()
	f = new(Fonts)
	for i, data := range files {
		at = i
		if err := checkTables(data); err != nil {
			return nil, &FontError{i, err}
		}
		faces, err := font.ParseTTC(bytes.NewReader(data))
		if err != nil {
			return nil, &FontError{i, err}
		}
		for _, face := range faces {
			f.extra = append(f.extra, face.Font)
		}
	}
	return f, nil
}

// Missing lists the characters of text that cannot be drawn, each once, in
// order: no font has them, or they are controls or invisible characters that
// reorder text. An empty result means every picture takes the text.
func (f *Fonts) Missing(text string) []rune {
	return newSetter(f).set(text, regular, 16).missing
}

// Missing does what [Fonts.Missing] does, with the embedded faces alone.
func Missing(text string) []rune { return (*Fonts)(nil).Missing(text) }

// faces returns the search order for one weight. Faces are not safe for concurrent
// use, so every picture gets its own.
func (f *Fonts) faces(w weight) []*font.Face {
	out := []*font.Face{font.NewFace(embedded()[w])}
	if w == display { // what every other text can be set in, a title can
		out = append(out, font.NewFace(embedded()[medium]))
	}
	if f != nil {
		for _, x := range f.extra {
			out = append(out, font.NewFace(x))
		}
	}
	return out
}

// checkTables reports a file whose table directory (OpenType 1.9, "organization
// of an OpenType font") claims more than the file holds: the parser believes
// the claim and would ask for gigabytes. Compressed fonts are refused, as what
// they unpack to is not known beforehand.
func checkTables(data []byte) error {
	be := binary.BigEndian
	starts := []uint32{0}
	switch tag := string(data[:min(4, len(data))]); tag {
	case "\x00\x01\x00\x00", "OTTO", "true":
	case "ttcf":
		if len(data) < 12 {
			return errFont
		}
		starts = nil
		n := be.Uint32(data[8:])
		if n == 0 || n > 256 || len(data) < 12+4*int(n) {
			return errFont
		}
		for i := range int(n) {
			starts = append(starts, be.Uint32(data[12+4*i:]))
		}
	default:
		return errFont
	}
	size := uint64(len(data))
	for _, start := range starts {
		at := uint64(start)
		if at+12 > size {
			return errFont
		}
		n := uint64(be.Uint16(data[at+4:]))
		if at+12+16*n > size {
			return errFont
		}
		for i := range n {
			record := data[at+12+16*i:]
			if uint64(be.Uint32(record[8:]))+uint64(be.Uint32(record[12:])) > size {
				return errFont
			}
		}
	}
	return nil
}

// errFont is a file that is not a font, or not all of one.
var errFont = errors.New("not a whole TrueType or OpenType file")
