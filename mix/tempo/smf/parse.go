package smf

import (
	"cmp"
	"encoding/binary"
	"errors"
	"fmt"
	"slices"
	"strings"
	"unicode"
	"unicode/utf8"

	"ripieno/mix/tempo"
	"ripieno/mix/tempo/score"
)

// file is what parse takes from the bytes; times are ticks from the start.
type file struct {
	format   int
	division int64 // ticks in a quarter note
	tracks   []track
	tempos   []tempoEvent
	meters   []meterEvent
	marks    []markEvent
	keys     []keyEvent
	sounding []span // when some note sounds, in order and apart from each other
	last     int64  // last event of any kind
	lastNote int64  // end of the last note, 0 without notes
	notes    int
}

// track is one MTrk chunk; tempo and meter events of all tracks are kept
// together in file, since some programs write them beside the notes.
type track struct {
	name  string
	notes []note
}

// note is a note's beginning; nobody needs its end but the piece's length.
type note struct {
	tick    int64
	channel uint8 // 0 to 15
	key     uint8
}

// tempoEvent is a change of tempo (FF 51): microseconds a quarter, from a tick on.
type tempoEvent struct {
	tick  int64
	micro int64 // microseconds per quarter note
}

// meterEvent is a time signature (FF 58).
type meterEvent struct {
	tick  int64
	meter tempo.Meter
}

// markEvent is a text that marks a place (FF 06).
type markEvent struct {
	tick int64
	text string
}

// keyEvent is a key signature (FF 59).
type keyEvent struct {
	tick int64
	key  score.Key
}

// span is a stretch of ticks.
type span struct{ begin, end int64 }

var errTruncated = errors.New("the file ends too early: it was not written or copied completely")

// parse reads the header chunk (length, format, number of tracks, division;
// all big endian) and the tracks. Lengths are checked against the bytes that
// are there before they are used.
func parse(data []byte) (*file, error) {
	if len(data) < 14 || string(data[:4]) != "MThd" {
		if len(data) >= 4 && string(data[:4]) == "RIFF" {
			return nil, errors.New("this is a RIFF file: save it as a standard MIDI file (.mid)")
		}
		return nil, errors.New("it does not begin like one (MThd)")
	}
	// The header may be longer than 6 bytes in later versions.
	header := int64(binary.BigEndian.Uint32(data[4:]))
	if header < 6 || 8+header > int64(len(data)) {
		return nil, errTruncated
	}
	f := &file{format: int(binary.BigEndian.Uint16(data[8:]))}
	count := int(binary.BigEndian.Uint16(data[10:]))
	division := binary.BigEndian.Uint16(data[12:])
	switch {
	case f.format == 2:
		return nil, errors.New("format 2 holds separate patterns without a common time: save it as format 0 or 1")
	case f.format > 2:
		return nil, fmt.Errorf("format %d is unknown, only 0 and 1 are read", f.format)
	case division&0x8000 != 0:
		return nil, fmt.Errorf("its division is SMPTE time (%d frames a second): such a file has seconds but no "+
			"beats; export it with ticks per quarter note", 256-int(division>>8))
	case division == 0:
		return nil, errors.New("its division is 0 ticks per quarter note")
	case count > maxTracks:
		return nil, fmt.Errorf("it has %d tracks, more than %d", count, maxTracks)
	case f.format == 0 && count != 1:
		return nil, fmt.Errorf("format 0 has one track, this one %d", count)
	}
	f.division = int64(division)
	at := 8 + int(header)
	for len(f.tracks) < count {
		if at+8 > len(data) {
			return nil, errTruncated
		}
		name, size := string(data[at:at+4]), int64(binary.BigEndian.Uint32(data[at+4:]))
		at += 8
		if size > int64(len(data)-at) {
			return nil, errTruncated
		}
		if name == "MTrk" { // other chunks are to be skipped
			p := reader{data: data[:at+int(size)], at: at, file: f, open: map[[2]byte]int64{}}
			if err := p.track(); err != nil {
				return nil, fmt.Errorf("track %d, byte %d: %w", len(f.tracks)+1, p.at, err)
			}
		}
		at += int(size)
	}
	f.joinSounding()
	return f, nil
}

// reader reads the events of one track.
type reader struct {
	data   []byte // up to the track's end
	at     int
	file   *file
	tick   int64
	status byte // running status, 0: none
	out    track
	open   map[[2]byte]int64 // when the notes began that sound now, by channel and key
}

// track reads events up to the end of track, or to the end of the chunk for
// files that lack the event.
func (p *reader) track() error {
	for p.at < len(p.data) {
		delta, err := p.number()
		if err != nil {
			return err
		}
		p.tick += delta
		end, err := p.event()
		if err != nil {
			return err
		}
		if end {
			break
		}
	}
	p.file.last = max(p.file.last, p.tick)
	p.file.tracks = append(p.file.tracks, p.out)
	return nil
}

// number reads a variable-length quantity of at most four bytes.
func (p *reader) number() (int64, error) {
	var v int64
	for i := 0; ; i++ {
		if i == 4 {
			return 0, errors.New("a number longer than four bytes")
		}
		if p.at == len(p.data) {
			return 0, errors.New("the track ends within a number")
		}
		b := p.data[p.at]
		p.at++
		v = v<<7 | int64(b&0x7f)
		if b < 0x80 {
			return v, nil
		}
	}
}

// take returns the next n bytes and goes on behind them. It fails where the track has fewer.
func (p *reader) take(n int64) ([]byte, error) {
	if n > int64(len(p.data)-p.at) {
		return nil, errors.New("the track ends within an event")
	}
	b := p.data[p.at : p.at+int(n)]
	p.at += int(n)
	return b, nil
}

