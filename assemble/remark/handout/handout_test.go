package handout

import (
	"strings"
	"testing"

	"ripieno/assemble/fault"
	"ripieno/assemble/media"
	"ripieno/assemble/production"
	"ripieno/assemble/remark"
)

// TestFit: the longer a film, the smaller it is made, so that the page stays one that
// mail takes; one that would be a blur is refused.
func TestFit(t *testing.T) {
	for _, c := range []struct {
		minutes, w, h int
		lines, video  int // 0 lines: refused
		mono          bool
	}{
		{1, 960, 540, 360, mostVideo, false}, {4, 960, 540, 360, 444_559, false}, {8, 960, 540, 270, 190_279, false},
		{15, 960, 540, 270, 103_615, true}, {30, 960, 540, 180, 35_807, true}, {45, 960, 540, 0, 0, false},
		{1, 540, 960, 640, mostVideo, false}, {1, 320, 180, 180, mostVideo, false}, {0, 540, 540, 360, mostVideo,
			false},
	} {
		info := media.Info{Duration: 60 * float64(c.minutes), Video: &media.Video{W: c.w, H: c.h, FPSNum: 30,
			FPSDen: 1}}
		s, err := fit("rough.mp4", info)
		if c.lines == 0 {
			if fault.KindOf(err) != fault.Failed || !strings.Contains(err.Error(), "45 minutes") {
				t.Errorf("%d minutes: %v", c.minutes, err)
			}
			continue
		}
		if err != nil || s.Canvas.H != c.lines || s.Video != c.video || s.Mono != c.mono ||
			s.Canvas.W%2+s.Canvas.H%2 != 0 {
			t.Errorf("%d minutes of %dx%d: %+v, %v", c.minutes, c.w, c.h, s, err)
		}
		if bytes := info.Duration * float64(s.Video+s.Sound) / 8; bytes > mostBytes {
			t.Errorf("%d minutes are up to %.0f bytes", c.minutes, bytes)
		}
	}
}

// TestNamesInThePage: whoever is not to be named is called by the part.
func TestNamesInThePage(t *testing.T) {
	man := &production.Production{Takes: []production.Take{{Name: "a", Player: "Mara Voss", Part: "Oboe"},
		{Name: "b", Player: "Ilse Brandt", Part: "Horn", HideName: true}}}
	said := Said(man, []remark.At{{Remark: remark.Remark{For: "a"}}, {Remark: remark.Remark{For: "b"}}, {}})
	if len(said) != 3 || said[0].For != "Mara Voss" || said[1].For != "Horn" || said[2].For != "" {
		t.Errorf("they are called %+v", said)
	}
}

// TestWithheldInThePage: nothing is said for or of somebody who released nothing, and a
// remark that says a hidden name says the part.
func TestWithheldInThePage(t *testing.T) {
	man := &production.Production{Takes: []production.Take{
		{Name: "a", Player: "Vexnorb Plimth", Part: "Kazoo", Release: production.ReleaseNo},
		{Name: "b", Player: "Ilse Brandt", Part: "Horn", HideName: true}}}
	said := Said(man, []remark.At{{Remark: remark.Remark{For: "a", Text: "late?"}},
		{Remark: remark.Remark{For: "b", By: "Ilse Brandt", Text: "Ilse after Vexnorb"}}})
	if len(said) != 1 || said[0].Take != "b" || said[0].For != "Horn" || said[0].By != "Horn" ||
		said[0].Text != "Horn after …" {
		t.Errorf("the page says %+v", said)
	}
}
