package manifest

import (
	"strconv"
	"strings"

	"go.yaml.in/yaml/v3"

	"ripieno/mix/tempo"
)

// orderExample is a piece whose first eight measures are played twice.
const orderExample = "order: [1-8, 1-16]"

// order writes repeats out: the measures of the page in the order in which
// they are played. Everywhere else in the manifest measures count as played;
// changes and holds stand where the page has them. nil is a piece that cannot be
// played so; the fault is told.
func (m mapping) order(page *tempo.Map) *tempo.Map {
	if !m.has("order") {
		return page
	}
	list := m.vals["order"]
	spans := m.orderSpans(page.Measures())
	if spans == nil {
		return nil
	}
	spans, why := afterPickUp(spans, page.Spec().PickUp > 0)
	if why != "" {
		m.at(list, "for example "+orderExample, "%s", why)
		return nil
	}
	spec, err := page.InOrder(spans...)
	var played *tempo.Map
	if err == nil {
		played, err = tempo.New(spec)
	}
	if err != nil {
		m.at(list, "begin or end a range at another measure", "the piece cannot be played in this order: %v", err)
		return nil
	}
	return played
}

// afterPickUp returns runs of measures without measure 0, which the page has with a
// pick-up alone and which is played before measure 1 in any case; why says what is wrong
// with a measure 0 elsewhere.
func afterPickUp(spans []tempo.Span, pickUp bool) (out []tempo.Span, why string) {
	for i, s := range spans {
		if s.From > 0 {
			out = append(out, s)
			continue
		}
		alone := s.To == 0
		switch {
		case !pickUp:
			return nil, "order has measure 0, and there is no pick-up"
		case i > 0 || alone && (len(spans) == 1 || spans[1].From != 1):
			return nil, "the pick-up, measure 0, is played once, before measure 1"
		case !alone:
			out = append(out, tempo.Span{From: 1, To: s.To})
		}
	}
	return out, ""
}

// orderSpans reads the runs of measures of order, which the page has to have when it
// is known how many it has; nil after a fault.
func (m mapping) orderSpans(measures int) []tempo.Span {
	before := len(m.faults)
	var spans []tempo.Span
	for _, v := range m.list("order", orderExample) {
		if span, ok := orderSpan(v); ok && span.From >= 0 && span.From <= span.To && span.To <= measures {
			spans = append(spans, span)
			continue
		}
		hint := "measures of the page, for example " + orderExample
		// A score is read after its order; until then any measure may be in it.
		if measures < tempo.MaxMeasures {
			hint = "measures of the page, 1 to " + strconv.Itoa(measures) + ", for example " + orderExample
		}
		m.at(v, hint, "%q is not a range of measures", clip(v.Value))
	}
	if len(m.faults) > before {
		return nil
	}
	if len(spans) == 0 {
		m.at(m.vals["order"], "for example "+orderExample, "order has no entries")
	}
	return spans
}

// orderSpan reads 1-8, or 8 for one measure; m1-m8 is the same, and 0 is the pick-up.
func orderSpan(v *yaml.Node) (tempo.Span, bool) {
	if v.Kind != yaml.ScalarNode {
		return tempo.Span{}, false
	}
	from, to, run := strings.Cut(v.Value, "-")
	if !run {
		to = from
	}
	a, errA := strconv.Atoi(strings.TrimPrefix(strings.TrimSpace(from), "m"))
	b, errB := strconv.Atoi(strings.TrimPrefix(strings.TrimSpace(to), "m"))
	return tempo.Span{From: a, To: b}, errA == nil && errB == nil
}
