package interchange

import (
	"errors"
	"fmt"
	"math"
	"strings"
	"unicode"

	"ripieno/layout/shot"
)

// Bounds of a list: numbers and reels have their columns in CMX 3600.
const (
	MaxEvents = 999
	maxReel   = 8
	maxTitle  = 70
)

// ErrTooManyEvents is the error of a list that has more than [MaxEvents].
var ErrTooManyEvents = errors.New("interchange: more than 999 events in an edit list")

// Event is one cut of an edit list. Times are frames at the list's rate, ends
// exclusive; Record counts from the list's first frame.
type Event struct {
	Channels       string // V, A for one channel of sound, AA for two
	Source, Record int
	Frames         int
	Clip           string   // the file's name
	Remarks        []string // lines of their own
}

// EDL is an edit decision list of cuts (CMX 3600). What plays faster or slower
// has no place in it: speeds there are tenths of a frame a second, and clocks
// differ by far less.
type EDL struct {
	Title  string
	Rate   shot.Rate
	Events []Event
}

// Text returns the list. All sources are AX, an auxiliary source, with the name of
// the file in a remark: reels have eight letters, and files longer names.
// Frames that a source does not have before its beginning are an error.
func (e EDL) Text() (string, error) {
	if len(e.Events) > MaxEvents {
		return "", ErrTooManyEvents
	}
	count := CountingOf(e.Rate)
	mode := "NON-DROP FRAME"
	if count.Drop > 0 {
		mode = "DROP FRAME"
	}
	var b strings.Builder
	fmt.Fprintf(&b, "TITLE: %s\r\nFCM: %s\r\n\r\n", clip(line(e.Title), maxTitle), mode)
	for i, v := range e.Events {
		if v.Source < 0 || v.Record < 0 || v.Frames <= 0 {
			return "", fmt.Errorf("interchange: event %d of %q takes %d frames from %d to %d", i+1, e.Title, v.Frames,
				v.Source, v.Record)
		}
		record := count.Hour() + v.Record
		fmt.Fprintf(&b, "%03d  %-*s %-5s C        %s %s %s %s\r\n", i+1, maxReel, "AX", v.Channels,
			count.Label(v.Source), count.Label(v.Source+v.Frames), count.Label(record), count.Label(record+v.Frames))
		if v.Clip != "" {
			fmt.Fprintf(&b, "* FROM CLIP NAME: %s\r\n", line(v.Clip))
		}
		for _, r := range v.Remarks {
			fmt.Fprintf(&b, "* %s\r\n", line(r))
		}
	}
	return b.String(), nil
}

// line returns a text that stays on its line of an edit list: whatever an editor could take
// for a break, or cannot show, becomes a space.
func line(s string) string {
	return strings.Map(func(r rune) rune {
		if unicode.IsControl(r) || r == unicode.ReplacementChar || r == '\u2028' || r == '\u2029' {
			return ' '
		}
		return r
	}, s)
}

// clip returns the first characters of s, as many as a field of an edit list takes.
func clip(s string, most int) string {
	r := []rune(s)
	return string(r[:min(len(r), most)])
}

// Event returns a clip as an event: whole frames on both sides, the file counted at
// the timeline's rate. The first frame is the nearest one, so the event is up to
// half a frame off there and, without the clip's speed, by more towards its
// end, which a remark tells. false when the file has not one whole frame.
func (t Timeline) Event(k Track) (Event, bool) {
	c, fps := k.Clip, t.Rate.FPS()
	first, last := int(math.Ceil(c.First*fps)), int(math.Floor(c.Last*fps))
	e := Event{Channels: "V", Source: max(first, int(math.Round(c.Source*fps))), Record: c.From, Clip: c.Name}
	e.Frames = min(c.To-c.From, last-e.Source)
	if k.Kind == Audio {
		e.Channels = "A"
		if c.Channels > 1 {
			e.Channels = "AA"
		}
	}
	if c.Speed != 1 {
		e.Remarks = []string{fmt.Sprintf("CLOCK OF THE FILE: DRIFT %+.1f PPM, NOT IN THIS LIST; %+.1f MS AT THE END",
			c.Clock.Drift,
			1000*(float64(e.Frames)/fps)*(1-c.Speed))}
	}
	return e, e.Frames > 0
}
