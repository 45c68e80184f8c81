package report

import (
	"fmt"
	"math"
	"regexp"
	"strings"
	"testing"
)

// luminance returns the relative luminance of #rrggbb (WCAG 2.1).
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

// contrast returns the contrast ratio of two colours (WCAG 2.1).
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
// has 4.5 to 1 (WCAG 2.1 level AA for text of any size), and what only marks
// something 3 to 1 (1.4.11); the calm step of the strip of timing says nothing
// and may be fainter. The headless browser checks what the page really shows;
// this names the pair that is wrong.
func TestPaletteContrast(t *testing.T) {
	palettes := map[string]map[string]string{}
	for _, file := range []string{"style.css", "report.css"} {
		css := readEmbedded(file)
		colour := regexp.MustCompile(`--([a-z-]+): (#[0-9a-f]{6});`)
		parts := strings.Split(css, ":root {")[1:]
		if len(parts) != 3 {
			t.Fatalf("%s has %d palettes, want light, dark and print", file, len(parts))
		}
		for i, name := range []string{"light", "dark", "print"} {
			body, _, _ := strings.Cut(parts[i], "}")
			if palettes[name] == nil {
				palettes[name] = map[string]string{}
			}
			found := colour.FindAllStringSubmatch(body, -1)
			for _, m := range found {
				palettes[name][m[1]] = m[2]
			}
			if len(found) != map[string]int{"style.css": 10, "report.css": 10}[file] {
				t.Errorf("%s has %d colours in %s", name, len(found), file)
			}
		}
		// No colour stands outside the palettes, where no test would see it.
		rest := colour.ReplaceAllString(css, "")
		if m := regexp.MustCompile(`#[0-9a-fA-F]{3,8}\b|rgba?\(|hsl`).FindString(
			strings.ReplaceAll(rest, "#narrow", "")); m != "" && m != "#ba" {
			t.Errorf("colour %s outside the palettes of %s", m, file)
		}
	}
	for name, p := range palettes {
		least := math.Inf(1)
		for _, pair := range [][2]string{
			{"ink", "paper"}, {"soft", "paper"}, {"accent", "paper"}, {"ink", "plate"}, {"soft", "plate"},
			{"on-cue", "cue"}, {"on-play", "play"},
			{"ask", "paper"}, {"redo", "paper"}, {"missing", "paper"}, {"ink", "field"}, {"accent", "field"},
		} {
			got := contrast(t, p[pair[0]], p[pair[1]])
			least = min(least, got)
			if got < 4.5 {
				t.Errorf("%s: %s on %s is %.2f to 1", name, pair[0], pair[1], got)
			}
		}
		for _, mark := range []string{"wave", "wide", "far"} {
			if got := contrast(t, p[mark], p["paper"]); got < 3 {
				t.Errorf("%s: %s is %.2f to 1", name, mark, got)
			}
		}
		t.Logf("%s: least contrast of text %.2f to 1", name, least)
	}
}
