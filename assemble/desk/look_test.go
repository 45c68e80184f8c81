package desk_test

import (
	"fmt"
	"os"
	"regexp"
	"strings"
	"testing"

	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"
)

// accessible checks the open room in light and dark, from a telephone's width up, by what
// is seen, by the browser's own tree for screen readers, and by the tab key.
func (b *tab) accessible(room string) {
	b.t.Helper()
	for _, width := range []int64{320, 768, 1280} {
		run(b, chromedp.EmulateViewport(width, 900))
		if bad := b.Audit(); len(bad) > 0 {
			b.t.Errorf("%s at %d: %s", room, width, strings.Join(bad, "\n"))
		}
		for _, scheme := range []string{"light", "dark"} {
			b.scheme(scheme)
			if c := b.MeasureText(); len(c.Bad) > 0 || c.Texts < 20 || c.Small < 11.5 {
				b.t.Errorf("%s at %d, %s: %d texts, letters of %.1f px, %q", room, width, scheme, c.Texts, c.Small,
					c.Bad)
			}
			b.shot(fmt.Sprintf("%s-%d-%s.png", room, width, scheme))
		}
	}
	b.scheme("light")
	b.names(room)
	if bad, n := b.Walk(); len(bad) > 0 || n < 8 {
		b.t.Errorf("%s: of %d controls: %s", room, n, strings.Join(bad, "\n"))
	}
}

// inBoth checks the contrast of what is open in light and in dark.
func (b *tab) inBoth(what string) {
	b.t.Helper()
	for _, scheme := range []string{"dark", "light"} {
		b.scheme(scheme)
		if c := b.MeasureText(); len(c.Bad) > 0 {
			b.t.Errorf("%s, %s: %q", what, scheme, c.Bad)
		}
		b.shot(what + "-" + scheme + ".png")
	}
}

// names checks what a screen reader is told of the open room.
func (b *tab) names(room string) {
	b.t.Helper()
	bad, roles := b.Names()
	if len(bad) > 0 {
		b.t.Errorf("%s: %s", room, strings.Join(bad, "\n"))
	}
	for role, least := range map[string]int{"main": 1, "banner": 1, "navigation": 1, "status": 1, "link": 6,
		"button":  5,
		"heading": 2, "region": 1} {
		if roles[role] < least {
			b.t.Errorf("%s: %d of role %s, want %d: %v", room, roles[role], role, least, roles)
		}
	}
}

// TestRoomsForEverybody: each room by its looks, its names and the tab key.
func TestRoomsForEverybody(t *testing.T) {
	b := openDesk(t, writeRound(t))
	b.placed()
	b.Until(`document.querySelector("#sheet").dataset.drawn`)
	b.accessible("place")
	eval[bool](b, `location.hash = "mix", true`)
	b.Until(`document.querySelectorAll(".strip").length === 5 && document.getElementById("job").hidden`)
	b.accessible("mix")
	eval[bool](b, `location.hash = "picture", true`)
	b.Until(`document.querySelectorAll(".films figure").length === 3 && document.getElementById("job").hidden`)
	b.accessible("picture")
	b.Press("?")
	b.Until(`document.getElementById("keys").open`)
	b.inBoth("keys")
	if bad, roles := b.Names(); len(bad) > 0 || roles["dialog"] != 1 || roles["term"] < 10 {
		t.Errorf("keys: %q, %v", bad, roles)
	}
	b.Press(kb.Escape)
	b.Until(`!document.getElementById("keys").open`)
	b.quiet()
}

// TestColoursAreNamed: no colour stands outside the palettes, and those of the pages
// of package report, which the desk shares, are the same there.
func TestColoursAreNamed(t *testing.T) {
	read := func(path string) string {
		data, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		return string(data)
	}
	colour := regexp.MustCompile(`--([a-z-]+): (#[0-9a-f]{6,8});`)
	palettes := func(css string) (list []map[string]string) {
		for _, part := range strings.Split(css, ":root {")[1:] {
			body, _, _ := strings.Cut(part, "}")
			p := map[string]string{}
			for _, m := range colour.FindAllStringSubmatch(body, -1) {
				p[m[1]] = m[2]
			}
			list = append(list, p)
		}
		return list
	}
	css := read("page/desk.css")
	ours, theirs := palettes(css), palettes(read("../report/pages/style.css"))
	if len(ours) != 2 || len(theirs) != 3 {
		t.Fatalf("%d and %d palettes", len(ours), len(theirs))
	}
	for i, p := range ours {
		for name, value := range p {
			if other, shared := theirs[i][name]; shared && other != value {
				t.Errorf("%s is %s here and %s in the report", name, value, other)
			}
			if ours[1-i][name] == "" {
				t.Errorf("%s is in one palette alone", name)
			}
		}
	}
	rest := colour.ReplaceAllString(css, "")
	if m := regexp.MustCompile(`(?m)#[0-9a-f]{3,8}\b|rgba?\(|hsl`).FindString(rest); m != "" {
		t.Errorf("colour %s outside the palettes", m)
	}
	for _, name := range []string{"main", "place", "takes", "mix", "picture", "review", "tour", "grip", "wave", "dom",
		"sound", "shots", "strip", "mixer", "held", "transport"} {
		if m := regexp.MustCompile(`#[0-9a-f]{6}\b|rgba?\(`).FindString(read("page/" + name + ".js")); m != "" {
			t.Errorf("colour %s in %s.js", m, name)
		}
	}
}
