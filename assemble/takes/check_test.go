package takes

import (
	"testing"

	"ripieno/mix/align"
)

// Only a place that leaves no doubt is one.
func TestSettled(t *testing.T) {
	for method, want := range map[align.Method]bool{
		"playing": true, "cue+playing": true, "device": true, "offset given": true, "cue given": true, "cue": false,
	} {
		if (&Recording{Place: align.Placement{Method: method, Sure: true}}).settled() != want || (&Recording{Place: align.Placement{Method: method}}).settled() {
			t.Errorf("%s: settled is not %v when sure, and false else", method, want)
		}
	}
}
