package media

import (
	"encoding/binary"
	"fmt"
	"math"

	"ripieno/mix/audio"
)

// Broadcast is what a broadcast wave file says about itself in its bext chunk
// (EBU Tech 3285 version 2). Texts are ASCII; what does not fit is cut. Dates
// are left empty, so that the same sound is the same bytes on any day.
type Broadcast struct {
	Description string // 256 characters
	Originator  string // 32
	Reference   string // 32, names the file among the originator's
	// TimeReference is the file's first sample, counted from midnight at the
	// file's own rate.
	TimeReference uint64
	// Loudness is what the file measures; nil: not told.
	Loudness *BroadcastLoudness
	// History is a line of coding history for each generation, without the
	// line ends.
	History []string
}

// BroadcastLoudness is in LUFS, LU and dBTP. Values that are not finite, or
// do not fit, are stored as not known.
type BroadcastLoudness struct {
	Integrated, Range, TruePeak, MaxMomentary, MaxShort float64
}

// day is how many samples TimeReference counts before it begins anew.
const day = 24 * 3600 * audio.Rate

// TimeReference returns the time of day of a guide frame when guide time 0 is
// midnight. Frames before the guide lie at the end of the day before.
func TimeReference(f audio.Frames) uint64 { return uint64(((int64(f) % day) + day) % day) }

// bextBytes is the size of the chunk before the coding history, and
// unknownLevel what stands for a level that is not told (Tech 3285 v2,
// section 2.3).
const (
	bextBytes    = 602
	unknownLevel = 0x7FFF
)

// chunk returns the whole bext chunk, padded to even length.
func (b *Broadcast) chunk() []byte {
	le := binary.LittleEndian
	history := ""
	for _, line := range b.History {
		history += line + "\r\n"
	}
	body := make([]byte, bextBytes)
	copy(body[0:256], ascii(b.Description))
	copy(body[256:288], ascii(b.Originator))
	copy(body[288:320], ascii(b.Reference))
	// 320 to 338: date and time, left empty.
	le.PutUint64(body[338:], b.TimeReference)
	le.PutUint16(body[346:], 2) // version; no UMID follows
	l := BroadcastLoudness{math.NaN(), math.NaN(), math.NaN(), math.NaN(), math.NaN()}
	if b.Loudness != nil {
		l = *b.Loudness
	}
	for i, v := range []float64{l.Integrated, l.Range, l.TruePeak, l.MaxMomentary, l.MaxShort} {
		le.PutUint16(body[412+2*i:], hundredths(v))
	}
	body = append(body, ascii(history)...)
	out := le.AppendUint32([]byte("bext"), uint32(len(body)))
	out = append(out, body...)
	if len(body)%2 == 1 {
		out = append(out, 0)
	}
	return out
}

// hundredths returns a level as bext stores it: 100 times, rounded.
func hundredths(v float64) uint16 {
	n := math.Round(v * 100)
	if !(math.Abs(n) <= 9999) { // what Tech 3285 allows; NaN too
		return unknownLevel
	}
	return uint16(int16(n))
}

// ascii replaces what bext cannot hold.
func ascii(s string) string {
	out := make([]byte, 0, len(s))
	for _, r := range s {
		if r > 126 || r < ' ' && r != '\r' && r != '\n' {
			r = '?'
		}
		out = append(out, byte(r))
	}
	return string(out)
}

// CodingLine describes linear samples in the words of EBU R 98.
func CodingLine(f Format, channels int, program string) string {
	bits := map[Format]int{Float32: 32, PCM24: 24, PCM16: 16}[f]
	mode := map[int]string{1: "mono", 2: "stereo"}[channels]
	if mode == "" {
		mode = "multichannel"
	}
	return fmt.Sprintf("A=PCM,F=%d,W=%d,M=%s,T=%s", audio.Rate, bits, mode, program)
}
