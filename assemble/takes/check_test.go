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
		if (&Recording{Place: align.Placement{Method: method, Sure: true}}).isSettled() != want ||
			(&Recording{Place: align.Placement{Method: method}}).isSettled() {
			t.Errorf("%s: settled is not %v when sure, and false else", method, want)
		}
	}
}
