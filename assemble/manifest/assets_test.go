package manifest

import (
	"strings"
	"testing"
)

// TestAssets finds every file of a manifest that is not a take.
func TestAssets(t *testing.T) {
	p, err := Parse("production.yaml", []byte(head+
		`takes: [{name: a, expected: true, fit: fit, behind: art/wall.PNG}, {name: b, expected: true, fit: fit, behind: blur}]
picture: {font: [f/a.ttf, f/b.otf], background: art/hall.jpeg}
mix: {room: 0.2, impulse: rooms/church.wav}
`))
	if err != nil {
		t.Fatal(err)
	}
	var got []string
	for _, a := range p.Assets() {
		got = append(got, a.Path)
		if a.Mark.Line < 4 || a.Mark.Column < 10 {
			t.Errorf("%s is at %+v", a.Path, a.Mark)
		}
	}
	if want := "f/a.ttf f/b.otf art/hall.jpeg rooms/church.wav art/wall.PNG"; strings.Join(got, " ") != want {
		t.Errorf("got %q, want %s", got, want)
	}
	if b := p.Takes[1]; b.Behind != "blur" || b.Backing != nil || p.Takes[0].Behind == "blur" ||
		p.Picture.Background != "#14161a" {
		t.Errorf("%+v, %+v", p.Takes, p.Picture)
	}
}
