package smf

import (
	"bytes"
	"encoding/binary"
	"fmt"
	"math"
	"strings"
	"testing"

	"ripieno/mix/tempo"
	"ripieno/mix/tempo/score"
)

// midi puts a file together from raw track bodies.
func midi(format, division int, tracks ...string) []byte {
	b := []byte("MThd\x00\x00\x00\x06")
	b = binary.BigEndian.AppendUint16(b, uint16(format))
	b = binary.BigEndian.AppendUint16(b, uint16(len(tracks)))
	b = binary.BigEndian.AppendUint16(b, uint16(division))
	for _, t := range tracks {
		b = append(b, "MTrk"...)
		b = binary.BigEndian.AppendUint32(b, uint32(len(t)))
		b = append(b, t...)
	}
	return b
}

const (
	// Meta events as the Standard MIDI Files 1.0 specification writes them:
	// 500000 µs per quarter is 120 a minute, 4/4 is 04 02 18 08.
	tempo120 = "\x00\xff\x51\x03\x07\xa1\x20"
	fourFour = "\x00\xff\x58\x04\x04\x02\x18\x08"
	endTrack = "\x00\xff\x2f\x00"
)

func read(t *testing.T, data []byte) *score.Score {
	t.Helper()
	s, err := Read(bytes.NewReader(data))
	if err != nil {
		t.Fatal(err)
	}
	return s
}

// describe writes a score's changes and parts in one line each.
func describe(s *score.Score) string {
	var b strings.Builder
	fmt.Fprintf(&b, "%q pick-up %g, %d measures", s.Title, s.Spec.PickUp, s.Spec.Measures)
	for _, c := range s.Spec.Changes {
		fmt.Fprintf(&b, "; m%d", c.Measure)
		if c.At > 1 {
			fmt.Fprintf(&b, ".%g", c.At)
		}
		if !c.Meter.IsZero() {
			fmt.Fprintf(&b, " %v", c.Meter)
		}
		if c.BPM != 0 {
			fmt.Fprintf(&b, " %v=%.4g", c.Beat, c.BPM)
		}
	}
	for _, p := range s.Parts {
		fmt.Fprintf(&b, "; %s", p.Name)
		for _, o := range p.Onsets {
			fmt.Fprintf(&b, " %d@%g", o.Note, o.Quarter)
		}
	}
	return b.String()
}

