package card

import (
	"errors"
	"image"
	"image/color"
	"math"
	"strings"

	"ripieno/layout"
)

// Credit is one line of the roster.
type Credit struct {
	Section    string // a heading stands above the first of a run of equal ones; may be ""
	Part, Name string // part at the left, name at the right of a gap; either may be ""
}

// CreditsOptions is what the credits say.
type CreditsOptions struct {
	Background color.NRGBA  // alpha is ignored
	Backdrop   *image.NRGBA // a picture of the canvas's size instead of the colour; nil for none
	Title      string       // head of every page; may be ""
	Credits    []Credit
	Foot       []string // below all credits, centred and wrapped: rights and thanks in sentences
	Fonts      *Fonts   // nil: the embedded ones
}

// The measures of credits. No letter is smaller than a telephone shows it: a large
// ensemble gets more pages and not smaller names.
const (
	creditsMost, creditsLeast = 1.0, 0.0 // steps of size
	creditsMargin             = 90.0     // pixels at 1080 lines
	columnGap                 = 2.4      // of the lettering, between columns
	nameGap                   = 0.8      // between part and name
	rowHeight                 = 1.36
	maxColumns                = 4
	footGap                   = 1.2 // of the lettering, above the foot
)

// Credits sets the roster in as few pages as it can, in columns, the lettering
// as large as one page allows and no smaller than a reader can take. Pages are
// opaque and in order; there is at least one. Errors: *MissingError, joined,
// and the canvas's own.
func Credits(c layout.Canvas, o CreditsOptions) ([]*image.NRGBA, error) {
	if err := c.Check(); err != nil {
		return nil, err
	}
	s := newSetter(o.Fonts)
	var r roster
	for n := creditsMost; n >= creditsLeast; n -= 0.125 {
		r = s.roster(c, o, size(c, n))
		if r.pages() <= 1 {
			break
		}
	}
	if len(s.refusal) > 0 {
		return nil, errors.Join(s.refusal...)
	}
	var out []*image.NRGBA
	for i := range max(1, r.pages()) {
		p, bg, err := cardGround(c, o.Background, o.Backdrop)
		if err != nil {
			return nil, err
		}
		r.draw(p, c, bg, i)
		out = append(out, p.NRGBA)
	}
	return out, nil
}

// row is one line of a column: a heading, a credit or nothing.
type row struct {
	heading, part, name line
}

// blank reports whether nothing stands in the row: it is a gap.
func (r row) blank() bool { return len(r.heading.runs)+len(r.part.runs)+len(r.name.runs) == 0 }

// roster is credits set at one size and cut into columns.
type roster struct {
	px             float64
	head           []line
	top, width     float64 // where columns begin; width of one column
	parts          float64 // width of the part's half of a column
	rows           []row   // as they follow each other
	columns        [][]row // all of them, page after page
	perPage, depth int     // columns on a page, rows in a column
	foot           []line  // on the last page
	footPage       bool    // which has nothing else
}

// pages returns how many pages the roster takes, the one of the foot alone included.
func (r roster) pages() int {
	n := (len(r.columns) + r.perPage - 1) / max(1, r.perPage)
	if r.footPage {
		n++
	}
	return n
}

// roster sets everything at px pixels to the em.
func (s *setter) roster(c layout.Canvas, o CreditsOptions, px float64) roster {
	r := roster{px: px, top: c.Scale(creditsMargin)}
	full := float64(c.W) - 2*c.Scale(creditsMargin)
	if strings.TrimSpace(o.Title) != "" {
		r.head = s.wrapEvenly(o.Title, display, size(c, sizeHead), full)
		r.top += leading*stack(r.head) + px*1.2
	}
	var names float64
	r.parts, names = s.columnWidths(o.Credits, px, full)
	r.width = r.parts + nameGap*px + names
	r.perPage = max(1, min(maxColumns, int((full+columnGap*px)/(r.width+columnGap*px))))
	r.depth = max(1, int((float64(c.H)-r.top-c.Scale(creditsMargin)*0.7)/(rowHeight*px)))
	r.cut(s.rows(o.Credits, px, r.parts, names))
	r.foot = s.foot(c, o, full)
	return r.makeRoom(c)
}

