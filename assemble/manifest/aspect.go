package manifest

import (
	"fmt"
	"strconv"
	"strings"

	"ripieno/assemble/production"
	"ripieno/layout"
	"ripieno/mix/audio"
)

// maxAspect is how much wider than high, or higher than wide, a tile may be;
// beyond, it is a slit.
const maxAspect = 4

// anyAspect is the range that aspect: auto stands for.
var anyAspect = production.Aspect{Shapes: layout.AnyShape}

var aspectForm = pattern(`^([0-9]{1,5})(?:\.([0-9]{1,3}))?:([0-9]{1,5})(?:\.([0-9]{1,3}))?$`)

// aspectHint says how to write the shape of a tile.
const aspectHint = "auto, a range such as 4:5 to 16:9, or one shape as width:height, for example 16:9, 4:3, 1:1, " +
	"9:16 or 2.39:1"

// aspect reads the shape of tiles: auto, 4:5 to 16:9, or one shape, of which
// the numbers have no common factor. It is zero when the key is not there. A shape
// and a range whose ends are the same mean the same, and are one.
func (m mapping) aspect() production.Aspect {
	v, ok := m.scalar("aspect", "auto")
	if !ok {
		return production.Aspect{}
	}
	if v.Value == "auto" {
		return anyAspect
	}
	from, to, isRange := strings.Cut(v.Value, " to ")
	if !isRange {
		to = from
	}
	var sides [2][2]int
	for i, text := range []string{from, to} {
		parts := aspectForm().FindStringSubmatch(strings.TrimSpace(text))
		if parts == nil {
			m.at(v, aspectHint, "aspect %q is not a ratio", clip(v.Value))
			return production.Aspect{}
		}
		// 2.39:1 without rounding: a tile's size is reckoned in whole numbers.
		w, h := thousandths(parts[1], parts[2]), thousandths(parts[3], parts[4])
		if w == 0 || h == 0 || w > maxAspect*h || h > maxAspect*w {
			m.at(v, fmt.Sprintf("a ratio from 1:%d to %d:1", maxAspect, maxAspect), "aspect %s is out of range",
				v.Value)
			return production.Aspect{}
		}
		d := audio.GCD(w, h)
		sides[i] = [2]int{w / d, h / d}
	}
	least, most := sides[0], sides[1]
	switch {
	case !isRange || least == most:
		return production.Aspect{AspectW: least[0], AspectH: least[1]}
	// The sides are at most 10^8, so their products are far from overflowing 64 bits.
	case least[0]*most[1] > most[0]*least[1]:
		m.at(v, fmt.Sprintf("did you mean %q?", to+" to "+from), "aspect %q begins with the wider shape", v.Value)
		return production.Aspect{}
	}
	return production.Aspect{Shapes: layout.Shapes{
		Least: float64(least[0]) / float64(least[1]), Most: float64(most[0]) / float64(most[1]),
	}}
}

// shortRows reads what becomes of incomplete rows of tiles of a shape. Tiles of
// one shape cannot be stretched.
func (m mapping) shortRows(a production.Aspect) production.Alignment {
	rows := choose(m, "short_rows", production.Alignment(""))
	// Another word for the same, as the README writes it.
	if rows == "centre" {
		rows = production.Centred
	}
	if rows == production.Stretched && a.AspectW > 0 {
		m.at(m.vals["short_rows"], "aspect: auto lets tiles of short rows be wider; or write short_rows: centred",
			"tiles of one shape, %d:%d, cannot be stretched", a.AspectW, a.AspectH)
		return ""
	}
	return rows
}

// thousandths of a number given as its digits before and behind the point.
func thousandths(whole, fraction string) int {
	n, _ := strconv.Atoi(whole + (fraction + "000")[:3]) // 8 digits at most
	return n
}
