package roll

import (
	"fmt"
	"strings"

	"ripieno/assemble/fault"
	"ripieno/assemble/production"
	"ripieno/assemble/takes"
)

// Releases returns what is open before a film of the production may be
// published: all takes that are in without a release at once, and every take
// whose player said no. A take that is still expected has nothing to release.
func Releases(man *production.Production) []takes.Fault {
	var list []takes.Fault
	var missing []string
	in := 0
	for _, t := range man.Takes {
		if t.Video == nil && t.Audio == nil {
			continue
		}
		in++
		switch t.Release {
		case production.ReleaseMissing:
			missing = append(missing, withPlayer(t))
		case production.ReleaseNo:
			list = append(list, takes.NewFault(t.Name, takes.KindRelease, fault.At(fault.Decision, t.Mark,
				fmt.Sprintf("take %s has release: no and is left out of picture and sound", withPlayer(t)),
				"delete the take, or keep its seat with expected: true instead of its files")))
		}
	}
	if len(missing) > 0 {
		list = append([]takes.Fault{takes.NewFault("", takes.KindRelease, fault.New(fault.Decision, man.Path,
			fmt.Sprintf("no release is written down for %d of %d takes: %s", len(missing), in, firstOf(missing)),
			"ask the players, and the guardians of minors, what may be published, and write release: yes, "+
				"audio-only or no under each take, or release: yes above takes for all"))}, list...)
	}
	return list
}

// firstOf returns a list in one sentence: the first names, and where to read the
// others.
func firstOf(names []string) string {
	const told = 12
	if len(names) <= told {
		return strings.Join(names, ", ")
	}
	return fmt.Sprintf("%s and %d more, which ripieno rollcall lists", strings.Join(names[:told], ", "),
		len(names)-told)
}

// withPlayer returns a take with the name of its player, for the one who asks.
func withPlayer(t production.Take) string {
	if t.Player == "" {
		return fmt.Sprintf("%q", t.Name)
	}
	return fmt.Sprintf("%q (%s)", t.Name, t.Player)
}

// RefuseUnreleased returns the fault of finished films that wait for releases; nil
// when nothing is open.
func RefuseUnreleased(open []takes.Fault) error {
	var list fault.List
	for _, b := range open {
		list.Add(fault.New(fault.Decision, "", b.What, b.Hint))
	}
	if len(list) > 0 {
		list.Add(fault.New(fault.Decision, "", "no finished film was made, because releases are open",
			"ripieno rough makes a preview meanwhile; --allow-missing-release makes the film all the same"))
	}
	return list.Err()
}
