// Package remark is what people say about a film: remarks at a moment of the music,
// for everybody or for one player, and approvals of a version.
//
// [Parse] and [Book.Format] read and write the file in which a production keeps them;
// [ParseReturn] reads what a conductor has saved in the page for review, which is a
// stranger's file and is bounded and cleaned before anything of it is kept. The package
// touches no files. README.md describes both formats.
package remark

import (
	"cmp"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"math"
	"slices"
	"strings"
	"unicode"

	"ripieno/mix/tempo"
)

// Bounds of what is kept: more than anybody writes, and little enough that no file
// becomes a burden.
const (
	MostRemarks   = 2000 // of a production
	MostApprovals = 200
	MostText      = 2000 // characters of a remark
	MostName      = 80   // characters of a name
	MostBytes     = 8 << 20
	mostSeconds   = 1e6
)

// Remark is what somebody says at a moment.
type Remark struct {
	ID      string  `json:"id"`            // made of what it says; see [Remark.Named]
	At      float64 `json:"at"`            // guide time in seconds
	Place   string  `json:"place"`         // the beat, as the manifest writes it: m12.3
	For     string  `json:"for,omitempty"` // a take; "" is for all
	By      string  `json:"by,omitempty"`  // who says it
	Text    string  `json:"text"`
	Of      string  `json:"of,omitempty"` // the beginning of the hash of the film that was looked at
	Settled bool    `json:"settled,omitempty"`
}

// Approval is somebody's word that a version is good.
type Approval struct {
	By   string `json:"by"`
	Film string `json:"film"`   // its name: rough, or a deliverable's
	Hash string `json:"sha256"` // of the film's bytes, in 64 hexadecimal digits
}

// Book is all that was said of a production.
type Book struct {
	Remarks   []Remark
	Approvals []Approval
}

// ShortHash is how many digits of a film's hash a remark keeps.
const ShortHash = 12

// Named returns a remark with its texts cleaned and its ID, which is the same for the
// same words of the same person at the same moment.
func (r Remark) Named() Remark {
	r.Text, r.By = Clean(r.Text, MostText), Clean(r.By, MostName)
	r.At = math.Round(r.At*1000) / 1000
	text, _ := json.Marshal([]any{r.At, r.For, r.By, r.Text}) // plain values; it cannot fail
	sum := sha256.Sum256(text)
	r.ID = hex.EncodeToString(sum[:6])
	return r
}

// PlaceAt names the beat that sounds at a guide time; the count-in is m1, and what
// comes after the last measure belongs to it.
func PlaceAt(m *tempo.Map, at float64) string {
	p := m.Position(max(at, m.Start()))
	p.Measure = min(max(p.Measure, 0), m.Measures())
	return place(m, p.Measure, int(p.Beat))
}

// When returns the guide time of a remark in the music as it is now. Where the tempo
// has been changed since, the beat counts and no longer the seconds.
func (r Remark) When(m *tempo.Map) float64 {
	if r.Place == "" || PlaceAt(m, r.At) == r.Place {
		return r.At
	}
	measure, beat, ok := parsePlace(r.Place)
	if !ok {
		return r.At
	}
	at, err := m.Seconds(tempo.Position{Measure: measure, Beat: float64(beat)})
	if err != nil {
		return r.At
	}
	return at
}

// Clean returns a stranger's text on one line: without control characters, without
// marks that turn the direction of what follows, at most so many characters long.
func Clean(text string, most int) string {
	text = strings.ToValidUTF8(text, "\ufffd")
	text = strings.Map(func(r rune) rune {
		switch {
		case unicode.IsSpace(r), unicode.IsControl(r), r == '\u2028', r == '\u2029':
			return ' '
		case unicode.Is(unicode.Cf, r) && r != '\u200d' && r != '\u00ad': // joiners build letters and emoji
			return -1
		}
		return r
	}, text)
	runes := []rune(strings.Join(strings.Fields(text), " "))
	if len(runes) > most {
		runes = append(runes[:most-1], '…')
	}
	return string(runes)
}

// Add adds remarks and reports how many were not there yet. One that is known keeps
// whether it is settled.
func (b *Book) Add(list ...Remark) (added int) {
	for _, r := range list {
		known := slices.ContainsFunc(b.Remarks, func(o Remark) bool { return o.ID == r.ID })
		if known || r.Text == "" {
			continue
		}
		b.Remarks = append(b.Remarks, r)
		added++
	}
	slices.SortStableFunc(b.Remarks, func(x, y Remark) int {
		return cmp.Or(cmp.Compare(x.At, y.At), cmp.Compare(x.ID, y.ID))
	})
	return added
}

// Settle says that a remark is settled, or open again. It reports whether it is there.
func (b *Book) Settle(id string, settled bool) bool {
	i := b.find(id)
	if i >= 0 {
		b.Remarks[i].Settled = settled
	}
	return i >= 0
}

// Remove takes a remark away. It reports whether it was there.
func (b *Book) Remove(id string) bool {
	i := b.find(id)
	if i >= 0 {
		b.Remarks = slices.Delete(b.Remarks, i, i+1)
	}
	return i >= 0
}

// find returns the index of a remark, −1 for none.
func (b *Book) find(id string) int {
	return slices.IndexFunc(b.Remarks, func(r Remark) bool { return r.ID == id })
}

// Open returns how many remarks are not settled.
func (b *Book) Open() int {
	n := 0
	for _, r := range b.Remarks {
		if !r.Settled {
			n++
		}
	}
	return n
}

// Approve keeps an approval in place of an earlier one of the same person for a film
// of the same name.
func (b *Book) Approve(a Approval) {
	a.By = Clean(a.By, MostName)
	b.Withdraw(a.By, a.Film)
	b.Approvals = append(b.Approvals, a)
	slices.SortFunc(b.Approvals, func(x, y Approval) int {
		return cmp.Or(cmp.Compare(x.Film, y.Film), cmp.Compare(x.By, y.By))
	})
}

// Withdraw takes a person's approval of a film back. It reports whether there was one.
func (b *Book) Withdraw(by, film string) bool {
	n := len(b.Approvals)
	b.Approvals = slices.DeleteFunc(b.Approvals, func(o Approval) bool { return o.By == by && o.Film == film })
	return len(b.Approvals) < n
}
