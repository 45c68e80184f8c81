package assemble

import (
	"fmt"
	"strings"

	"ripieno/assemble/fault"
	"ripieno/assemble/production"
	"ripieno/assemble/takes"
)

// releases says what is open before a film of the production may be
// published: all takes that are in without a release at once, and every take
// whose player said no. A take that is still expected has nothing to release.
func (p *Production) releases() []Bad {
	var list []Bad
	var missing []string
	in := 0
	for _, t := range p.Manifest().Takes {
		if t.Video == nil && t.Audio == nil {
			continue
		}
		in++
		switch t.Release {
		case production.ReleaseMissing:
			missing = append(missing, called(t))
		case production.ReleaseNo:
			list = append(list, takes.NewFault(t.Name, takes.KindRelease, fault.At(fault.Decision, t.Mark,
				fmt.Sprintf("take %s has release: no and is left out of picture and sound", called(t)),
				"delete the take, or keep its seat with expected: true instead of its files")))
		}
	}
	if len(missing) > 0 {
		list = append([]Bad{takes.NewFault("", takes.KindRelease, fault.New(fault.Decision, p.Manifest().Path,
			fmt.Sprintf("no release is written down for %d of %d takes: %s", len(missing), in, firstOf(missing)),
			"ask the players, and the guardians of minors, what may be published, and write release: yes, audio-only or no under each take, or release: yes above takes for all"))}, list...)
	}
	return list
}

// firstOf is a list in one sentence: the names that are told, and where to read
// the others.
func firstOf(names []string) string {
	const told = 12
	if len(names) <= told {
		return strings.Join(names, ", ")
	}
	return fmt.Sprintf("%s and %d more, which ripieno rollcall lists", strings.Join(names[:told], ", "),
		len(names)-told)
}

// called is a take with the name of its player, for the one who asks.
func called(t production.Take) string {
	if t.Player == "" {
		return fmt.Sprintf("%q", t.Name)
	}
	return fmt.Sprintf("%q (%s)", t.Name, t.Player)
}

// unreleased is the fault of finished films that wait for releases; nil when
// nothing is open.
func unreleased(open []Bad) error {
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

// tellReleases says what is open where the work goes on.
func (p *Production) tellReleases(open []Bad) {
	for _, b := range open {
		p.Message("before you publish: " + b.What)
	}
}
