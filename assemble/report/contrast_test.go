package report

import (
	"fmt"
	"math"
	"os"
	"regexp"
	"strings"
	"testing"
)

// luminance is the relative luminance of #rrggbb (WCAG 2.1).
func luminance(t testing.TB, colour string) float64 {
	t.Helper()
	var c [3]uint8
	if _, err := fmt.Sscanf(colour, "#%02x%02x%02x", &c[0], &c[1], &c[2]); err != nil {
		t.Fatalf("%q: %v", colour, err)
	}
	weights := [3]float64{0.2126, 0.7152, 0.0722}
	sum := 0.0
	for i, v := range c {
		x := float64(v) / 255
		if x <= 0.04045 {
			x /= 12.92
		} else {
			x = math.Pow((x+0.055)/1.055, 2.4)
		}
		sum += weights[i] * x
	}
	return sum
}

// contrast is the contrast ratio of two colours (WCAG 2.1).
func contrast(t testing.TB, a, b string) float64 {
	la, lb := luminance(t, a), luminance(t, b)
	return (max(la, lb) + 0.05) / (min(la, lb) + 0.05)
}

// The formula against published ratios: #767676 on white passes level AA by a
// hair and #777777 fails it.
func TestContrastFormula(t *testing.T) {
	for _, c := range []struct {
		a, b string
		want float64
	}{{"#000000", "#ffffff", 21}, {"#767676", "#ffffff", 4.5422}, {"#777777", "#ffffff", 4.4781}} {
		if got := contrast(t, c.a, c.b); math.Abs(got-c.want) > 5e-5 {
			t.Errorf("%s on %s: %.4f, want %.4f", c.a, c.b, got, c.want)
		}
	}
}

// Every text colour on every ground it is used on, light, dark and printed,
// has 4.5 to 1 (WCAG 2.1 level AA for text of any size). The headless browser
// checks what the page really shows; this names the pair that is wrong.
func TestPaletteContrast(t *testing.T) {
	css, err := os.ReadFile("pages/style.css")
	if err != nil {
		t.Fatal(err)
	}
	colour := regexp.MustCompile(`--([a-z-]+): (#[0-9a-f]{6});`)
	palettes := strings.Split(string(css), ":root {")[1:]
	if len(palettes) != 3 {
		t.Fatalf("%d palettes, want light, dark and print", len(palettes))
	}
	for i, name := range []string{"light", "dark", "print"} {
		body, _, _ := strings.Cut(palettes[i], "}")
		p := map[string]string{}
		for _, m := range colour.FindAllStringSubmatch(body, -1) {
			p[m[1]] = m[2]
		}
		if len(p) != 10 {
			t.Errorf("%s has %d colours", name, len(p))
		}
		least := math.Inf(1)
		for _, pair := range [][2]string{
			{"ink", "paper"}, {"soft", "paper"}, {"accent", "paper"}, {"ink", "plate"}, {"on-cue", "cue"}, {"on-play", "play"},
		} {
			got := contrast(t, p[pair[0]], p[pair[1]])
			least = min(least, got)
			if got < 4.5 {
				t.Errorf("%s: %s on %s is %.2f to 1", name, pair[0], pair[1], got)
			}
		}
		t.Logf("%s: least contrast %.2f to 1", name, least)
	}
	// No colour stands outside the palettes, where no test would see it.
	rest := colour.ReplaceAllString(string(css), "")
	if m := regexp.MustCompile(`#[0-9a-fA-F]{3,8}\b|rgba?\(|hsl`).FindString(rest); m != "" {
		t.Errorf("colour %s outside the palettes", m)
	}
}
