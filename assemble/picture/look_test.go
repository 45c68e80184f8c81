package picture

import (
	"testing"

	"ripieno/assemble/store"
	"ripieno/layout"
	"ripieno/layout/card"
)

// A drawing whose names look as they always did keeps its key, and one whose names
// look otherwise has another.
func TestLookInKeys(t *testing.T) {
	base := store.NewAction("overlay").Version(pictureRule).Ext(".png")
	for name, c := range map[string]struct {
		look card.LabelLook
		same bool
	}{
		"nothing said":       {card.LabelLook{}, true},
		"a plate, all lower": {card.LabelLook{Style: layout.Plate, Corners: []layout.Corner{layout.BottomLeft}}, true},
		"a shadow":           {card.LabelLook{Style: layout.Shadow}, false},
		"a strip":            {card.LabelLook{Style: layout.Strip}, false},
		"for a telephone":    {card.LabelLook{Screen: card.PhoneCM}, false},
		"another corner":     {card.LabelLook{Corners: []layout.Corner{layout.BottomLeft, layout.TopRight}}, false},
	} {
		if got := lookArg(base, c.look).ID() == base.ID(); got != c.same {
			t.Errorf("%s: the same key: %v", name, got)
		}
	}
}
