package takes

import (
	"testing"

	"ripieno/assemble/production"
	"ripieno/mix/tempo/score"
)

// A take whose part is called otherwise in the score has no score, and two
// parts of a name are nobody's.
func TestScorePart(t *testing.T) {
	man := &production.Production{Score: &score.Score{Parts: []score.Part{{Name: "Oboe"}, {Name: "Horn"}}}}
	for name, want := range map[string]bool{"Oboe": true, " OBOE. ": true, "Oboe 2": false, "": false, "…": false} {
		if got := scorePart(man, name) != nil; got != want {
			t.Errorf("%q has a part: %v", name, got)
		}
	}
	man.Score.Parts = append(man.Score.Parts, man.Score.Parts[0])
	if scorePart(man, "Oboe") != nil {
		t.Error("two parts called oboe, and one was taken")
	}
	man.Score = nil
	if scorePart(man, "Oboe") != nil {
		t.Error("a part without a score")
	}
}
