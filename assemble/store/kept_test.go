package store

import "testing"

// kept is an argument of every kind that a key can hold.
type kept struct {
	W, H   int
	Rate   float64
	Names  []string
	On     bool
	Of     map[string]float32
	Next   *kept
	hidden uint8
}

// TestKeysStay: what earlier programs stored is found again. The keys are those of the
// program as it was before its rooms had walls, which is where they were taken from: a
// change of how keys are written would make everything anew, in every production.
func TestKeysStay(t *testing.T) {
	all := NewAction("rule").Version(7).Arg("all", kept{W: 1, H: -2, Rate: 0.1, Names: []string{"a", "b c"}, On: true,
		Of: map[string]float32{"x": 1.5, "é": 2}, Next: &kept{hidden: 3}}).
		Input("take", HashBytes([]byte("take"))).Files("sound.wav", "account.gob").For("oboe").Estimate(2)
	for name, c := range map[string]struct {
		a    Action
		want string
	}{
		"plain": {NewAction("probe").Arg("limits", "4 h").Ext(".gob"),
			"e2af303aca236f937ec6bb123a3b5f1250106fede278b30ace0cf302ff8d0fb7"},
		"all": {all, "7f8c4513ff399ea6573ffae60b8ae3d707712afaa4da8014b09270f481395312"},
	} {
		if err := c.a.Err(); err != nil {
			t.Fatal(err)
		}
		if got := c.a.ID().String(); got != c.want {
			t.Errorf("%s: the key is %s, want %s", name, got, c.want)
		}
	}
}