// foot sets the lines below all credits.
func (s *setter) foot(c layout.Canvas, o CreditsOptions, full float64) (lines []line) {
	for _, text := range o.Foot {
		if strings.TrimSpace(text) != "" {
			lines = append(lines, s.wrapEvenly(text, regular, size(c, sizeSmall), full)...)
		}
	}
	return lines
}

// makeRoom leaves room for the foot on the last page: columns become shorter on all
// pages, or a page of the foot alone follows when it is nearly as high as one.
func (r roster) makeRoom(c layout.Canvas) roster {
	if len(r.foot) == 0 {
		return r
	}
	rows := int(math.Ceil((leading*stack(r.foot) + footGap*r.px) / (rowHeight * r.px)))
	if len(r.columns) == 0 || r.depth-rows < 3 {
		r.footPage = true
		return r
	}
	r.depth -= rows
	r.cut(r.rows)
	return r
}

// columnWidths returns the room for parts and for names in a column: the widest of
// each, within reason.
func (s *setter) columnWidths(credits []Credit, px, full float64) (parts, names float64) {
	for _, k := range credits {
		parts = max(parts, s.set(k.Part, regular, px).width)
		names = max(names, s.set(k.Name, medium, px).width, s.set(k.Section, display, px).width)
	}
	room := full - nameGap*px
	parts = min(parts, 0.45*room)
	return parts, min(names, room-parts)
}

// rows sets every credit and puts headings between sections.
func (s *setter) rows(credits []Credit, px, parts, names float64) (rows []row) {
	section := ""
	for _, k := range credits {
		if k.Section != section {
			if len(rows) > 0 {
				rows = append(rows, row{})
			}
			if section = k.Section; strings.TrimSpace(section) != "" {
				rows = append(rows, row{heading: s.fit(section, display, px, px*0.85, names+0.5)})
			}
		}
		rows = append(rows, row{
			part: s.fit(k.Part, regular, px, px*shrink, parts+0.5),
			name: s.fit(k.Name, medium, px, px*shrink, names+0.5),
		})
	}
	return rows
}

// draw paints one page, counted from 0, on a picture of the ground's colour.
func (r roster) draw(p *picture, c layout.Canvas, bg color.NRGBA, page int) {
	columns := r.columns[min(page*r.perPage, len(r.columns)):]
	columns = columns[:min(r.perPage, len(columns))]
	longest := 0
	for _, k := range columns {
		longest = max(longest, len(k))
	}
	// A short page hangs a little above the middle as title cards do.
	last := page == r.pages()-1
	free := float64(c.H) - r.top - c.Scale(creditsMargin)*0.7 - float64(longest)*rowHeight*r.px
	if last && len(r.foot) > 0 {
		free -= leading*stack(r.foot) + footGap*r.px
	}
	shift := max(0, free*0.44)
	y := c.Scale(creditsMargin) + shift
	for _, l := range r.head {
		p.write(l, (float64(c.W)-l.width)/2, y+l.ascent, on(bg), p.Rect)
		y += leading * l.height()
	}
	total := float64(len(columns))*(r.width+columnGap*r.px) - columnGap*r.px
	x := (float64(c.W) - total) / 2
	for _, column := range columns {
		base := r.top + shift + r.px
		for _, k := range column {
			p.write(k.heading, x+r.parts+nameGap*r.px, base, headingInk(bg), p.Rect)
			p.write(k.part, x+r.parts-k.part.width, base, quietColour(bg), p.Rect)
			p.write(k.name, x+r.parts+nameGap*r.px, base, on(bg), p.Rect)
			base += rowHeight * r.px
		}
		x += r.width + columnGap*r.px
	}
	if !last {
		return
	}
	y = r.top + shift + float64(longest)*rowHeight*r.px
	if longest > 0 {
		y += footGap * r.px
	}
	for _, l := range r.foot {
		p.write(l, (float64(c.W)-l.width)/2, y+l.ascent, quietColour(bg), p.Rect)
		y += leading * l.height()
	}
}
