package assemble

import (
	"path/filepath"
	"slices"
	"strings"
	"testing"
)

// runs returns the tasks of a stage that a run would make, by their names.
func runs(t *testing.T, p *Production, stage string) (list []string) {
	t.Helper()
	r, err := p.Plan(t.Context(), RenderOptions{})
	if err != nil {
		t.Fatal(err)
	}
	for _, task := range r.Tasks {
		if task.Stage == stage && task.Runs {
			list = append(list, task.Name)
		}
	}
	return list
}

// TestWhatIsDecodedAgain changes a finished production in every way that the
// picture goes by, and counts the originals that would be opened again.
func TestWhatIsDecodedAgain(t *testing.T) {
	t.Parallel()
	tool := findTool(t)
	dir := t.TempDir()
	takes := cast()
	for i := range takes {
		takes[i].write(t, tool, dir)
	}
	writePings(t, filepath.Join(dir, "intake", "late.wav"), 12, []ping{{5, 440, 0.4}})
	const shots = "shots: [{from: start, show: tutti}, {from: m2, show: solo, take: take-2}]\n"
	// Four tiles have less than half of the takes' size.
	text := strings.Replace(manifestOf(takes, ""), "canvas: 640x360", "canvas: 320x180", 1) + shots
	p := openTest(t, dir, text)
	if _, err := p.Render(t.Context(), RenderOptions{}); err != nil {
		t.Fatal(err)
	}
	if list := runs(t, p, "conform"); len(list) > 0 {
		t.Fatalf("the second run decodes %q", list)
	}
	if err := p.Close(); err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		what, old, new string
		decoded        []string
		composed       bool
	}{
		{"another player's solo", "take: take-2}", "take: take-3}", []string{"take-3"}, true},
		{"an earlier solo", "m2, show: solo", "m1.3, show: solo", nil, true},
		{"no solo", shots, "", nil, true},
		{"a title", "{from: start, show: tutti}", "{from: start, show: card, text: title}, {from: m1, show: tutti}",
			nil, true},
		{"the soloist among the others", "take: take-2}", "take: take-2, others: around}", []string{"take-2"}, true},
		{"two side by side", "show: solo, take: take-2}", "show: pair, takes: [take-1, take-4]}", nil, true},
		{"a move", "take: take-2}", "take: take-2, transition: {kind: move, beats: 1}}", nil, true},
		{"names", "labels: false", "labels: true", nil, true},
		{"another name", "player: Player 3", "player: Ada", nil, false},
		{"other seats", "{name: take-1, ", "{name: take-1, seat: 4, ", nil, true},
		{"a wider gutter", "gutter: 6", "gutter: 18", nil, true},
		{"another background", "#204060", "#602040", nil, true},
		{"a trim", "{name: take-1, ", "{name: take-1, trim: {from: m1}, ", nil, true},
		{"a crop that enlarges nothing", "{name: take-1, ", "{name: take-1, crop: {x: 0.4}, ", nil, false},
		{"a fade", "labels: false", "labels: false, fade_in: 0.5", nil, true},
		{"a gain", "{name: take-1, ", "{name: take-1, gain: -3, ", nil, false},
		{"a canvas whose tiles are no larger", "canvas: 320x180", "canvas: 300x168", nil, true},
		{"one take moved", "offset: -2.517", "offset: -2.5", []string{"take-1"}, true},
		// A finished film has no tile for a take that is not in, and one for a take that is.
		{"a take more that is not in", "takes:\n",
			"seats: 4\ntakes:\n  - {name: late, part: Late, expected: true}\n", nil, false},
		{"a take more, without a seat kept for it", "takes:\n", "seats: 4\ntakes:\n" +
			"  - {name: late, part: Late, audio: {file: intake/late.wav, offset: 0, drift_ppm: 0}}\n", nil, true},
	} {
		changed := strings.Replace(text, c.old, c.new, 1)
		if changed == text {
			t.Fatalf("%s: %q is not in the manifest", c.what, c.old)
		}
		if strings.Contains(c.new, "seats: 4") {
			for i := range takes {
				n := string(rune('1' + i))
				changed = strings.Replace(changed, "{name: take-"+n+", ", "{name: take-"+n+", seat: "+n+", ", 1)
			}
		}
		p := openTest(t, dir, changed)
		if got := runs(t, p, "conform"); !slices.Equal(got, c.decoded) {
			t.Errorf("%s: %q are decoded again, want %q", c.what, got, c.decoded)
		}
		if got := runs(t, p, "compose"); (len(got) > 0) != c.composed {
			t.Errorf("%s: %q are composed again", c.what, got)
		}
		if err := p.Close(); err != nil {
			t.Fatal(err)
		}
	}
}