// event reads one event after its delta time; end is the end of the track.
func (p *reader) event() (end bool, err error) {
	b, err := p.take(1)
	if err != nil {
		return false, err
	}
	status := b[0]
	switch {
	case status == 0xff:
		p.status = 0
		return p.meta()
	case status == 0xf0 || status == 0xf7:
		// System exclusive and meta events cancel running status.
		p.status = 0
		size, err := p.number()
		if err == nil {
			_, err = p.take(size)
		}
		return false, err
	case status >= 0xf0:
		return false, fmt.Errorf("event %#x does not belong in a file", status)
	case status >= 0x80:
		p.status = status
	case p.status == 0:
		return false, fmt.Errorf("data byte %#x without an event before it", status)
	default:
		p.at-- // running status: the byte is data already
	}
	return false, p.channelEvent()
}

// channelEvent reads the data of an event with a channel: one byte for program
// change and channel pressure, else two, each below 0x80.
func (p *reader) channelEvent() error {
	size := int64(2)
	if kind := p.status & 0xf0; kind == 0xc0 || kind == 0xd0 {
		size = 1
	}
	d, err := p.take(size)
	if err != nil {
		return err
	}
	for _, b := range d {
		if b >= 0x80 {
			return fmt.Errorf("data byte %#x above 0x7f", b)
		}
	}
	f := p.file
	switch p.status & 0xf0 {
	case 0x80:
		f.lastNote = max(f.lastNote, p.tick)
		p.release(d[0])
	case 0x90:
		f.lastNote = max(f.lastNote, p.tick)
		p.release(d[0])
		if d[1] == 0 {
			return nil // a note on without velocity is a note off
		}
		p.open[[2]byte{p.status & 0x0f, d[0]}] = p.tick
		if f.notes++; f.notes > maxNotes {
			return fmt.Errorf("more than %d notes", maxNotes)
		}
		p.out.notes = append(p.out.notes, note{p.tick, p.status & 0x0f, d[0]})
	}
	return nil
}

// release ends a note, if it sounds.
func (p *reader) release(key byte) {
	id := [2]byte{p.status & 0x0f, key}
	if begin, ok := p.open[id]; ok {
		delete(p.open, id)
		p.file.sounding = append(p.file.sounding, span{begin, p.tick})
	}
}

// joinSounding puts the spans in which notes sound in order and joins those that meet.
func (f *file) joinSounding() {
	slices.SortFunc(f.sounding, func(a, b span) int { return cmp.Compare(a.begin, b.begin) })
	joined := f.sounding[:0]
	for _, s := range f.sounding {
		if n := len(joined); n > 0 && s.begin <= joined[n-1].end {
			joined[n-1].end = max(joined[n-1].end, s.end)
			continue
		}
		joined = append(joined, s)
	}
	f.sounding = joined
}

// meta reads a meta event, FF kind length data; kinds not named are skipped.
func (p *reader) meta() (end bool, err error) {
	kind, err := p.take(1)
	if err != nil {
		return false, err
	}
	size, err := p.number()
	if err != nil {
		return false, err
	}
	d, err := p.take(size)
	if err != nil {
		return false, err
	}
	f := p.file
	if len(f.tempos)+len(f.meters)+len(f.marks)+len(f.keys) > maxEvents {
		return false, fmt.Errorf("more than %d tempo and meter events", maxEvents)
	}
	switch kind[0] {
	case 0x2f: // end of track
		return true, nil
	case 0x03: // track name
		if p.out.name == "" {
			p.out.name = text(d)
		}
	case 0x06: // marker
		if t := text(d); t != "" {
			f.marks = append(f.marks, markEvent{p.tick, t})
		}
	case 0x59: // key signature: sharps or flats, and 1 for minor
		if len(d) >= 2 && int8(d[0]) >= -7 && int8(d[0]) <= 7 {
			f.keys = append(f.keys, keyEvent{p.tick, score.Key{Fifths: int(int8(d[0])), Minor: d[1] == 1}})
		}
	case 0x51: // tempo
		if len(d) != 3 {
			return false, fmt.Errorf("a tempo of %d bytes, not 3", len(d))
		}
		micro := int64(d[0])<<16 | int64(d[1])<<8 | int64(d[2])
		if micro == 0 {
			return false, errors.New("a tempo of 0 microseconds per quarter note")
		}
		f.tempos = append(f.tempos, tempoEvent{p.tick, micro})
	case 0x58: // time signature; clocks per click are not reliable enough to use
		if len(d) < 2 {
			return false, fmt.Errorf("a time signature of %d bytes, not 4", len(d))
		}
		if d[1] > 6 {
			return false, fmt.Errorf("a time signature on 1/2^%d notes", d[1])
		}
		m, err := tempo.MeterOf([]int{int(d[0])}, 1<<d[1])
		if err != nil {
			return false, err
		}
		f.meters = append(f.meters, meterEvent{p.tick, m})
	}
	return false, nil
}

// text returns a name as UTF-8 without control characters and of sensible length;
// what is not UTF-8 is taken for Latin-1.
func text(d []byte) string {
	if len(d) > 400 {
		d = d[:400]
	}
	s := string(d)
	if !utf8.ValidString(s) {
		runes := make([]rune, len(d))
		for i, b := range d {
			runes[i] = rune(b)
		}
		s = string(runes)
	}
	return strings.TrimSpace(strings.Map(func(r rune) rune {
		if unicode.IsControl(r) {
			return ' '
		}
		return r
	}, s))
}
