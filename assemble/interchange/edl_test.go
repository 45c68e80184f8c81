package interchange

import (
	"encoding/csv"
	"errors"
	"slices"
	"strings"
	"testing"

	"ripieno/layout/shot"
	"ripieno/mix/audio"
)

// TestEDL compares a list to the letter. The line of the event is the example
// of CMX 3600 that public transcriptions of the format give, with a source
// from 01:00:00:00.
func TestEDL(t *testing.T) {
	five := Event{Channels: "V", Source: 108000, Record: 0, Frames: 150, Clip: "mara\nvoss.mov",
		Remarks: []string{"A REMARK"}}
	got, err := EDL{Title: "Small Round", Rate: shot.Rate{Num: 30, Den: 1},
		Events: []Event{five, {Channels: "AA", Source: 0, Record: 150, Frames: 30}}}.Text()
	want := `TITLE: Small Round
FCM: NON-DROP FRAME

001  AX       V     C        01:00:00:00 01:00:05:00 01:00:00:00 01:00:05:00
* FROM CLIP NAME: mara voss.mov
* A REMARK
002  AX       AA    C        00:00:00:00 00:00:01:00 01:00:05:00 01:00:06:00
`
	if err != nil || got != strings.ReplaceAll(want, "\n", "\r\n") {
		t.Errorf("got\n%s\n%v", got, err)
	}
	// Calculated by SMPTE ST 12-1: frame 1800 has the label 00:01:00;02.
	got, err = EDL{Title: "Small Round", Rate: ntsc,
		Events: []Event{{Channels: "V", Source: 1799, Record: 1799, Frames: 1}}}.Text()
	if err != nil || !strings.Contains(got, "FCM: DROP FRAME\r\n") ||
		!strings.Contains(got, " 00:00:59;29 00:01:00;02 01:00:59;29 01:01:00;02\r\n") {
		t.Errorf("got\n%s\n%v", got, err)
	}
}

func TestEDLRefuses(t *testing.T) {
	e := EDL{Rate: ntsc, Events: slices.Repeat([]Event{{Channels: "V", Frames: 1}}, MaxEvents)}
	if _, err := e.Text(); err != nil {
		t.Error(err)
	}
	e.Events = append(e.Events, e.Events[0])
	if _, err := e.Text(); !errors.Is(err, ErrTooManyEvents) {
		t.Errorf("a thousand events: %v", err)
	}
	for _, v := range []Event{{Source: -1, Frames: 1}, {Record: -1, Frames: 1}, {Frames: 0}} {
		if _, err := (EDL{Rate: ntsc, Events: []Event{v}}).Text(); err == nil {
			t.Errorf("%+v is written", v)
		}
	}
}

// TestEvent: an event takes frames that its file has.
func TestEvent(t *testing.T) {
	tl := Timeline{Rate: shot.Rate{Num: 25, Den: 1}, Frames: 250, Zero: 2}
	c, _ := tl.Cut(Media{Name: "a.mov", Rate: 30, First: 0.1, Last: 6,
		Clock: audio.Clock{Offset: 3.015, Drift: 200}, Channels: 2}, 0, 250)
	// Guide time 3.12 is the first frame after 3.015+0.1, 28 frames after 2; the
	// file is then at 0.105, frame 2.6 of 25 a second, and ends at frame 150.
	e, ok := tl.Event(Track{Kind: Audio, Clip: c})
	if !ok || e.Channels != "AA" || e.Record != 28 || e.Source != 3 || e.Frames != 147 || c.To-c.From < 147 {
		t.Errorf("%+v of %+v", e, c)
	}
	if len(e.Remarks) != 1 || e.Remarks[0] != "CLOCK OF THE FILE: DRIFT +200.0 PPM, NOT IN THIS LIST; +1.2 MS "+
		"AT THE END" {
		t.Errorf("%q", e.Remarks)
	}
	c.Last = c.First + 0.03
	if e, ok := tl.Event(Track{Kind: Video, Clip: c}); ok {
		t.Errorf("%+v of less than a frame", e)
	}
}

// TestCSV: texts that begin as formulas do (the list of OWASP's page on CSV
// injection) are texts, numbers stay numbers, and the rest is RFC 4180.
func TestCSV(t *testing.T) {
	rows := [][]string{{"take", "offset"}, {"=1+1", "-2.5"}, {"+a", "+1"}, {"-a", "3"}, {"@a", "4"}, {"\ta", "5"},
		{"a, \"b\"\nc", "6"}, {"＝a", "7"}, {"a=b", "8"}}
	got, err := CSV(rows, func(column int) bool { return column == 0 })
	if err != nil {
		t.Fatal(err)
	}
	want := "take,offset\r\n'=1+1,-2.5\r\n'+a,+1\r\n'-a,3\r\n'@a,4\r\n'\ta,5\r\n\"a, " +
		"\"\"b\"\"\r\nc\",6\r\n'＝a,7\r\na=b,8\r\n"
	if string(got) != want {
		t.Errorf("got %q", got)
	}
	if back, err := csv.NewReader(strings.NewReader(string(got))).ReadAll(); err != nil || len(back) != len(rows) ||
		back[1][0] != "'=1+1" {
		t.Errorf("read back %q, %v", back, err)
	}
}
