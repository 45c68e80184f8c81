package manifest

import (
	"strings"
	"testing"
)

// TestDeliverablesStayApart: no deliverable is written over another, or over
// what is named after one.
func TestDeliverablesStayApart(t *testing.T) {
	const head = "version: 1\ntitle: Small Round\ntempo: {changes: [{measure: 1, meter: 4/4, bpm: 120}], measures: 8}\n" +
		"guide: {variants: [{name: slow, from: m5}]}\n"
	for _, c := range []struct {
		deliver, want string // a part of the fault, "" for none
	}{
		{"{name: rough, canvas: 320x180}",
			`5:18: deliverable "rough" would be written to rough.mp4, which is the rough cut of "rough"`},
		{"{name: Rough, canvas: 320x180}", `deliverable "Rough" would be written to`},
		{"{name: final, canvas: 320x180}, {name: rough, canvas: 320x180}",
			`deliverable "rough" would be written to rough.mp4, which is the rough cut of "final"`},
		{"{name: final, canvas: 320x180}, {name: tall, canvas: 180x320}, {name: ROUGH-tall, canvas: 180x320}",
			"which is the rough cut of \"tall\""},
		{"{name: final, canvas: 320x180}, {name: rough-tall, canvas: 180x320}, {name: tall, canvas: 180x320}",
			"which is the rough cut of \"tall\""},
		{"{name: a, canvas: 320x180, poster: m1}, {name: a-poster, canvas: 320x180}", ""},
		{"{name: grid-a, canvas: 320x180, poster: m1}, {name: a-poster, canvas: 320x180}", "which is the poster of"},
		{"{name: final, canvas: 320x180}, {name: FINAL, canvas: 320x180}",
			`5:50: deliverable "FINAL" differs from another only in capitals`},
		{"{name: final, canvas: 320x180}, {name: rough-cut, canvas: 180x320}, {name: roughly, canvas: 320x180}", ""},
		{"{name: crops-a, canvas: 320x180, poster: m1}, {name: a-poster, canvas: 320x180}", "which is the poster of"},
		{"{name: Guide, canvas: 320x180}", `"Guide" would be written to Guide.mp4, which is a guide to look at`},
		{"{name: final, canvas: 320x180}, {name: guide-SLOW, canvas: 320x180}", "which is a guide to look at"},
		{"{name: guide-fast, canvas: 320x180}", ""},
		{"{name: master, canvas: 320x180}, {name: sync, canvas: 180x320}", ""},
	} {
		_, err := Parse("production.yaml", []byte(head+"deliver: ["+c.deliver+"]\n"))
		switch {
		case c.want == "" && err != nil:
			t.Errorf("%s: %v", c.deliver, err)
		case c.want != "" && (err == nil || !strings.Contains(err.Error(), c.want)):
			t.Errorf("%s: got %v, want %s", c.deliver, err, c.want)
		case err != nil && strings.Count(err.Error(), "\n") > 0:
			t.Errorf("%s: more than one fault:\n%v", c.deliver, err)
		}
	}
}
