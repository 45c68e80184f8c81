package interchange

import (
	"encoding/binary"
	"fmt"
	"math/rand/v2"
	"os"
	"strings"
	"testing"

	"ripieno/assemble/ffmpeg/ffmpegtest"
	"ripieno/layout/shot"
)

var (
	ntsc   = shot.Rate{Num: 30000, Den: 1001}
	double = shot.Rate{Num: 60000, Den: 1001}
)

// TestLabels: drop-frame values calculated by the rule of SMPTE ST 12-1: labels
// 00 and 01 are left out each minute but every tenth. The others by hand.
func TestLabels(t *testing.T) {
	for _, c := range []struct {
		rate  shot.Rate
		frame int
		want  string
	}{
		{ntsc, 0, "00:00:00;00"}, {ntsc, 1799, "00:00:59;29"}, {ntsc, 1800, "00:01:00;02"},
		{ntsc, 3597, "00:01:59;29"}, {ntsc, 3598, "00:02:00;02"},
		{ntsc, 17981, "00:09:59;29"}, {ntsc, 17982, "00:10:00;00"}, {ntsc, 107892, "01:00:00;00"},
		{ntsc, -1, "23:59:59;29"}, {ntsc, 24 * 107892, "00:00:00;00"},
		{shot.Rate{Num: 30, Den: 1}, 1800, "00:01:00:00"}, {shot.Rate{Num: 30, Den: 1}, 108000, "01:00:00:00"},
		{shot.Rate{Num: 25, Den: 1}, 90024, "01:00:00:24"}, {shot.Rate{Num: 24, Den: 1}, 86400, "01:00:00:00"},
		{shot.Rate{Num: 24000, Den: 1001}, 86400, "01:00:00:00"},
		{shot.Rate{Num: 50, Den: 1}, 180049, "01:00:00:49"}, {shot.Rate{Num: 60, Den: 1}, 3600, "00:01:00:00"},
		{double, 3599, "00:00:59;59"}, {double, 3600, "00:01:00;04"}, {double, 35964, "00:10:00;00"},
		{double, 215784, "01:00:00;00"},
	} {
		if got := CountingOf(c.rate).Label(c.frame); got != c.want {
			t.Errorf("frame %d at %s is %s, want %s", c.frame, c.rate, got, c.want)
		}
	}
	for _, r := range []shot.Rate{ntsc, double, {Num: 25, Den: 1}} {
		c := CountingOf(r)
		if got := c.Label(c.Hour()); got[:8] != "01:00:00" || got[9:] != "00" {
			t.Errorf("the hour at %s is %s", r, got)
		}
	}
}

// TestLabelsCount walks a whole day: labels grow, none comes twice, and only
// those that the rule names are left out.
func TestLabelsCount(t *testing.T) {
	for _, r := range []shot.Rate{ntsc, double} {
		c := CountingOf(r)
		frame := 0
		for n := range c.Base * 86400 { // every label there could be
			s, f := n/c.Base, n%c.Base
			if s%60 == 0 && s/60%10 != 0 && f < c.Drop {
				continue // left out
			}
			if n%97 == 0 || f < 6 && s%60 == 0 { // formatting all would take long
				want := Counting{Base: c.Base}.Label(n)
				if got := c.Label(frame); got[:8] != want[:8] || got[9:] != want[9:] {
					t.Fatalf("frame %d at %s is %s, want %s", frame, r, got, want)
				}
			}
			frame++
		}
		if frame != 24*c.Hour() {
			t.Errorf("%d frames in a day, want %d", frame, 24*c.Hour())
		}
	}
}

// TestLabelsAgainstFFmpeg: ffmpeg, told one of our labels, writes into a
// timecode track the number of the frame that we gave the label to.
func TestLabelsAgainstFFmpeg(t *testing.T) {
	ffmpegtest.Tool(t)
	r := rand.New(rand.NewPCG(12, 1))
	for _, rate := range []shot.Rate{{Num: 24000, Den: 1001}, {Num: 25, Den: 1}, ntsc, {Num: 30, Den: 1},
		{Num: 50, Den: 1}, double} {
		c := CountingOf(rate)
		tenth := c.Hour() / 6 // minutes that drop no label begin here
		frames := []int{c.Hour(), tenth - 1, tenth, 60*c.Base - 1, 60 * c.Base, r.IntN(tenth),
			tenth + r.IntN(24*c.Hour()-tenth)}
		var made, read []ffmpegtest.Output
		for i, k := range frames {
			made = append(made, ffmpegtest.Output{Name: fmt.Sprintf("%d.mov", i),
				Args: []string{"-map", "0:v", "-frames:v", "1", "-c:v", "mpeg4", "-timecode", c.Label(k)}})
			read = append(read, ffmpegtest.Output{Name: fmt.Sprintf("%d.bin", i),
				Args: strings.Fields(fmt.Sprintf("-map %d:d -c copy -f data", i))})
		}
		var inputs []string
		for _, path := range ffmpegtest.MakeAll(t, []string{"-f", "lavfi", "-i", "color=s=16x16:r=" + rate.String()},
			made...) {
			inputs = append(inputs, "-i", path)
		}
		for i, path := range ffmpegtest.MakeAll(t, inputs, read...) {
			data, err := os.ReadFile(path)
			if err != nil || len(data) != 4 {
				t.Fatal(data, err)
			}
			if got := int(binary.BigEndian.Uint32(data)); got != frames[i] {
				t.Errorf("ffmpeg takes %s at %s for frame %d, it is %d", c.Label(frames[i]), rate, got, frames[i])
			}
		}
	}
}