func TestRead(t *testing.T) {
	for _, c := range []struct {
		name string
		data []byte
		want string
	}{
		{"format 0 with running status", midi(0, 96,
			"\x00\xff\x03\x05Round"+tempo120+fourFour+
				"\x00\x90\x3c\x40\x60\x3c\x00"+ // C4 for a quarter, released by velocity 0
				"\x00\x40\x40\x60\x40\x00"+ // E4, running status throughout
				"\x81\x40\x99\x26\x40\x60\x26\x00"+endTrack), // channel 10 after 192 ticks
			`"Round" pick-up 0, 2 measures; m1 4/4 quarter=120; channel 1 60@0 64@1; channel 10 38@4`},
		{"format 1", midi(1, 480,
			"\x00\xff\x03\x05Round"+tempo120+"\x00\xff\x58\x04\x06\x03\x24\x08"+endTrack,
			"\x00\xff\x03\x04Oboe\x83\x60\x90\x48\x40\x83\x60\x80\x48\x40"+endTrack,
			"\x00\xff\x03\x04Horn\x00\x91\x30\x40\x87\x40\x81\x30\x40"+endTrack,
			"\x00\xff\x03\x05Empty"+endTrack),
			`"Round" pick-up 0, 1 measures; m1 6/8 quarter=120; Oboe 72@1; Horn 48@0`},
		{"two channels in a track", midi(1, 480, endTrack,
			"\x00\xff\x03\x05Winds\x00\x90\x48\x40\x00\x91\x40\x40\x83\x60\x90\x48\x00"+endTrack),
			`"" pick-up 0, 1 measures; m1 4/4 quarter=120; Winds (channel 1) 72@0; Winds (channel 2) 64@0`},
		{"no names", midi(1, 480, "\x00\x90\x48\x40\x83\x60\x48\x00"+endTrack),
			`"" pick-up 0, 1 measures; m1 4/4 quarter=120; track 1 72@0`},
		// Defaults 120 and 4/4 (from memory).
		{"neither tempo nor meter", midi(0, 480, "\x00\x90\x48\x40\x9e\x00\x48\x00"+endTrack),
			`"" pick-up 0, 2 measures; m1 4/4 quarter=120; channel 1 72@0`},
		{"changes of meter and tempo", midi(0, 96,
			tempo120+fourFour+"\x00\x90\x48\x40\x83\x00\x48\x00"+ // to tick 384
				"\x00\xff\x58\x04\x03\x02\x18\x08"+"\x60\xff\x51\x03\x0f\x42\x40"+ // 3/4, and 60 on its second beat
				"\x81\x40\x90\x48\x40\x82\x20\x48\x00"+endTrack),
			`"" pick-up 0, 3 measures; m1 4/4 quarter=120; m2 3/4; m2.2 quarter=60; channel 1 72@0 72@7`},
		{"pick-up", midi(0, 96,
			"\x00\xff\x58\x04\x01\x02\x18\x08\x00\x90\x43\x40\x60\x43\x00"+fourFour+"\x00\x90\x48\x40\x83\x00\x48\x00"+
				endTrack),
			`"" pick-up 1, 1 measures; m0 4/4 quarter=120; channel 1 67@-1 72@0`},
		{"pick-up by an early signature", midi(0, 96,
			fourFour+"\x00\x90\x43\x40\x30\x43\x00"+fourFour+"\x00\x90\x48\x40\x83\x00\x48\x00"+endTrack),
			`"" pick-up 0.5, 1 measures; m0 4/4 quarter=120; channel 1 67@-0.5 72@0`},
		{"a measure cut short", midi(0, 96,
			fourFour+"\x00\x90\x43\x40\x86\x00\x43\x00"+"\x81\x40"+fourFour[1:]+"\x00\x90\x48\x40\x83\x00\x48\x00"+
				endTrack),
			`"" pick-up 0, 4 measures; m1 4/4 quarter=120; m3 2/4; m4 4/4; channel 1 67@0 72@10`},
		{"a late release opens no measure", midi(0, 96, fourFour+"\x00\x90\x43\x40\x83\x04\x43\x00"+endTrack),
			`"" pick-up 0, 1 measures; m1 4/4 quarter=120; channel 1 67@0`},
		{"the last of two tempos at one place",
			midi(0, 96, tempo120+"\x00\xff\x51\x03\x0f\x42\x40\x00\x90\x43\x40\x60\x43\x00"+endTrack),
			`"" pick-up 0, 1 measures; m1 4/4 quarter=60; channel 1 67@0`},
		{"what is skipped", midi(0, 96,
			"\x00\xf0\x03\x7e\x7f\xf7\x00\xc0\x05\x00\xb0\x07\x40\x00\xe0\x00\x40\x00\xd0\x10\x00\xff\x7f\x02ab\x00\xff\x54\x05\x60\x00\x00\x00\x00"+
				"\x00\x90\x43\x40\x60\x43\x00"+endTrack+"trailing"),
			`"" pick-up 0, 1 measures; m1 4/4 quarter=120; channel 1 67@0`},
		{"Latin-1 and control characters", midi(1, 96, endTrack,
			"\x00\xff\x03\x05Fl\xf6\x01e\x00\x90\x43\x40\x60\x43\x00"+endTrack),
			`"" pick-up 0, 1 measures; m1 4/4 quarter=120; Flö e 67@0`},
		{"no notes", midi(0, 96, fourFour+"\x87\x40\xff\x2f\x00"),
			`"" pick-up 0, 3 measures; m1 4/4 quarter=120`},
	} {
		s, err := Read(bytes.NewReader(c.data))
		if err != nil {
			t.Errorf("%s: %v", c.name, err)
			continue
		}
		if got := describe(s); got != c.want {
			t.Errorf("%s:\n got %s\nwant %s", c.name, got, c.want)
		}
	}
}

