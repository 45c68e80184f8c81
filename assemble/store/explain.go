package store

import (
	"context"
	"fmt"
	"math"
	"slices"
	"strings"
	"time"
)

// String returns the description in full, one ingredient a line.
func (a Action) String() string {
	var b strings.Builder
	fmt.Fprintf(&b, "%s, version %d", a.rule, a.version)
	if a.subject != "" {
		fmt.Fprintf(&b, ", for %s", a.subject)
	}
	for _, f := range a.fields {
		fmt.Fprintf(&b, "\n  %-6s %s = %s", f.Kind, f.Name, f.Value)
	}
	if a.ext != "" {
		fmt.Fprintf(&b, "\n  output one file, %s", a.ext)
	}
	if len(a.names) > 0 {
		fmt.Fprintf(&b, "\n  output %s", strings.Join(a.names, ", "))
	}
	return b.String()
}

// Find returns the one stored key that begins with the given hexadecimal digits. It
// fails where none begins so, or several do.
func (s *Store) Find(ctx context.Context, prefix string) (ID, error) {
	all, err := s.List(ctx)
	if err != nil {
		return ID{}, err
	}
	var found []ID
	for _, e := range all {
		if strings.HasPrefix(e.ID.String(), strings.ToLower(prefix)) {
			found = append(found, e.ID)
		}
	}
	switch len(found) {
	case 1:
		return found[0], nil
	case 0:
		return ID{}, fmt.Errorf("store: no key begins with %q", prefix)
	}
	return ID{}, fmt.Errorf("store: %d keys begin with %q", len(found), prefix)
}

// Explain tells what is stored under id: the description behind the key, when it was
// made and how long that took, and whether the output is sound. It fails when nothing is
// stored under id, or its index is damaged.
func (s *Store) Explain(ctx context.Context, id ID) (string, error) {
	e, err := s.load(id)
	if err != nil {
		return "", fmt.Errorf("store: key %s: %w", id.Short(), err)
	}
	var b strings.Builder
	fmt.Fprintf(&b, "key %s\n%s\n", id, e.action())
	fmt.Fprintf(&b, "  made   %s in %.1f s\n", time.Unix(0, e.Made).UTC().Format(time.RFC3339), e.Seconds)
	for _, f := range e.Files {
		fmt.Fprintf(&b, "  file   %s, %d bytes, sha256 %s\n",
			filePath(s.outputPath(id, e.Ext, e.Names), f), f.Mark.Size, f.Hash)
	}
	state := "sound"
	if _, err := s.verify(ctx, e, true); err != nil {
		state = err.Error()
	}
	fmt.Fprintf(&b, "  state  %s", state)
	return b.String(), nil
}

// History is what was stored when it was read, for explaining misses.
type History struct {
	byWork map[work][]*entry
	byRule map[string][]*entry
}

// work is what two entries share that are comparable: the rule, and whom it
// was for.
type work struct{ rule, subject string }

// History reads every index. Damaged ones are left out. It fails when ctx ends or the
// folder cannot be read.
func (s *Store) History(ctx context.Context) (*History, error) {
	h := &History{byWork: map[work][]*entry{}, byRule: map[string][]*entry{}}
	err := s.each(ctx, func(_ Entry, e *entry) {
		if e != nil {
			w := work{e.Rule, e.Subject}
			h.byWork[w] = append(h.byWork[w], e)
			h.byRule[e.Rule] = append(h.byRule[e.Rule], e)
		}
	})
	return h, err
}

// Changes says in what the description of a differs from the most similar
// entry of the same rule and subject, one ingredient a line; nil when there is
// none to compare with. It answers why a has to be made.
func (h *History) Changes(a Action) []string {
	var best []string
	var made int64
	for _, e := range h.byWork[work{a.rule, a.subject}] {
		d := a.diff(e.action())
		if len(d) == 0 {
			continue // the same description: its output is damaged or missing
		}
		// Of equally similar ones the youngest is what a person remembers.
		if best == nil || len(d) < len(best) || len(d) == len(best) && e.Made > made {
			best, made = d, e.Made
		}
	}
	return best
}

// Pace returns how many seconds the outputs of a rule took for each second they were
// estimated at (see [Action.Estimate]); 1 when nothing is known. It lies
// between 1/100 and 100.
func (h *History) Pace(rule string) float64 {
	// One estimated second of trust in the estimates: a single short entry
	// measured on a busy machine says little.
	seconds, cost := 1.0, 1.0
	for _, e := range h.byRule[rule] {
		if e.Cost > 0 {
			seconds, cost = seconds+e.Seconds, cost+e.Cost
		}
	}
	return min(100, max(0.01, seconds/cost))
}

// usableCost returns cost, or 0 (unknown) when it is no positive finite number,
// which JSON could not hold.
func usableCost(cost float64) float64 {
	if !(cost > 0) || math.IsInf(cost, 0) {
		return 0
	}
	return cost
}

// diff lists what changed from old to a.
func (a Action) diff(old Action) []string {
	var d []string
	if a.version != old.version {
		d = append(d, fmt.Sprintf("rule version: was %d, is %d", old.version, a.version))
	}
	was, is := old.byName(), a.byName()
	seen := map[string]bool{} // several values of one name make one line
	for _, f := range slices.Concat(a.fields, old.fields) {
		k := f.key()
		if seen[k] {
			continue
		}
		seen[k] = true
		switch {
		case was[k] == nil:
			d = append(d, fmt.Sprintf("%s %s: new", f.Kind, f.Name))
		case is[k] == nil:
			d = append(d, fmt.Sprintf("%s %s: gone", f.Kind, f.Name))
		case !slices.Equal(was[k], is[k]):
			d = append(d, change(f, was[k], is[k]))
		}
	}
	if len(d) == 0 && !slices.Equal(a.fields, old.fields) {
		d = append(d, "the order of arguments or inputs")
	}
	if a.ext != old.ext || !slices.Equal(a.names, old.names) {
		d = append(d, "output: other form")
	}
	return d
}

// change says how an ingredient of a key differs from what it was.
func change(f Field, was, is []string) string {
	if f.Kind == "input" {
		return fmt.Sprintf("input %s: changed", f.Name)
	}
	return fmt.Sprintf("arg %s: was %s, is %s", f.Name, shorten(was), shorten(is))
}

// shorten keeps a line readable; the whole is in Explain.
func shorten(values []string) string {
	s := strings.Join(values, " ")
	const most = 60
	if r := []rune(s); len(r) > most {
		return string(r[:most]) + "…"
	}
	return s
}

// key returns what tells a field from all others of an action but those of its
// name.
func (f Field) key() string { return f.Kind + "\x00" + f.Name }

// byName groups the values of a's fields by kind and name, in order.
func (a Action) byName() map[string][]string {
	m := map[string][]string{}
	for _, f := range a.fields {
		m[f.key()] = append(m[f.key()], f.Value)
	}
	return m
}
