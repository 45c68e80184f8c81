package assemble

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"ripieno/assemble/fault"
	"ripieno/assemble/ffmpeg"
	"ripieno/assemble/progress"
)

const callSheetManifest = retakeManifest + `callsheet:
  language: de
  due: 2031-06-12 20:00
  send_to: takes@example.org
  contact: Mara Voss
  notes: "Mutes on.\nSmile."
  strings: {step-check: "Ruf an, wenn du fertig bist.", step-hold: "Noch {tail} Sekunden sitzen bleiben."}
`

// sheetsOf writes call sheets without ffmpeg, which they do not need.
func sheetsOf(t *testing.T, manifest string, o CallSheetOptions) CallSheetResult {
	t.Helper()
	dir := t.TempDir()
	if err := os.WriteFile(filepath.Join(dir, "production.yaml"), []byte(manifest), 0o666); err != nil {
		t.Fatal(err)
	}
	set := Settings{Dir: dir, Programs: ffmpeg.Options{FFmpeg: "no-such-program"},
		Report: progress.New(nil, progress.Quiet)}
	r, err := CallSheets(t.Context(), set, o)
	if err != nil {
		t.Fatal(fault.Format(err))
	}
	return r
}

func readText(t *testing.T, path string) string {
	t.Helper()
	data, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	return string(data)
}

// Every page says what the manifest says, each take's about its own guide: the
// one all play to begins at 8 s with measure 1, that of the re-take at 8 s
// with measure 5, both with the clap at 4 s.
func TestCallSheets(t *testing.T) {
	t.Parallel()
	m := strings.Replace(callSheetManifest, "mix: {",
		"  - {name: horn, player: Ilse Brandt, part: Horn, guide: again, expected: true}\nmix: {", 1)
	r := sheetsOf(t, m, CallSheetOptions{})
	if len(r.Pages) != 3 || r.Language != "de" ||
		!strings.HasSuffix(r.Pages[2].File, filepath.Join("callsheets", "horn.html")) {
		t.Fatalf("%+v", r)
	}
	common := []string{`<html lang="de">`, "Donnerstag, 12. Juni 2031, 20:00 Uhr", `href="mailto:takes@example.org"`,
		"Mara Voss",
		"Mutes on.<br>Smile.", "Ruf an, wenn du fertig bist.", "Noch 4 Sekunden sitzen bleiben.",
		"<dd class=\"big\">4\u00a0s</dd>", "<dd class=\"big\">8\u00a0s</dd>"}
	for _, c := range []struct {
		path string
		want []string
	}{
		{r.All, []string{"guide.mp3", "<td>horn</td><td>guide-again.mp3</td>", "Takt 1<",
			"D3 ab dem Vorzähler, G3 ab Takt 3."}},
		{r.Pages[0].File, []string{"<dd>oboe</dd>", "guide.mp3"}},
		// drone: off
		{r.Pages[1].File, []string{"guide-together.mp3", "leise unter den Klicks zu hören", "stimmen.</p>"}},
		{r.Pages[2].File, []string{"Ilse Brandt", "guide-again.mp3", "nur die Takte 5 bis 16", "Takt 5<",
			"Halteton in der Klickspur: G3 ab dem Vorzähler."}},
	} {
		page := readText(t, c.path)
		for _, want := range append(c.want, common...) {
			if !strings.Contains(page, want) {
				t.Errorf("%s does not say %q", filepath.Base(c.path), want)
			}
		}
	}
}

func TestCallSheetChoices(t *testing.T) {
	t.Parallel()
	r := sheetsOf(t, callSheetManifest, CallSheetOptions{Only: []string{"cello"}, Language: "it"})
	if len(r.Pages) != 1 || r.Pages[0].Take != "cello" || r.Language != "it" {
		t.Errorf("%+v", r)
	}
	// What the manifest says in its own words stays in its own words.
	if page := readText(t, r.All); !strings.Contains(page, "giovedì 12 giugno 2031") ||
		!strings.Contains(page, "Ruf an") {
		t.Error("the page is not in the language asked for")
	}
	bare := sheetsOf(t, fmt.Sprintf(guideManifest, 0, 100, 8), CallSheetOptions{})
	if page := readText(t, bare.All); len(bare.Pages) != 0 || !strings.Contains(page, "There is no count-in") ||
		strings.Contains(page, "Who plays") {
		t.Errorf("%+v", bare)
	}
}

// The clap on the page is the clap in the file: both verbs agree.
func TestCallSheetAgreesWithTheGuide(t *testing.T) {
	t.Parallel()
	text := fmt.Sprintf(guideManifest, 8, 173, 3) +
		"guide: {variants: [{name: end, from: m2}]}\ntakes: [{name: a, expected: true}, {name: b, guide: end, " +
		"expected: true}]\n"
	findTool(t)
	p := openTest(t, t.TempDir(), text)
	g := makeGuide(t, p)
	r, err := CallSheets(t.Context(), Settings{Dir: p.Manifest().Dir, Report: progress.New(nil, progress.Quiet)},
		CallSheetOptions{})
	if err != nil {
		t.Fatal(err)
	}
	for i, file := range []GuideFile{g.GuideFile, g.Variants[0]} {
		page := readText(t, r.Pages[i].File)
		for _, want := range []string{
			fmt.Sprintf("<dd class=\"big\">%.2f\u00a0s</dd><dd>count-in measure %d, beat %d</dd>", *file.CueAt,
				file.CueMeasure, file.CueBeat),
			fmt.Sprintf("<dd class=\"big\">%s\u00a0s</dd>", strings.TrimRight(fmt.Sprintf("%.2f", file.StartsAt), "0")),
			filepath.Base(file.MP3), filepath.Base(file.WAV),
		} {
			if !strings.Contains(page, want) {
				t.Errorf("%s does not say %q", r.Pages[i].File, want)
			}
		}
	}
}
