package assemble

import (
	"fmt"
	"strings"

	"ripieno/assemble/fault"
	"ripieno/assemble/takes"
)

// Verdict returns the error a verb ends with when it did its work but takes are
// missing from the result; nil when none is. Takes that need review are told of
// together: what there is to decide about each, sync says.
func Verdict(faults []Bad) error {
	rest, asks := partition(faults)
	list := verdictOf(rest)
	if len(asks) > 0 {
		takes := names(asks, func(b Bad) string { return b.Take })
		list.Add(fault.New(fault.Decision, "", inReview(takes), "run `ripieno sync`"))
	}
	return list.Err()
}

// Verdict returns the error that sync ends with: a line for each take that needs
// review, and after the last of them how to decide.
func (r SyncResult) Verdict() error {
	rest, asks := partition(r.Faults)
	list := verdictOf(rest)
	for i, b := range asks {
		hint := ""
		if i == len(asks)-1 {
			hint = asks[bestExample(asks)].Hint
		}
		list.Add(fault.New(fault.Decision, "", b.What, hint))
	}
	return list.Err()
}

// partition parts faults from those that ask for a place, both in their order.
func partition(faults []Bad) (rest, asks []Bad) {
	for _, b := range faults {
		if b.Asks {
			asks = append(asks, b)
		} else {
			rest = append(rest, b)
		}
	}
	return rest, asks
}

// bestExample is the first take that has places to choose from, or else the first.
func bestExample(asks []Bad) int {
	for i, b := range asks {
		if b.Choice {
			return i
		}
	}
	return 0
}

// InReview says which takes of a report need review; "" for none.
func InReview(list []ReviewedTake) string {
	var names []string
	for _, t := range list {
		if t.Asks {
			names = append(names, t.Name)
		}
	}
	if len(names) == 0 {
		return ""
	}
	return inReview(names)
}

// inReview names all takes that need review.
func inReview(names []string) string {
	if len(names) == 1 {
		return "1 take needs review and is left out: " + names[0]
	}
	return fmt.Sprintf("%d takes need review and are left out: %s", len(names), strings.Join(names, ", "))
}

// verdictOf makes errors of faults.
func verdictOf(faults []Bad) fault.List {
	var list fault.List
	for _, b := range faults {
		kind := fault.Decision
		if b.Kind == takes.KindUnreadable {
			kind = fault.Media
		}
		list.Add(fault.New(kind, "", b.What, b.Hint))
	}
	return list
}
