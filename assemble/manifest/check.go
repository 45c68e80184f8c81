package manifest

import (
	"ripieno/assemble/intake/limit"
)

// farthest bounds thresholds: no quantity that is measured of a take is beyond
// it in the unit of its threshold.
const farthest = 1e6

// thresholdNames are the keys of check, in the order of the table.
func thresholdNames() []string {
	var names []string
	for _, t := range limit.Standard().Table() {
		names = append(names, t.Name)
	}
	return names
}

// limits reads the section check: thresholds that differ from the standard.
func (m mapping) limits() limit.Limits {
	l := limit.Standard()
	c, ok := m.child("check", checkShape)
	if !ok {
		return l
	}
	for _, t := range l.Table() {
		if x, ok := c.number(t.Name, -farthest, farthest, t.Unit); ok {
			if err := l.Set(t.Name, x); err != nil {
				c.at(c.vals[t.Name], "", "%v", err)
			}
		}
	}
	return l
}