func TestReadSkipsForeignChunks(t *testing.T) {
	data := midi(1, 96, "\x00\x90\x43\x40\x60\x43\x00"+endTrack)
	foreign := append([]byte("XFIH\x00\x00\x00\x03abc"), data[14:]...)
	if got := describe(read(t, append(data[:14:14], foreign...))); !strings.HasSuffix(got, "track 1 67@0") {
		t.Error(got)
	}
}

func TestReadRefuses(t *testing.T) {
	good := midi(0, 96, fourFour+"\x00\x90\x43\x40\x60\x43\x00"+endTrack)
	for _, c := range []struct {
		name string
		data []byte
		want string
	}{
		{"nothing", nil, "midi file: it does not begin like one (MThd)"},
		{"text", []byte("this is not a midi file"), "midi file: it does not begin like one (MThd)"},
		{"RIFF", append([]byte("RIFF"), good...),
			"midi file: this is a RIFF file: save it as a standard MIDI file (.mid)"},
		{"format 2", midi(2, 96, endTrack), "midi file: format 2 holds separate patterns without a common time: save " +
			"it as format 0 or 1"},
		{"format 7", midi(7, 96, endTrack), "midi file: format 7 is unknown, only 0 and 1 are read"},
		// 25 frames of 40 ticks: E7 28.
		{"SMPTE", midi(0, 0xe728, endTrack), "midi file: its division is SMPTE time (25 frames a second): such a " +
			"file has seconds but no beats; export it with ticks per quarter note"},
		{"division 0", midi(0, 0, endTrack), "midi file: its division is 0 ticks per quarter note"},
		{"two tracks in format 0", midi(0, 96, endTrack, endTrack), "midi file: format 0 has one track, this one 2"},
		{"cut", good[:len(good)-6], "midi file: " + errTruncated.Error()},
		{"cut in the header", append(good[:7:7], 99, 0, 0, 0, 0, 0, 0), "midi file: " + errTruncated.Error()},
		{"a track missing", append(midi(1, 96)[:10:10], 0, 3, 0, 96), "midi file: " + errTruncated.Error()},
		{"too many tracks", append(midi(1, 96)[:10:10], 255, 255, 0, 96),
			"midi file: it has 65535 tracks, more than 1024"},
		{"no length", midi(0, 96, endTrack), "midi file: it has no notes and no length"},
		{"data first", midi(0, 96, "\x00\x40\x40"),
			"midi file: track 1, byte 24: data byte 0x40 without an event before it"},
		{"running status over a meta event", midi(0, 96, "\x00\x90\x40\x40\x00\xff\x01\x00\x00\x40\x40"),
			"midi file: track 1, byte 32: data byte 0x40 without an event before it"},
		{"long number", midi(0, 96, "\x81\x81\x81\x81\x01\x90\x40\x40"),
			"midi file: track 1, byte 26: a number longer than four bytes"},
		{"number without end", midi(0, 96, "\x81"), "midi file: track 1, byte 23: the track ends within a number"},
		{"event without end", midi(0, 96, "\x00\x90\x40"),
			"midi file: track 1, byte 24: the track ends within an event"},
		{"huge meta event", midi(0, 96, "\x00\xff\x03\xff\xff\xff\x7f"),
			"midi file: track 1, byte 29: the track ends within an event"},
		{"high data", midi(0, 96, "\x00\x90\x90\x40"), "midi file: track 1, byte 26: data byte 0x90 above 0x7f"},
		{"real time", midi(0, 96, "\x00\xf8"), "midi file: track 1, byte 24: event 0xf8 does not belong in a file"},
		{"short tempo", midi(0, 96, "\x00\xff\x51\x02\x07\xa1"),
			"midi file: track 1, byte 28: a tempo of 2 bytes, not 3"},
		{"no tempo", midi(0, 96, "\x00\xff\x51\x03\x00\x00\x00"),
			"midi file: track 1, byte 29: a tempo of 0 microseconds per quarter note"},
		{"short signature", midi(0, 96, "\x00\xff\x58\x01\x04"),
			"midi file: track 1, byte 27: a time signature of 1 bytes, not 4"},
		{"odd signature", midi(0, 96, "\x00\xff\x58\x04\x04\x07\x18\x08"),
			"midi file: track 1, byte 30: a time signature on 1/2^7 notes"},
		{"empty signature", midi(0, 96, "\x00\xff\x58\x04\x00\x02\x18\x08"),
			"midi file: track 1, byte 30: meter 0/4: the upper number must be 1 to 64"},
		{"coarse division", midi(0, 1, "\x00\xff\x58\x04\x03\x04\x18\x08\x00\x90\x43\x40\x60\x43\x00"),
			"midi file: measure 1: 1 ticks per quarter note are too few for 3/16"},
		{"endless", midi(0, 1, "\x00\x90\x43\x40\xff\xff\xff\x7f\x43\x00"), "midi file: more than 10000 measures"},
		{"crooked measure",
			midi(0, 96, "\x00\x90\x43\x40\x83\x00\x43\x00\x07\xff\x58\x04\x04\x02\x18\x08\x00\x90\x43\x40\x83\x00\x43\x00"), "midi file: measure 2: it is 0.0729167 quarter notes long, which no time signature can say"},
	} {
		_, err := Read(bytes.NewReader(c.data))
		if err == nil || err.Error() != c.want {
			t.Errorf("%s:\n got %v\nwant %s", c.name, err, c.want)
		}
	}
	if _, err := Read(bytes.NewReader(make([]byte, MaxBytes+1))); err == nil ||
		!strings.Contains(err.Error(), "larger than 16 MiB") {
		t.Errorf("a large file: %v", err)
	}
	broken := errReader{}
	if _, err := Read(broken); err != errBroken {
		t.Errorf("a broken reader: %v", err)
	}
}

