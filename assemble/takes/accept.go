package takes

import (
	"fmt"
	"strconv"
	"strings"

	"ripieno/assemble/fault"
	"ripieno/assemble/manifest"
	"ripieno/assemble/production"
	"ripieno/mix/align"
)

// Choice is a candidate that a person accepts: the place of a recording that sync
// is not sure of. Numbers are those of the list that sync has just printed: another
// run may find others, so they are read and written within one.
type Choice struct {
	Take   string
	Role   Role // of the recording; empty: the one that tells most
	Number int  // of the candidate, from 1
}

// ParseChoice reads TAKE, TAKE=N, TAKE/video=N or TAKE/audio=N. Without N it is the
// first candidate. A number that is none, below 1 or too large, and a choice without a
// take, are faults that say how it is written.
func ParseChoice(text string) (Choice, error) {
	name, number, numbered := strings.Cut(text, "=")
	c := Choice{Take: name, Number: 1}
	for _, r := range []Role{Video, Audio} {
		if take, ok := strings.CutSuffix(name, "/"+string(r)); ok {
			c.Take, c.Role = take, r
		}
	}
	if numbered {
		n, err := strconv.Atoi(number)
		if err != nil || n < 1 {
			return c, fault.New(fault.Manifest, "--accept", fmt.Sprintf("%q is not the number of a candidate", number),
				"write --accept TAKE=1; sync lists the candidates")
		}
		c.Number = n
	}
	if c.Take == "" {
		return c, fault.New(fault.Manifest, "--accept", fmt.Sprintf("%q names no take", text),
			"write --accept TAKE or --accept TAKE=2")
	}
	return c, nil
}

// Accept returns the places that the choices stand for, to be written into the
// manifest. It fails for a take, a recording or a candidate that is not there, and
// for a recording whose place the manifest fixes already. Nothing is written. Drift
// goes with the offset, since both belong to one candidate.
func (s *Set) Accept(man *production.Production, choices []Choice) ([]manifest.Pinned, error) {
	var list []manifest.Pinned
	seen := map[*Recording]bool{}
	for _, c := range choices {
		r, err := s.choose(man, c)
		if err != nil {
			return nil, err
		}
		if seen[r] {
			return nil, fault.New(fault.Manifest, "--accept", fmt.Sprintf("%s is chosen twice", r),
				"give one candidate for it")
		}
		seen[r] = true
		k := r.Place.Candidates[c.Number-1]
		list = append(list, manifest.Pinned{Take: r.Owner, Role: r.Role, Offset: k.Offset, DriftPPM: k.DriftPPM})
	}
	return list, nil
}

// choose returns the recording that a choice is about. Two devices of a player move
// together, so only the one that leads can be chosen.
func (s *Set) choose(man *production.Production, c Choice) (*Recording, error) {
	var known []string
	for _, t := range s.Takes {
		if t.Name != c.Take {
			known = append(known, t.Name)
			continue
		}
		r := t.leading(c.Role)
		switch {
		case r == nil:
			return nil, fault.New(fault.Manifest, "--accept",
				fmt.Sprintf("take %q has no such recording that can be heard", c.Take),
				"see `ripieno check`")
		case r.File.Offset != nil || r.File.CueAt != nil:
			return nil, fault.New(fault.Manifest, "--accept", fmt.Sprintf("the manifest says where %s lies",
				r.File.Path),
				"take its offset or cue_at out of production.yaml first")
		case c.Number > len(r.Place.Candidates):
			return nil, fault.New(fault.Manifest, "--accept", fmt.Sprintf("%s has no candidate %d, only %d",
				r.File.Path, c.Number, len(r.Place.Candidates)),
				"listen to it and write cue_at or offset into production.yaml")
		}
		return r, nil
	}
	return nil, fault.New(fault.Manifest, "--accept", fmt.Sprintf("there is no take %q", c.Take),
		fmt.Sprintf("the manifest has %q", known))
}

// leading returns the recording of a take whose place decides that of the take:
// the one of the role given, or else the one that does not only follow the other.
func (t Take) leading(role Role) *Recording {
	var best *Recording
	for _, r := range t.Recordings() {
		if !r.HasSound() || role != "" && r.Role != role {
			continue
		}
		if best == nil || best.Place.Method == align.ByDevice && r.Place.Method != align.ByDevice {
			best = r
		}
	}
	return best
}

// Leading returns the recording whose place decides that of the take: the one that
// does not only follow the take's other device. It is nil for a take that cannot be
// heard.
func (t Take) Leading() *Recording { return t.leading("") }
