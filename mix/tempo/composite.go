package tempo

import "strings"

// composite returns a composite meter as [ParseMeter] reads it, "" for any other meter.
//
// Every group begins with an accent, and a part is one group or several. Of all ways to
// write the groups as parts it takes the one that joins the fewest, and of those the one
// with the longest notes: 2/4+3/8+1/4. The shortest note that the meter is counted in must
// be written in one of them, as in 2/1+2/8, or it would be read as another meter.
func (m Meter) composite() string {
	if m.n == 0 || m.accent&1 == 0 {
		return ""
	}
	var begins []int // the first beat of every group, and the number of beats
	for i := range int(m.n) {
		if m.accent&(1<<i) != 0 {
			begins = append(begins, i)
		}
	}
	n := len(begins)
	begins = append(begins, int(m.n))
	type way struct {
		cost int // 0: there is none
		text []string
	}
	// ways[k][1] writes the groups from k on with the shortest note among them, [0] without.
	ways := make([][2]way, n+1)
	ways[n][0].cost = 1
	for from := n - 1; from >= 0; from-- {
		for to := from + 1; to <= n; to++ {
			for den := 1; den <= int(m.den); den *= 2 {
				text, ok := m.writePart(begins[from:to+1], den)
				if !ok {
					continue
				}
				for has, rest := range ways[to] {
					if den == int(m.den) {
						has = 1
					}
					cost := rest.cost + den + 4096*(to-from-1) // 32 parts of 1/64 cost less
					if w := &ways[from][has]; rest.cost > 0 && (w.cost == 0 || cost < w.cost) {
						*w = way{cost, append([]string{text}, rest.text...)}
					}
				}
			}
		}
	}
	text := strings.Join(ways[0][1].text, "+")
	if same, err := ParseMeter(text); err == nil && same == m {
		return text
	}
	return ""
}

// writePart writes the groups that begin at those beats, the last of which ends the part, in
// notes of 1/den. ok is false where they would be read as other beats.
func (m Meter) writePart(begins []int, den int) (text string, ok bool) {
	part := MeterPart{Den: den}
	for i, first := range begins[:len(begins)-1] {
		sum := 0
		for _, u := range m.units[first:begins[i+1]] {
			sum += int(u)
		}
		if sum*den%int(m.den) != 0 {
			return "", false
		}
		part.Groups = append(part.Groups, sum*den/int(m.den))
	}
	read, err := part.meter()
	first, end := begins[0], begins[len(begins)-1]
	if err != nil || int(read.n) != end-first {
		return "", false
	}
	for i := range int(read.n) {
		if int(read.units[i])*int(m.den) != int(m.units[first+i])*den ||
			read.accent&(1<<i) != 0 != (m.accent&(1<<(first+i)) != 0) {
			return "", false
		}
	}
	return writeGroups(part.Groups, den), true
}
