package assemble

import (
	"fmt"
	"strings"
	"testing"

	"ripieno/assemble/ffmpeg"
)

// realFile is a take as some camera, phone or browser writes it.
type realFile struct {
	name   string
	rate   string // of the picture, in the stream's own header
	size   string
	pixels string
	offset float64
	args   []string // of the second pass, which copies the picture
}

func (f realFile) write(t *testing.T, s short) {
	t.Helper()
	first := s.file("first-" + f.name + ".mp4")
	run(t, s.tool, ffmpeg.Command{Args: []string{"-f", "lavfi", "-i", "testsrc2=s=" + f.size + ":r=" + f.rate + ":d=3",
		"-vf", "setsar=" + f.pixels + ":max=2000", "-c:v", "libx264", "-preset", "ultrafast", "-bf", "2", "-pix_fmt",
		"yuv420p", "-threads", "1",
		"-colorspace", "bt709", "-color_trc", "bt709", "-color_primaries", "bt709", "-y", first}})
	args := append([]string{"-i", first, "-c", "copy"}, f.args...)
	run(t, s.tool, ffmpeg.Command{Args: append(args, "-y", s.file(f.name))})
}

// TestRealFilesKeepTheirPicture holds files of a kind that cameras and phones
// write against a film of one second: each has its picture in it, to the end.
func TestRealFilesKeepTheirPicture(t *testing.T) {
	t.Parallel()
	slow := func(from, to string) []string {
		return []string{"-bsf:v", "setts=pts=PTS*" + from + "/" + to + ":dts=DTS*" + from + "/" + to + ":duration=1/" +
			to + "/TB"}
	}
	files := []realFile{
		{"phone-854.mp4", "24", "854x480", "1280/1281", 0, nil}, // displayed 853 wide
		{"dv-wide.mp4", "24", "720x480", "32/27", 0, nil},       // 853
		{"dv-anamorphic.mp4", "24", "720x480", "40/33", 0, nil}, // 873
		// In the dark a phone writes few frames; the header of its H.264 goes on
		// telling of more. The takes end half a second before the film does.
		{"dark-8.8.mp4", "60", "320x240", "1/1", 1.5 - 180/8.8, slow("60", "8.8")},
		{"dark-5.mp4", "60", "320x240", "1/1", 1.5 - 180/5, slow("60", "5")},
	}
	s, takes := newShort(t), ""
	for i, f := range files {
		f.write(t, s)
		for k := range 3 { // within a frame of the film
			takes += fmt.Sprintf("  - {name: take-%d-%d, video: {file: intake/%s, offset: %.4f}}\n", i, k, f.name,
				f.offset+float64(k)/72)
		}
	}
	film := s.film(t, takes, "aspect: 16:9", 640, 360)
	for i := range film.tiles {
		// The background is one colour; a test picture is none.
		if y := film.middle(2, i, 0.5, 0.5); y == film.middle(2, i, 0.3, 0.25) {
			t.Errorf("the picture of %s is missing: %v", film.tiles[i].Take, y)
		}
	}
	if len(film.tiles) != 3*len(files) {
		t.Errorf("%d tiles", len(film.tiles))
	}
}

// TestOutsideReferencesNameTheFile films a QuickTime movie whose tracks lie in other
// files, as an editing program writes it, beside a take that is whole. The fault
// names the file, says why and what to do, and the other take is in the film.
func TestOutsideReferencesNameTheFile(t *testing.T) {
	t.Parallel()
	s := newShort(t)
	made := join(somePicture, someSound, x264, []string{"-c:a", "aac", "-threads", "1", "-y"})
	run(t, s.tool, ffmpeg.Command{Args: join(made, []string{s.file("good.mp4")})})
	hostile{name: "edited.mov", args: made, spoil: refer}.write(t, s.tool, s.file(""))
	p := s.open(t, "  - {name: good, video: {file: intake/good.mp4, offset: 0}}\n"+
		"  - {name: edited, video: {file: intake/edited.mov, offset: 0}}\n", "aspect: 16:9", 640, 360)
	r, err := p.Render(t.Context(), RenderOptions{Rough: true})
	if err != nil || len(r.Faults) != 1 {
		t.Fatalf("%v, %+v", err, r.Faults)
	}
	if b := r.Faults[0]; b.Take != "edited" || !strings.HasPrefix(b.What, "intake/edited.mov: ") ||
		!strings.Contains(b.What, "in other files") || b.Hint == "" {
		t.Errorf("%+v", b)
	}
}
