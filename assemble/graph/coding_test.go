package graph

import (
	"slices"
	"strings"
	"testing"

	"ripieno/assemble/plan"
	"ripieno/layout"
)

// Every encoder is found by its name, stands with its codec, software first and
// then the families in their order, and its settings reach the command.
func TestEncodersAreInOrder(t *testing.T) {
	for _, codec := range []plan.Codec{plan.H264, plan.HEVC, plan.AV1} {
		last := -1
		list := Encoders(codec)
		if len(list) < 4 || !list[0].Software() {
			t.Fatalf("%s: %+v", codec, list)
		}
		for i, e := range list {
			at := slices.Index(Families(), e.Family)
			if i > 0 && (at <= last || e.Name != string(codec)+"_"+e.Family) {
				t.Errorf("%s stands behind %s", e.Name, list[i-1].Name)
			}
			last = at
			c := Coding{Encoder: e.Name}
			if c.Hardware() == e.Software() || c.Name() != e.Name {
				t.Errorf("%s: hardware %v, called %s", e.Name, c.Hardware(), c.Name())
			}
			cmd, err := Try(c, layout.Canvas{W: 640, H: 360}, fps30, 4, "file:try.mp4")
			if err != nil {
				t.Fatal(err)
			}
			argv := strings.Join(cmd.Argv("-f", "g"), " ")
			want := []string{"-c:v " + e.Name, "-frames:v 4", "-g 60", "-colorspace bt709", "-fflags +bitexact",
				"-i testsrc2=size=640x360:rate=30"}
			if codec == "hevc" {
				want = append(want, "-tag:v hvc1")
			}
			if e.Name != "libx264" {
				want = append(want, "-chroma_sample_location left")
			}
			if e.Family == "vaapi" {
				want = append(want, "-init_hw_device vaapi")
			}
			for _, w := range want {
				if !strings.Contains(argv, w) {
					t.Errorf("%s lacks %q: %s", e.Name, w, argv)
				}
			}
			if up := strings.Contains(cmd.Graph, "hwupload"); up != (e.Family == "vaapi") ||
				strings.Contains(cmd.Graph, "setsar") != (e.Name != "libx264") {
				t.Errorf("%s: %s", e.Name, cmd.Graph)
			}
		}
	}
	if _, err := Try(Coding{Encoder: "none"}, layout.Canvas{W: 64, H: 64}, fps30, 1, "x"); err == nil {
		t.Error("an unknown encoder was accepted")
	}
}

// What the bytes of x264 depend on goes by the canvas and by nothing else. Only
// where memory lets no second segment run does one encoder take two cores.
func TestEncoderThreads(t *testing.T) {
	for canvas, want := range map[layout.Canvas]string{{W: 640, H: 360}: "1", {W: 1920, H: 1080}: "1",
		{W: 1080, H: 1920}: "1", {W: 2560, H: 1440}: "2", {W: 3840, H: 2160}: "2"} {
		for _, rough := range []bool{false, true} {
			c, err := Compose(Segment{Canvas: canvas, Rate: fps30, Frames: 60, Scene: Scene{Overlay: "o.png"},
				Rough: rough}, Coding{}, "out.mp4")
			if a := strings.Join(c.Argv("-f", "g"), " "); err != nil ||
				!strings.Contains(a, "-r 30 -threads "+want+" ") {
				t.Errorf("%v, rough %v: %s, %v", canvas, rough, a, err)
			}
		}
	}
}

// A rough cut is what it is whatever the finished film is encoded as, and the
// zero coding is libx264.
func TestComposeUsesTheCoding(t *testing.T) {
	g := Segment{Canvas: layout.Canvas{W: 640, H: 360}, Rate: fps30, Frames: 60, Scene: Scene{Overlay: "o.png"}}
	argv := func(g Segment, c Coding) string {
		cmd, err := Compose(g, c, "out.mp4")
		if err != nil {
			t.Fatal(err)
		}
		return strings.Join(cmd.Argv("-f", "g"), " ")
	}
	if plain := argv(g, Coding{}); plain != argv(g, Coding{Encoder: "libx264"}) ||
		!strings.Contains(plain, "-c:v libx264 ") || !strings.Contains(plain, "-crf 19 ") {
		t.Errorf("the usual coding: %s", plain)
	}
	if hevc := argv(g, Coding{Encoder: "libx265"}); !strings.Contains(hevc, "frame-threads=2") ||
		!strings.Contains(hevc, "pools=2") || !strings.Contains(hevc, "open-gop=0") {
		t.Errorf("what its bytes depend on is not pinned: %s", hevc)
	}
	rough := g
	rough.Rough = true
	if a := argv(rough, Coding{Encoder: "libx265"}); a != argv(rough, Coding{}) || !strings.Contains(a, "ultrafast") {
		t.Errorf("the rough cut: %s", a)
	}
	if _, err := Compose(g, Coding{Encoder: "none"}, "out.mp4"); err == nil {
		t.Error("an unknown encoder was accepted")
	}
}
