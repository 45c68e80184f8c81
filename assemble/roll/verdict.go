package roll

import (
	"fmt"
	"strings"

	"ripieno/assemble/fault"
	"ripieno/assemble/takes"
)

// Verdict returns the error a verb ends with when it did its work but takes are
// missing from the result; nil when none is. Takes that need review are told of
// together: what there is to decide about each, sync says.
func Verdict(faults []takes.Fault) error {
	rest, asks := partition(faults)
	list := verdictOf(rest)
	if len(asks) > 0 {
		var names []string
		for _, b := range asks {
			names = append(names, b.Take)
		}
		list.Add(fault.New(fault.Decision, "", InReview(names), "run `ripieno sync`"))
	}
	return list.Err()
}

// SyncVerdict returns the error that sync ends with: a line for each take that
// needs review, and after the last of them how to decide.
func SyncVerdict(faults []takes.Fault) error {
	rest, asks := partition(faults)
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

// partition separates faults from those that ask for a place, both in their order.
func partition(faults []takes.Fault) (rest, asks []takes.Fault) {
	for _, b := range faults {
		if b.Asks {
			asks = append(asks, b)
		} else {
			rest = append(rest, b)
		}
	}
	return rest, asks
}

// bestExample returns the index of the first take that has places to choose from, or
// else of the first.
func bestExample(asks []takes.Fault) int {
	for i, b := range asks {
		if b.Choice {
			return i
		}
	}
	return 0
}

// InReview returns a sentence that names all takes that need review.
func InReview(names []string) string {
	if len(names) == 1 {
		return "1 take needs review and is left out: " + names[0]
	}
	return fmt.Sprintf("%d takes need review and are left out: %s", len(names), strings.Join(names, ", "))
}

// verdictOf returns faults as errors.
func verdictOf(faults []takes.Fault) fault.List {
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
