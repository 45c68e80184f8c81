package ffmpeg

import (
	"math"
	"slices"
	"strings"
	"testing"
	"time"
)

// First lines as printed by builds of the distributions, from memory except
// for the first, which is Debian 12's.
func TestParseVersion(t *testing.T) {
	for _, c := range []struct {
		out  string
		want Version
	}{
		{"ffmpeg version 5.1.9-0+deb12u1 Copyright (c) 2000-2026 the FFmpeg developers\n",
			Version{5, 1, "5.1.9-0+deb12u1"}},
		{"ffprobe version 7.1 Copyright (c) 2007-2024\n", Version{7, 1, "7.1"}},
		{"ffmpeg version n6.0 Copyright", Version{6, 0, "n6.0"}},
		{"ffmpeg version 8 Copyright", Version{8, 0, "8"}},
		{"ffmpeg version 4.4.2-0ubuntu0.22.04.1 Copyright (c) 2000-2021", Version{4, 4, "4.4.2-0ubuntu0.22.04.1"}},
		{"ffmpeg version N-109468-gd39b34123d Copyright\nbuilt with gcc\nlibavutil      57. 44.100 / 57. " +
			"44.100\nlibavcodec     59. 55.103 / 59. 55.103\n",
			Version{5, 0, "N-109468-gd39b34123d"}},
		{"ffmpeg version 2024-05-13-git-37db0454e4 Copyright\nlibavcodec     61.  5.103 / 61.  5.103\n",
			Version{7, 0, "2024-05-13-git-37db0454e4"}},
		{"ffmpeg version N-1-g0 Copyright\n", Version{0, 0, "N-1-g0"}},
		{"bash: ffmpeg: command not found", Version{}},
		{"", Version{}},
	} {
		if got := ParseVersion(c.out); got != c.want {
			t.Errorf("%.40q: got %+v, want %+v", c.out, got, c.want)
		}
	}
}

func TestVersionOrder(t *testing.T) {
	v := Version{Major: 5, Minor: 1}
	for _, c := range []struct {
		major, minor int
		want         bool
	}{{5, 1, true}, {5, 0, true}, {4, 9, true}, {5, 2, false}, {6, 0, false}} {
		if got := v.AtLeast(c.major, c.minor); got != c.want {
			t.Errorf("5.1 at least %d.%d: %v", c.major, c.minor, got)
		}
	}
}

func TestParseList(t *testing.T) {
	names := parseList(" V..... = Video\n ------\n V....D libx264              libx264 H.264 / AVC\n A..... aac     " +
		"             AAC\n ... zscale V->V Apply\n")
	for name, want := range map[string]bool{"libx264": true, "aac": true, "zscale": true, "=": false, "Video": false,
		"libx265": false} {
		if names[name] != want {
			t.Errorf("%s: %v", name, names[name])
		}
	}
}

// A report as written by ffmpeg 5.1.9.
const report = "frame=15\nfps=0.00\nstream_0_0_q=-0.0\nbitrate=  " +
	"63.1kbits/s\ntotal_size=262192\nout_time_us=1541224\n" +
	"out_time_ms=1541224\nout_time=00:00:01.541224\ndup_frames=0\ndrop_frames=0\nspeed=3.04x\nprogress=continue\n"

func parseProgress(parts ...string) []Progress {
	var got []Progress
	p := ProgressParser{Report: func(r Progress) { got = append(got, r) }}
	for _, s := range parts {
		p.Write([]byte(s))
	}
	return got
}

func TestProgress(t *testing.T) {
	for _, c := range []struct {
		name, text string
		want       []Progress
	}{
		{"usual", report, []Progress{{Frame: 15, Time: 1541224 * time.Microsecond, Bytes: 262192, Speed: 3.04}}},
		{"not known yet", "out_time_us=N/A\nspeed=N/A\ntotal_size=N/A\nprogress=continue\n", []Progress{{}}},
		{"before zero", "frame=-1\nout_time_us=-46440\nspeed=-2x\nprogress=end\n", []Progress{{Last: true}}},
		{"beyond a duration", "out_time_us=9223372036854775807\nprogress=end\n", []Progress{{Last: true}}},
		{"values do not leak into the next", report + "progress=end\n",
			[]Progress{{Frame: 15, Time: 1541224 * time.Microsecond, Bytes: 262192, Speed: 3.04}, {Last: true}}},
		{"carriage returns", "frame=7\r\nprogress=continue\r\n", []Progress{{Frame: 7}}},
		{"unfinished", "frame=7\nprogress=cont", nil},
		{"noise", "=\n\nhello\nprogress\nframe==\n", nil},
	} {
		if got := parseProgress(c.text); !slices.Equal(got, c.want) {
			t.Errorf("%s: got %+v, want %+v", c.name, got, c.want)
		}
	}
}

func FuzzProgress(f *testing.F) {
	f.Add(report, 5)
	f.Add("out_time_us=-1\nspeed=1e999x\nprogress=end\n", 1)
	f.Add(strings.Repeat("x", 3000)+"\nprogress=end\n", 1024)
	f.Fuzz(func(t *testing.T, text string, cut int) {
		whole := parseProgress(text)
		if cut < 0 || cut > len(text) {
			cut = len(text) / 2
		}
		if parts := parseProgress(text[:cut], text[cut:]); !slices.Equal(whole, parts) {
			t.Errorf("cut at %d: %+v, whole: %+v", cut, parts, whole)
		}
		for _, p := range whole {
			if p.Frame < 0 || p.Time < 0 || p.Bytes < 0 || !(p.Speed >= 0) || math.IsInf(p.Speed, 0) {
				t.Errorf("out of range: %+v", p)
			}
		}
	})
}

func FuzzParseVersion(f *testing.F) {
	f.Add("ffmpeg version 5.1.9-0+deb12u1 Copyright\nlibavcodec 59.1\n")
	f.Add("ffprobe version N-1 C\nlibavcodec     99999999999999999999.1\n")
	f.Fuzz(func(t *testing.T, out string) {
		if v := ParseVersion(out); v.Major < 0 || v.Minor < 0 || v.Text == "" && v.Major != 0 {
			t.Errorf("%+v", v)
		}
	})
}

func TestTail(t *testing.T) {
	var l tail
	for _, part := range []string{"one\rtw", "o\n\n  \nthree\nfo", "ur \xff"} {
		l.Write([]byte(part))
	}
	lines, full := l.end()
	if want := []string{"one", "two", "three", "four ?"}; !slices.Equal(lines, want) || full {
		t.Errorf("got %q, %v", lines, full)
	}
	for line, want := range map[string]bool{
		"file:/x.mp4: No space left on device":      true,
		"[error] Disk quota exceeded":               true,
		"file:/No space left on device.mp4 is fine": false,
	} {
		if diskFull(line) != want {
			t.Errorf("%q: %v", line, !want)
		}
	}
}
