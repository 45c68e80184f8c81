package musicxml

import (
	"encoding/xml"
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"
	"unicode"

	"ripieno/mix/tempo"
	"ripieno/mix/tempo/score"
)

// parser walks the file and collects measures across parts. Partwise, each part goes
// through all measures before the next; timewise, each measure has all parts. Bars
// are the same either way.
type parser struct {
	xml      *xml.Decoder
	budget   *budget
	timewise bool
	names    map[string]string // of parts, by id
	parts    []*part
	current  *part // in a partwise score
	written  score.Written
	bars     []bar
	dropped  int // remarks and wishes beyond what is kept
	notes    int // of all parts so far
}

// part is the state of one part from measure to measure.
type part struct {
	id        string
	index     int // of the next measure
	divisions float64
	transpose int // semitones from written to sounding
	notes     score.WrittenPart
}

// bar is what all parts say of one measure. Times are in ticks.
type bar struct {
	number string
	meter  tempo.Meter // new here; zero: as before
	senza  bool        // senza misura begins here
	length int64
	tempos []mark
	sounds bool       // some part does
	mark   string     // a rehearsal mark
	key    *score.Key // of the first part that has one here, as it sounds
	signs  signs
}

// mark is a tempo in beats of unit a minute.
type mark struct {
	tick int64
	unit tempo.Unit
	bpm  float64
}

// resolution is the ticks of a quarter note that the parser counts in. Notes
// down to a 512th are whole, and so are tuplets of 3, 5, 6, 7, 9 and 11.
const resolution = 2 * 2 * 2 * 2 * 2 * 2 * 2 * 3 * 3 * 5 * 7 * 11

// parse walks the text once; what needs all parts is done in finish.
func parse(data []byte) (*score.Score, error) {
	b := &budget{d: decoder(data)}
	p := parser{xml: xml.NewTokenDecoder(b), budget: b, names: map[string]string{}}
	if err := p.document(); err != nil {
		return nil, err
	}
	if len(p.bars) == 0 {
		return nil, errors.New("the score has no measures")
	}
	return p.finish()
}

// document finds the root and walks what is in it.
func (p *parser) document() error {
	found := false
	for {
		p.budget.left = maxTokens
		token, err := p.xml.Token()
		if err == io.EOF {
			break
		}
		if err != nil {
			return err
		}
		start, ok := token.(xml.StartElement)
		if !ok {
			continue
		}
		name := start.Name.Local
		if !found {
			if name != "score-partwise" && name != "score-timewise" {
				return fmt.Errorf("the root element is %q: this is not a MusicXML score", clean(name))
			}
			found, p.timewise = true, name == "score-timewise"
			continue
		}
		if err := p.start(start); err != nil {
			return err
		}
	}
	if !found {
		return errors.New("the file is empty")
	}
	return nil
}

// start handles an element between the root and the measures of parts. Elements that
// say nothing about time are skipped with all that is in them.
func (p *parser) start(e xml.StartElement) error {
	switch name := e.Name.Local; {
	case name == "part-list":
		return nil // look inside
	case name == "score-part":
		var s scorePart
		if err := p.xml.DecodeElement(&s, &e); err != nil {
			return err
		}
		if len(p.names) < maxParts {
			p.names[s.ID] = clean(s.Name)
		}
	case name == "movement-title" || name == "work":
		var w struct {
			Text  string `xml:",chardata"`
			Title string `xml:"work-title"`
		}
		if err := p.xml.DecodeElement(&w, &e); err != nil {
			return err
		}
		if title := clean(w.Title + w.Text); title != "" {
			p.written.Title = title
		}
	case name == "part" && !p.timewise:
		var err error
		p.current, err = p.part(attribute(e, "id"))
		return err
	case name == "measure" && p.timewise:
		p.bars = append(p.bars, bar{number: clean(attribute(e, "number"))})
		return p.enough()
	case name == "measure" && p.current != nil:
		return p.measure(p.current, e)
	case name == "part" && p.timewise && len(p.bars) > 0:
		part, err := p.part(attribute(e, "id"))
		if err != nil {
			return err
		}
		part.index = len(p.bars) - 1
		return p.measure(part, e)
	default:
		return p.xml.Skip()
	}
	return nil
}

// attribute returns the value of an element's attribute, empty without one.
func attribute(e xml.StartElement, name string) string {
	for _, a := range e.Attr {
		if a.Name.Local == name {
			return a.Value
		}
	}
	return ""
}

// part finds a part by its id or opens it.
func (p *parser) part(id string) (*part, error) {
	for _, q := range p.parts {
		if q.id == id {
			return q, nil
		}
	}
	if len(p.parts) == maxParts {
		return nil, fmt.Errorf("more than %d parts", maxParts)
	}
	q := &part{id: id, divisions: 1}
	q.notes.Name = p.names[id]
	if q.notes.Name == "" {
		q.notes.Name = clean(id)
	}
	p.parts = append(p.parts, q)
	return q, nil
}

// enough stops the reading of more measures than a map can have.
func (p *parser) enough() error {
	if len(p.bars) > tempo.MaxMeasures {
		return fmt.Errorf("more than %d measures", tempo.MaxMeasures)
	}
	return nil
}

// measure reads one measure of one part. Children are decoded one by one, so
// that memory does not follow the size of a crafted measure. The first part decides
// how the measure is called; an error says where it came up, since nobody finds a
// line of an exported file.
func (p *parser) measure(q *part, e xml.StartElement) error {
	if q.index == len(p.bars) {
		p.bars = append(p.bars, bar{number: clean(attribute(e, "number"))})
		if err := p.enough(); err != nil {
			return err
		}
	}
	c := cursor{parser: p, part: q, bar: &p.bars[q.index], first: q == p.parts[0]}
	for {
		p.budget.left = maxTokens
		token, err := p.xml.Token()
		if err != nil {
			return err
		}
		switch t := token.(type) {
		case xml.EndElement: // of the measure: children end below
			c.bar.length = max(c.bar.length, c.furthest)
			q.index++
			return nil
		case xml.StartElement:
			var child element
			if !timed[t.Name.Local] {
				err = p.xml.Skip()
			} else if err = p.xml.DecodeElement(&child, &t); err == nil {
				err = c.element(&child)
			}
			if err != nil {
				return fmt.Errorf("measure %s, part %q: %w", c.bar.number, q.notes.Name, err)
			}
		}
	}
}

// remark adds a remark once. Parts repeat each other, so most remarks come several
// times.
func (p *parser) remark(format string, args ...any) {
	text := fmt.Sprintf(format, args...)
	switch {
	case slices.Contains(p.written.Remarks, text):
	case len(p.written.Remarks) == maxRemarks:
		p.dropped++
	default:
		p.written.Remarks = append(p.written.Remarks, text)
	}
}

// budget hands on tokens until too many have come since it was last filled:
// an element is decoded as a whole, and this bounds what it can hold.
type budget struct {
	d    *xml.Decoder
	left int
}

// Token implements xml.TokenReader.
func (b *budget) Token() (xml.Token, error) {
	if b.left--; b.left < 0 {
		return nil, fmt.Errorf("an element has more than %d parts", maxTokens)
	}
	return b.d.Token()
}

// clean returns text from the file for people: one line, of sensible length. At most
// 200 bytes are kept.
func clean(s string) string {
	s = strings.ToValidUTF8(s[:min(len(s), 200)], "")
	return strings.Join(strings.FieldsFunc(s, func(r rune) bool { return unicode.IsSpace(r) || unicode.IsControl(r) }),
		" ")
}
