package assemble

import (
	"bytes"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"ripieno/assemble/fault"
	"ripieno/assemble/ffmpeg"
)

// plain is a take of one colour and one tone.
type plain struct {
	name, colour string
	hz           int
	keys         string
}

func (p plain) write(t *testing.T, tool *ffmpeg.Tool, dir string) {
	t.Helper()
	run(t, tool, command(new(bytes.Buffer), "-f", "lavfi", "-i", "color="+p.colour+":size=90x160:rate=30:duration=7",
		"-f", "lavfi", "-i", fmt.Sprintf("sine=frequency=%d:duration=7:sample_rate=48000", p.hz),
		"-pix_fmt", "yuv420p", "-c:v", "libx264", "-preset", "ultrafast", "-c:a", "aac", "-y",
		"file:"+filepath.Join(dir, "intake", p.name+".mp4")))
}

// releaseCast returns who plays in these tests: one who agreed, one who wants to be
// heard only, one who wants neither.
func releaseCast(seen, heard, neither string) (string, []plain) {
	cast := []plain{
		{"seen", "0x10a010", 500, seen},
		{"heard", "0xd01010", 1000, heard + ", fit: fit, behind: blur"},
		{"neither", "0x1010d0", 2000, neither + ", crop: auto"},
	}
	var list strings.Builder
	for i, p := range cast {
		fmt.Fprintf(&list, "  - {name: %s, player: Player %d, part: Part %d, video: {file: intake/%s.mp4, offset: "+
			"2.5}%s}\n", p.name, i, i, p.name, p.keys)
	}
	text := strings.Replace(fmt.Sprintf(testManifest, list.String()), "release: yes\n", "", 1)
	text = strings.Replace(text, "canvas: 640x360", "canvas: 320x180, poster: m1.3", 1)
	text = strings.Replace(text, "#204060", "#202020", 1)
	return text + "shots: [{from: start, show: solo, take: heard}, {from: m1, show: solo, take: neither}, {from: " +
		"m1.3, show: tutti, transition: {kind: move, seconds: 0.3}}]\n", cast
}

// most returns the largest share of an output's picture that has one of the colours
// of the cast: of any frame of a film, or of a drawing.
func most(t *testing.T, tool *ffmpeg.Tool, path string) (green, red, blue float64) {
	t.Helper()
	var pix bytes.Buffer
	run(t, tool, ffmpeg.Command{Args: []string{"-i", path, "-vf", "scale=160:90:flags=area", "-f", "rawvideo",
		"-pix_fmt", "rgb24", "pipe:1"}, Stdout: &pix})
	for raw := pix.Bytes(); len(raw) >= 160*90*3; raw = raw[160*90*3:] {
		var n [3]int
		for i := 0; i < 160*90*3; i += 3 {
			for c := range n {
				v, a, b := int(raw[i+c]), int(raw[i+(c+1)%3]), int(raw[i+(c+2)%3])
				if v-a > 35 && v-b > 35 {
					n[c]++
				}
			}
		}
		red, green, blue = max(red, float64(n[0])/14400), max(green, float64(n[1])/14400), max(blue,
			float64(n[2])/14400)
	}
	return green, red, blue
}

// level returns that of a frequency in the middle of a film, by correlation.
func (f film) level(hz int) float64 {
	mono := make([]float64, len(f.sound)/2)
	for i := range mono {
		mono[i] = f.sound[2*i] + f.sound[2*i+1]
	}
	return tone(mono, 3, float64(hz))
}

// everything makes every output there is and lists films and drawings.
func everything(t *testing.T, p *Production) []string {
	t.Helper()
	if _, err := p.Render(t.Context(), RenderOptions{Rough: true}); err != nil {
		t.Fatal(err)
	}
	if _, err := p.Render(t.Context(), RenderOptions{AllowMissingRelease: true}); err != nil {
		t.Fatal(err)
	}
	if _, err := p.Sheet(t.Context()); err != nil {
		t.Fatal(err)
	}
	var list []string
	for _, name := range []string{"rough.mp4", "final.mp4", "final-poster.png", "grid-final.png", "sheet-final.png"} {
		path := filepath.Join(p.Settings().Out, name)
		if _, err := os.Stat(path); err != nil {
			t.Fatal(err)
		}
		list = append(list, path)
	}
	return list
}

// TestNothingIsShownThatIsNotReleased looks for the colour of a player who
// released the sound only, and for colour and tone of one who released
// nothing, in all that is made; and finds them where all have agreed.
func TestNothingIsShownThatIsNotReleased(t *testing.T) {
	t.Parallel()
	tool := findTool(t)
	dir := t.TempDir()
	if err := os.Mkdir(filepath.Join(dir, "intake"), 0o777); err != nil {
		t.Fatal(err)
	}
	text, cast := releaseCast("", "", "")
	for _, c := range cast {
		c.write(t, tool, dir)
	}
	open := func(text string) *Production {
		p := openTest(t, dir, text)
		t.Cleanup(func() { p.Close() })
		return p
	}
	p := open(text) // nothing is written down
	for i, path := range everything(t, p) {
		green, red, blue := most(t, tool, path)
		if i != 3 && i != 2 && min(green, red, blue) < 0.01 { // a plan has no pictures, the poster one moment
			t.Errorf("%s: colours %.3f %.3f %.3f: the test would see nothing", filepath.Base(path), green, red, blue)
		}
	}
	loud := decodeFilm(t, tool, filepath.Join(p.Settings().Out, "final.mp4"), 320, 180)
	p.Close()
	text, _ = releaseCast(", release: yes", ", release: audio-only", ", release: no")
	p = open(text)
	for i, path := range everything(t, p) {
		green, red, blue := most(t, tool, path)
		if i != 3 && green < 0.01 {
			t.Errorf("%s: the player who agreed is not there", filepath.Base(path))
		}
		if red > 0 || blue > 0 {
			t.Errorf("%s: %.4f of a frame shows who is to be heard only, %.4f who is to be neither",
				filepath.Base(path), red, blue)
		}
	}
	f := decodeFilm(t, tool, filepath.Join(p.Settings().Out, "final.mp4"), 320, 180)
	for _, c := range cast {
		was, is := loud.level(c.hz), f.level(c.hz)
		if gone := is < was/1000; gone != (c.name == "neither") {
			t.Errorf("the tone of %q is at %.5f, with everybody's release at %.5f", c.name, is, was)
		}
	}
}

// TestTheFinalWaitsForReleases: all takes without one are told at once, and
// nothing is begun.
func TestTheFinalWaitsForReleases(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	text, _ := releaseCast("", "", ", release: no")
	p := openTest(t, dir, text)
	r, err := p.Render(t.Context(), RenderOptions{})
	var list fault.List
	if !errors.As(err, &list) || len(list) != 3 {
		t.Fatalf("%v", err)
	}
	for _, f := range list {
		if f.Kind != fault.Decision {
			t.Errorf("%v is of kind %v", f, f.Kind)
		}
	}
	if what := list[0].What; !strings.Contains(what, `2 of 3 takes: "seen" (Player 0), "heard" (Player 1)`) {
		t.Errorf("it says %s", what)
	}
	if len(r.Releases) != 2 || len(r.Films) != 0 {
		t.Errorf("result %+v", r)
	}
	if entries, _ := os.ReadDir(p.Settings().Out); len(entries) > 0 {
		t.Errorf("there is %v in out", entries)
	}
}
