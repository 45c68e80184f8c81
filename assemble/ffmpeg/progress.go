package ffmpeg

import (
	"strconv"
	"strings"
	"time"
)

// Progress is one report of a running ffmpeg. Values it does not know yet
// (it prints N/A, and negative times before the first packet) are 0.
type Progress struct {
	Frame int64         // video frames written
	Time  time.Duration // output time reached, never negative
	Bytes int64         // size of the output so far
	Speed float64       // seconds of output per second of wall clock
	// Last marks the final report. It is also sent when the run was
	// interrupted, so it does not mean success.
	Last bool
}

// ProgressParser turns the text that "-progress" writes into reports. It is an
// io.Writer, takes any split of the text and never fails. The zero value needs
// Report set.
type ProgressParser struct {
	Report func(Progress)

	current Progress
	lines   Lines
}

// Write takes a part of the text, however it is split, and calls Report for every report that
// is complete with it. It never fails.
func (p *ProgressParser) Write(text []byte) (int, error) {
	p.lines.Add(text, p.take)
	return len(text), nil
}

// take handles one "key=value" line. A report ends with its "progress" line.
func (p *ProgressParser) take(line string) {
	key, value, ok := strings.Cut(strings.TrimSpace(line), "=")
	if !ok {
		return
	}
	value = strings.TrimSpace(value)
	switch key {
	case "frame":
		p.current.Frame = count(value)
	case "out_time_us": // out_time_ms is in microseconds too, so it is not read
		p.current.Time = microseconds(count(value))
	case "total_size":
		p.current.Bytes = count(value)
	case "speed":
		if f, err := strconv.ParseFloat(strings.TrimSuffix(value, "x"), 64); err == nil && f > 0 && f < 1e9 {
			p.current.Speed = f
		} else {
			p.current.Speed = 0
		}
	case "progress":
		p.current.Last = value == "end"
		if p.Report != nil {
			p.Report(p.current)
		}
		p.current = Progress{}
	}
}

// count returns a whole number of at least 0; anything else is 0.
func count(s string) int64 {
	n, err := strconv.ParseInt(s, 10, 64)
	if err != nil || n < 0 {
		return 0
	}
	return n
}

// microseconds returns us as a duration; values beyond what a duration holds are 0,
// as they can only come from a broken time stamp.
func microseconds(us int64) time.Duration {
	const most = int64(1<<63-1) / int64(time.Microsecond)
	if us > most {
		return 0
	}
	return time.Duration(us) * time.Microsecond
}
