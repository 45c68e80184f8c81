package manifest

import (
	"cmp"
	"fmt"
	"slices"

	"ripieno/assemble/production"
	"ripieno/layout/shot"
	"ripieno/mix/tempo"
)

// maxTransition bounds a transition in seconds; longer ones are a slip, since
// nothing of either shot is seen as it is meant.
const maxTransition = 20

// pair reads the two takes of a shot that shows them side by side.
func (m mapping) pair(s *production.Shot, who cast) {
	list := m.list("takes", "takes: [oboe-1, horn-2]")
	if s.Show != shot.Pair || len(list) == 0 {
		return
	}
	if len(list) != 2 {
		m.at(m.vals["takes"], "two takes, left and right, for example takes: [oboe-1, horn-2]",
			"a pair shows two takes, not %d", len(list))
		return
	}
	names := [2]string{}
	for i, n := range list {
		switch {
		case !isScalar(n) || isEmpty(n):
			m.at(n, "for example takes: [oboe-1, horn-2]", "takes must name takes, not %s", kindOf(n))
			return
		case !who.known["take "+n.Value]:
			m.at(n, m.didYouMean(n.Value, who.takes, "takes"), "there is no take %q", clip(n.Value))
			return
		}
		names[i] = n.Value
	}
	if names[0] == names[1] {
		m.at(list[1], "name another take, or show: solo", "both takes of the pair are %q", clip(names[1]))
	}
	s.Take, s.Other = names[0], names[1]
}

// transition reads how a shot takes over from the one before. Beats are those
// that lead up to the shot, at whatever tempo they have there.
func (m mapping) transition(from production.Time, music *tempo.Map) production.Transition {
	t := production.Transition{Kind: production.Cut}
	if v := m.vals["transition"]; v != nil && isScalar(v) && v.Value == string(production.Cut) {
		return t
	}
	c := m
	if v := m.vals["transition"]; v != nil && isScalar(v) && slices.Contains(production.TransitionKinds.Strings(),
		v.Value) {
		t.Kind, t.Mark = production.TransitionKind(v.Value), markOf(m.file, v)
		c.node, c.vals, c.keys = v, nil, nil
	} else {
		var ok bool
		if c, ok = m.child("transition", transitionShape); !ok {
			return t
		}
		t.Mark = markOf(m.file, c.node)
		if c.need("kind", "cut, dissolve or move") {
			t.Kind = choose(c, "kind", t.Kind)
		}
	}
	beats, inBeats := c.number("beats")
	seconds, inSeconds := c.number("seconds")
	if !c.has("beats") && !c.has("seconds") {
		beats, inBeats = 1, true
	}
	switch {
	case t.Kind == production.Cut:
		if c.has("kind") && (c.has("beats") || c.has("seconds")) {
			c.at(c.node, "kind: dissolve or move, or leave out its length", "a cut has no length")
		}
		return t
	case c.has("beats") && c.has("seconds"):
		c.at(c.keys["seconds"], "keep one of them", "transition has both beats and seconds")
	case from.Edge == production.FilmStart:
		c.at(c.node, "picture: {fade_in: 2} lets the film come out of black",
			"a transition at the film's beginning has no shot before it")
	case inSeconds:
		t.Seconds = seconds
	case inBeats && music != nil:
		t.Seconds = from.Seconds - music.Shift(from.Seconds, -beats)
		if t.Seconds > maxTransition {
			c.at(cmp.Or(c.vals["beats"], c.node), fmt.Sprintf("at most %d seconds", maxTransition),
				"%s beats last %.1f seconds here", decimal(beats), t.Seconds)
		}
	}
	return t
}
