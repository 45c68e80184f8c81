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
// changes and holds stand where the page has them.
func (m mapping) order(page *tempo.Map) *tempo.Map {
	if !m.has("order") {
		return page
	}
	list := m.vals["order"]
	if m.has("score") {
		m.at(list, "delete order; the measures of a score are in the order of playing", "a score brings its own order")
		return nil
	}
	before := len(m.faults)
	var spans []tempo.Span
	for _, v := range m.list("order", orderExample) {
		if span, ok := orderSpan(v); ok && span.From >= 1 && span.From <= span.To && span.To <= page.Measures() {
			spans = append(spans, span)
			continue
		}
		m.at(v, "measures of the page, 1 to "+strconv.Itoa(page.Measures())+", for example "+orderExample,
			"%q is not a range of measures", clip(v.Value))
	}
	if len(m.faults) > before {
		return nil
	}
	if len(spans) == 0 {
		m.at(list, "for example "+orderExample, "order has no entries")
		return nil
	}
	spec, err := page.Excerpt(spans...)
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

// orderSpan reads 1-8, or 8 for one measure.
func orderSpan(v *yaml.Node) (tempo.Span, bool) {
	if v.Kind != yaml.ScalarNode {
		return tempo.Span{}, false
	}
	from, to, run := strings.Cut(v.Value, "-")
	if !run {
		to = from
	}
	a, errA := strconv.Atoi(from)
	b, errB := strconv.Atoi(to)
	return tempo.Span{From: a, To: b}, errA == nil && errB == nil
}
