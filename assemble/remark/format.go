package remark

import (
	"bytes"
	"encoding/json"
	"fmt"
	"math"
	"regexp"
	"strconv"
	"strings"
	"sync"
	"unicode/utf8"

	"ripieno/assemble/fault"
	"ripieno/assemble/strict"
	"ripieno/mix/tempo"
)

// FileName is the file beside production.yaml in which remarks are kept.
const FileName = "remarks.yaml"

// head is how the file begins.
const head = `# What was said of the film, a line each. With "settled": true a remark is no longer
# open. The desk and ripieno remarks write this file; report and rollcall show it.
version: 1
`

// Format returns the text of the file: YAML whose entries are written as JSON, so that
// a line is a remark.
func (b *Book) Format() []byte {
	var out bytes.Buffer
	out.WriteString(head)
	out.WriteString("remarks:\n")
	for _, r := range b.Remarks {
		writeEntry(&out, r)
	}
	out.WriteString("approvals:\n")
	for _, a := range b.Approvals {
		writeEntry(&out, a)
	}
	return out.Bytes()
}

// writeEntry writes one line of a list: JSON, which YAML is a superset of, so that no text of a
// person can be taken for anything else.
func writeEntry(out *bytes.Buffer, v any) {
	out.WriteString("  - ")
	enc := json.NewEncoder(out)
	enc.SetEscapeHTML(false)
	_ = enc.Encode(v) // texts and numbers that were checked; it ends with the line
}

// Parse reads the file; path is for faults. An empty one is an empty book.
func Parse(path string, data []byte) (*Book, error) {
	b := &Book{}
	if len(data) > MostBytes {
		return b, fault.New(fault.Manifest, path, "the file of remarks is too large", "take settled ones out of it")
	}
	part := ""
	seen := map[string]bool{}
	n := 0
	for line := range strings.Lines(string(data)) {
		n++
		line = strings.TrimRight(line, " \t\r\n")
		bare := strings.TrimSpace(line)
		var err error
		switch entry, isEntry := strings.CutPrefix(bare, "- "); {
		case bare == "" || strings.HasPrefix(bare, "#"):
		case line == "version: 1":
		case line == "remarks:" || line == "approvals:":
			part = line
		case isEntry && part == "remarks:":
			err = b.readRemark(entry, seen)
		case isEntry && part == "approvals:":
			err = b.readApproval(entry)
		default:
			err = fmt.Errorf("this line is no remark")
		}
		if err != nil {
			return b, fault.At(fault.Manifest, fault.Mark{File: path, Line: n}, err.Error(),
				`a line is such as - {"at": 12.5, "place": "m3", "text": "softer"}; without the file nothing was said`)
		}
	}
	return b, nil
}

// readRemark reads an entry of the file.
func (b *Book) readRemark(entry string, seen map[string]bool) error {
	var r Remark
	if err := decode([]byte(entry), &r); err != nil {
		return err
	}
	settled, of := r.Settled, r.Of
	if _, _, ok := parsePlace(r.Place); r.Place != "" && !ok {
		return fmt.Errorf("%q is no beat", Clean(r.Place, MostName))
	}
	if err := checkMoment(r.At); err != nil {
		return err
	}
	if len(b.Remarks) >= MostRemarks {
		return fmt.Errorf("there are more than %d remarks", MostRemarks)
	}
	if r = r.Named(); r.Text == "" {
		return fmt.Errorf("a remark says nothing")
	}
	r.Settled, r.Of = settled, of
	if !seen[r.ID] {
		seen[r.ID] = true
		b.Remarks = append(b.Remarks, r)
	}
	return nil
}

// hashForm is a film's hash.
var hashForm = regexp.MustCompile(`^[0-9a-f]{64}$`)

// nameForm is the name of a film.
var nameForm = sync.OnceValue(func() *regexp.Regexp {
	return regexp.MustCompile(`^[\pL\pN][\pL\pN_. -]{0,99}$`)
})

// readApproval reads an entry of the file.
func (b *Book) readApproval(entry string) error {
	var a Approval
	if err := decode([]byte(entry), &a); err != nil {
		return err
	}
	if err := a.Check(); err != nil {
		return err
	}
	if len(b.Approvals) >= MostApprovals {
		return fmt.Errorf("there are more than %d approvals", MostApprovals)
	}
	b.Approve(a)
	return nil
}

// Check returns an error when an approval is none.
func (a Approval) Check() error {
	switch {
	case Clean(a.By, MostName) == "":
		return fmt.Errorf("an approval needs a name")
	case !hashForm.MatchString(a.Hash):
		return fmt.Errorf("an approval needs the hash of the film")
	case !nameForm().MatchString(a.Film):
		return fmt.Errorf("an approval needs the name of the film")
	}
	return nil
}

// decode reads one JSON value and nothing behind it.
func decode(data []byte, into any) error {
	if !utf8.Valid(data) {
		return fmt.Errorf("it is no text")
	}
	switch err := strict.Read(bytes.NewReader(data), into); {
	case err == strict.ErrMore:
		return fmt.Errorf("something follows it")
	case err != nil:
		return fmt.Errorf("it cannot be read: %w", err)
	}
	return nil
}

// checkMoment returns an error for a time that no film has.
func checkMoment(at float64) error {
	if math.IsNaN(at) || math.Abs(at) > mostSeconds {
		return fmt.Errorf("%g s is no moment of a film", at)
	}
	return nil
}

// place writes a beat as the manifest does.
func place(m *tempo.Map, measure, beat int) string {
	if measure < 1 && m.Spec().PickUp == 0 {
		measure, beat = 1, 1
	}
	if beat > 1 {
		return fmt.Sprintf("m%d.%d", measure, beat)
	}
	return fmt.Sprintf("m%d", measure)
}

// parsePlace reads a place in the score, such as m33 or m33.2; ok is false for any other text.
// Without a beat it is the first one.
func parsePlace(text string) (measure, beat int, ok bool) {
	rest, ok := strings.CutPrefix(text, "m")
	if !ok {
		return 0, 0, false
	}
	number, part, more := strings.Cut(rest, ".")
	measure, err := strconv.Atoi(number)
	if err != nil || measure < 0 || measure > tempo.MaxMeasures {
		return 0, 0, false
	}
	beat = 1
	if more {
		if beat, err = strconv.Atoi(part); err != nil || beat < 1 || beat > 64 {
			return 0, 0, false
		}
	}
	return measure, beat, true
}
