package manifest

import (
	"fmt"
	"strconv"
	"strings"

	"go.yaml.in/yaml/v3"

	"ripieno/assemble/fault"
	"ripieno/assemble/production"
)

// seats checks that nobody has another's seat, or one that there is not, and
// gives how many seats there were when they were given; 0 when that is not
// said. entries are those that takes came from.
func (m mapping) seats(takes []production.Take, entries []mapping) int {
	given, ok := m.whole("seats")
	sits := map[int]string{}
	for i, t := range takes {
		v := entries[i].vals["seat"]
		switch other, taken := sits[t.Seat]; {
		case t.Seat == 0:
		case taken:
			m.at(v, "give one of them another seat", "seat %d is already taken by take %q", t.Seat, other)
		case !m.has("seats") && t.Seat > len(takes):
			m.at(v, fmt.Sprintf("a seat from 1 to %d; or say above takes how many seats there were when they were "+
				"given, for example seats: %d", len(takes), t.Seat),
				"there is no seat %d for %d takes", t.Seat, len(takes))
		default:
			sits[t.Seat] = t.Name
		}
	}
	if !ok {
		return 0
	}
	return given
}

// PinSeats writes the seats of takes, by name, into the manifest data, behind
// the name of each take, and before takes how many seats there are. It changes
// no other byte, as [Pin] does, and takes p like it. A take that has a seat
// keeps it, and so does a manifest that says how many there are. Names of no
// take are passed over, and numbers that a manifest refuses are its faults.
func PinSeats(data []byte, p *production.Production, seats map[string]int, count int) ([]byte, error) {
	where := belongingOf(p)
	was, err := where.parse(data)
	if err != nil {
		return nil, err
	}
	head := addition{
		in:     func(root *yaml.Node) *yaml.Node { return root },
		anchor: "takes", before: true,
		pairs: func(root *yaml.Node) []pair { return missingPairs(root, pair{"seats", strconv.Itoa(count)}) },
	}
	adds := []addition{head}
	for _, t := range was.Takes {
		n, ok := seats[t.Name]
		if !ok {
			continue
		}
		adds = append(adds, addition{
			in:     func(root *yaml.Node) *yaml.Node { return takeNode(root, t.Name) },
			anchor: "name",
			pairs:  func(take *yaml.Node) []pair { return missingPairs(take, pair{"seat", strconv.Itoa(n)}) },
		})
	}
	out, failed, err := addAll(data, adds)
	if err != nil {
		return nil, err
	}
	if failed >= 0 {
		what := "the manifest"
		if failed > 0 {
			what = "a take"
		}
		return nil, fault.New(fault.Manifest, where.path, what+" is written in a way that no seat can be added to",
			"write it as - {name: ..., ...}, each take on a line of its own")
	}
	if _, err := where.parse(out); err != nil {
		return nil, err
	}
	return out, nil
}

// missingPairs returns the pairs whose keys a mapping does not have.
func missingPairs(m *yaml.Node, pairs ...pair) []pair {
	var out []pair
	for _, p := range pairs {
		if valueOf(m, p.key) == nil {
			out = append(out, p)
		}
	}
	return out
}

// beforeKey writes before a key: in braces on its line, else on lines of their
// own above it.
func beforeKey(src *source, m *yaml.Node, anchor string, pairs []pair) (edit, bool) {
	key, _ := entryOf(m, anchor)
	if key == nil {
		return edit{}, false
	}
	at := src.offset(key)
	text := ""
	if m.Style&yaml.FlowStyle != 0 {
		quote := quoteOf(src, key)
		for _, p := range pairs {
			text += quote + p.key + quote + ": " + p.value + ", "
		}
		return edit{at, text}, true
	}
	indent := src.before(at)
	if strings.Trim(indent, " ") != "" {
		return edit{}, false
	}
	for _, p := range pairs {
		text += p.key + ": " + p.value + src.newline(at) + indent
	}
	return edit{at, text}, true
}
