package remark

import (
	"fmt"
	"slices"
	"strings"

	"ripieno/mix/tempo"
)

// Stand is an approval held against the film as it is.
type Stand struct {
	Approval
	// Current says that the film has the bytes that were approved. A film that is not
	// there is not current.
	Current bool `json:"current"`
}

// Stands returns the approvals of a book; hashes are those of the films that are there,
// by their names.
func (b *Book) Stands(hashes map[string]string) []Stand {
	list := []Stand{}
	for _, a := range b.Approvals {
		list = append(list, Stand{a, a.Hash == hashes[a.Film]})
	}
	return list
}

// String says in English how the approval stands.
func (s Stand) String() string {
	if s.Current {
		return fmt.Sprintf("%s is approved by %s", s.Film, s.By)
	}
	return fmt.Sprintf("%s was approved by %s and has changed since", s.Film, s.By)
}

// At is a remark beside its measure.
type At struct {
	Remark
	Measure int     `json:"measure"`
	Time    float64 `json:"time"` // guide time in the music as it is now
}

// Beside returns the remarks that choose takes, in the order of the music, each beside
// its measure.
func (b *Book) Beside(m *tempo.Map, choose func(Remark) bool) []At {
	list := []At{}
	for _, r := range b.Remarks {
		if !choose(r) {
			continue
		}
		at := r.When(m)
		measure, _, _ := parsePlace(PlaceAt(m, at))
		list = append(list, At{r, measure, at})
	}
	slices.SortStableFunc(list, func(x, y At) int {
		switch {
		case x.Time < y.Time:
			return -1
		case x.Time > y.Time:
			return 1
		}
		return strings.Compare(x.ID, y.ID)
	})
	return list
}

// IsOpen chooses remarks that are not settled.
func IsOpen(r Remark) bool { return !r.Settled }

// All chooses every remark, where a function that chooses some is asked for.
func All(Remark) bool { return true }
