package manifest

import (
	"ripieno/assemble/intake/limit"
)

// farthest bounds thresholds: no quantity that is measured of a take is beyond
// it in the unit of its threshold.
const farthest = 1e6

// thresholdKeys returns the keys of check, in the order of the table.
func thresholdKeys() []key {
	var all []key
	for _, t := range limit.Standard().Table() {
		all = append(all, key{t.Name, number(-farthest, farthest, t.Unit), decimal(t.Value), t.Why})
	}
	return all
}

// limits reads the section check: thresholds that differ from the standard. A
// threshold that is written wins for all takes; there is none for a single take.
func (m mapping) limits() limit.Limits {
	l := limit.Standard()
	c, ok := m.child("check", checkShape)
	if !ok {
		return l
	}
	for _, t := range l.Table() {
		if x, ok := c.number(t.Name); ok {
			if err := l.Set(t.Name, x); err != nil {
				c.at(c.vals[t.Name], "", "%v", err)
			}
		}
	}
	return l
}