var errBroken = fmt.Errorf("broken")

type errReader struct{}

func (errReader) Read([]byte) (int, error) { return 0, errBroken }

// The table of variable-length quantities in the Standard MIDI Files 1.0
// specification.
func TestNumbers(t *testing.T) {
	for _, c := range []struct {
		value int64
		bytes string
	}{
		{0, "\x00"}, {0x40, "\x40"}, {0x7f, "\x7f"}, {0x80, "\x81\x00"}, {0x2000, "\xc0\x00"}, {0x3fff, "\xff\x7f"},
		{0x4000, "\x81\x80\x00"}, {0x1fffff, "\xff\xff\x7f"}, {0x200000, "\x81\x80\x80\x00"},
		{0xfffffff, "\xff\xff\xff\x7f"},
	} {
		if got := string(appendNumber(nil, c.value)); got != c.bytes {
			t.Errorf("%#x is written % x, want % x", c.value, got, c.bytes)
		}
		p := reader{data: []byte(c.bytes)}
		if got, err := p.number(); err != nil || got != c.value {
			t.Errorf("% x is read as %#x, %v", c.bytes, got, err)
		}
	}
}

func FuzzRead(f *testing.F) {
	for _, s := range []string{"",
		tempo120 + fourFour + "\x00\x90\x3c\x40\x60\x3c\x00" + endTrack,
		"\x00\xff\x58\x04\x01\x02\x18\x08\x00\x90\x43\x40\x60\x43\x00" + fourFour + "\x00\x90\x48\x40\x83\x00\x48\x00" +
			endTrack,
		"\x00\xf0\x03\x7e\x7f\xf7\x00\xc0\x05\x00\xff\x7f\x02ab",
		"\x00\x90\x43\x40\xff\xff\xff\x7f\x43\x00",
	} {
		f.Add(midi(0, 96, s))
		f.Add(midi(1, 480, s, s))
	}
	f.Add(midi(0, 0xe728, endTrack))
	m := mixed(f, tempo.CountIn{Measures: 2}, 1)
	var b bytes.Buffer
	if err := Write(&b, m, Options{}); err != nil {
		f.Fatal(err)
	}
	f.Add(b.Bytes())
	f.Fuzz(func(t *testing.T, data []byte) {
		s, err := Read(bytes.NewReader(data))
		if err != nil {
			return
		}
		m, err := tempo.New(s.Spec)
		if err != nil {
			t.Fatalf("read, but has no map: %v", err)
		}
		for _, p := range s.Parts {
			last := math.Inf(-1)
			for _, at := range p.Seconds(m) {
				if !(at > last) {
					t.Fatalf("%s: onset at %v after %v", p.Name, at, last)
				}
				last = at
			}
		}
	})
}
