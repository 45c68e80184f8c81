package subtitle

import (
	"strings"
	"testing"
)

var cues = []Cue{
	{0, 2.5, "The round begins"},
	{3661.0004, 3662.9996, "Oboe & horn <i>\n\n --> together \r\nat last"},
}

func TestWebVTT(t *testing.T) {
	const want = "WEBVTT\n\n1\n00:00:00.000 --> 00:00:02.500\nThe round begins\n\n2\n01:01:01.000 --> " +
		"01:01:03.000\nOboe &amp; horn &lt;i&gt;\n--&gt; together\nat last\n"
	if got := WebVTT(cues); got != want {
		t.Errorf("got\n%s\nwant\n%s", got, want)
	}
}

func TestSRT(t *testing.T) {
	const want = "1\r\n00:00:00,000 --> 00:00:02,500\r\nThe round begins\r\n\r\n2\r\n01:01:01,000 --> " +
		"01:01:03,000\r\nOboe & horn <i>\r\n–> together\r\nat last\r\n\r\n"
	if got := SRT(cues); got != want {
		t.Errorf("got\n%q\nwant\n%q", got, want)
	}
}

func TestMetadataEscapesWhatMeansSomething(t *testing.T) {
	got := Metadata([]Chapter{{0, "A=B; #1"}, {1.5, "two\n[CHAPTER]"}}, 4)
	const want = ";FFMETADATA1\n[CHAPTER]\nTIMEBASE=1/1000\nSTART=0\nEND=1500\ntitle=A\\=B\\; " +
		"\\#1\n[CHAPTER]\nTIMEBASE=1/1000\nSTART=1500\nEND=4000\ntitle=two [CHAPTER]\n"
	if got != want {
		t.Errorf("got\n%s\nwant\n%s", got, want)
	}
}

// A text of any form stays within its cue.
func FuzzWebVTT(f *testing.F) {
	f.Add("a\n\n00:00:00.000 --> 00:00:09.000\nb")
	f.Add("<c>&amp;\r\r\n")
	f.Fuzz(func(t *testing.T, text string) {
		got := WebVTT([]Cue{{1, 2, text}, {3, 4, "end"}})
		if n := strings.Count(got, "-->"); n != 2 {
			t.Errorf("%d timings in %q", n, got)
		}
		if strings.Count(got, "\n\n") > 2 && strings.TrimSpace(lines(text)) != "" {
			t.Errorf("a blank line in %q", got)
		}
	})
}
