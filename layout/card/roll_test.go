package card

import (
	"bytes"
	"strings"
	"testing"
	"time"

	"ripieno/layout"
)

// TestRollInPieces: whatever stretch of a roll is drawn, its rows are those of
// the whole, nothing is cut at its ends, and it is empty beyond them.
func TestRollInPieces(t *testing.T) {
	o := CreditsOptions{Background: dark, Title: "The Lamplighter's Round", Credits: roll(30)}
	r, err := NewRoll(small, o, 1.2)
	if err != nil {
		t.Fatal(err)
	}
	whole := r.Draw(-40, r.Height+80)
	b := bounds(whole, whole.NRGBAAt(0, 0))
	if b.Min.Y < 40 || b.Max.Y > r.Height+41 || b.Min.X < 2 || b.Max.X > small.W-2 {
		t.Errorf("letters at %v of a roll of %d rows", b, r.Height)
	}
	for top := -40; top < r.Height; top += 97 {
		height := min(150, r.Height+40-top)
		part := r.Draw(top, height)
		at := whole.PixOffset(0, top+40)
		if !bytes.Equal(part.Pix, whole.Pix[at:at+len(part.Pix)]) {
			t.Errorf("rows %d to %d differ from the whole", top, top+height)
		}
	}
	wider, err := NewRoll(small, o, 1.8)
	if err != nil || wider.Height <= r.Height {
		t.Errorf("spread, the roll has %d rows, before %d; %v", wider.Height, r.Height, err)
	}
	for _, p := range whole.Pix[:4*small.W] {
		if p != 0 {
			t.Fatal("the roll is not transparent between its letters")
		}
	}
}

func TestRollRefuses(t *testing.T) {
	for _, tt := range []struct {
		c       layout.Canvas
		credits []Credit
		stretch float64
		want    string
	}{
		{layout.Canvas{W: 3, H: 3}, nil, 1, "canvas"},
		{small, nil, 0.5, "stretch: 0.5"},
		{small, []Credit{{"", "Oboe", "שרה"}}, 1, "no font can draw"},
	} {
		if _, err := NewRoll(tt.c, CreditsOptions{Credits: tt.credits}, tt.stretch); err == nil ||
			!strings.Contains(err.Error(), tt.want) {
			t.Errorf("got %v, want %s", err, tt.want)
		}
	}
}

// BenchmarkRoll500 draws ten seconds of a roll of 500 players at full HD.
func BenchmarkRoll500(b *testing.B) {
	r, err := NewRoll(layout.Canvas{W: 1920, H: 1080}, CreditsOptions{Background: dark, Credits: roll(500)}, 1)
	if err != nil {
		b.Fatal(err)
	}
	for b.Loop() {
		r.Draw(5000, 1080+int(10*time.Second/(time.Second/30))*3)
	}
}
