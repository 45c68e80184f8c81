package smf

import (
	"cmp"
	"encoding/binary"
	"fmt"
	"io"
	"math"
	"slices"
	"strings"

	"ripieno/mix/tempo"
)

// Percussion notes on channel 10 (General MIDI level 1 percussion map). Side
// stick on every beat and closed hi-hat on the cue are common practice.
const (
	SideStick    = 37
	ClosedHiHat  = 42
	LowWoodBlock = 77
)

// division is the ticks in a quarter note of written files: 960 divides
// evenly by 2 to 6, 8 and 10 and by all note values to a 64th with triplets.
const division = 960

// Options is what a written file can be asked for.
type Options struct {
	Title        string
	Subdivisions int // as tempo.Map.Pulses takes them; 0 or 1: beats only, −1: the written ones
}

// Write writes m as a format 1 file: a track with tempo and time signatures
// and one with the clicks, count-in included, on channel 10: side stick,
// loudest on downbeats, closed hi-hat on the cue, low wood block on
// subdivisions. Tick 0 is guide time 0.
//
// MIDI has no ramps, and its tempos are whole microseconds per quarter note.
// Ramps become short steps, and each new tempo makes up for what rounding
// left, so every click is within 10 µs of the map (half a sample at 48 kHz)
// for any length. A hold becomes a slow tempo up to the next click; one that
// would need a quarter note of more than 16.7 s is an error. Groups of an
// additive meter have no place in a time signature and are lost.
func Write(w io.Writer, m *tempo.Map, o Options) error {
	t := conductor{m: m, parts: max(o.Subdivisions, 1), begin: m.QuartersAt(0)}
	if o.Subdivisions < 0 {
		t.parts = 0
	}
	t.end = t.tick(t.quartersAtEnd())
	if err := t.conduct(o.Title); err != nil {
		return fmt.Errorf("midi file: %w", err)
	}
	header := []byte("MThd\x00\x00\x00\x06\x00\x01\x00\x02")
	header = binary.BigEndian.AppendUint16(header, division)
	for _, chunk := range [][]byte{header, t.track.bytes(t.end), t.clicks().bytes(t.end)} {
		if _, err := w.Write(chunk); err != nil {
			return err
		}
	}
	return nil
}

// stream collects the events of a track.
type stream struct{ events []event }

// event is a message at a tick: its status byte and what follows it.
type event struct {
	tick int64
	data []byte
}

// add appends an event. Events of one tick stay in the order in which they were added.
func (s *stream) add(tick int64, data ...byte) { s.events = append(s.events, event{tick, data}) }

// bytes returns the track as a chunk that ends at tick end.
func (s *stream) bytes(end int64) []byte {
	slices.SortStableFunc(s.events, func(a, b event) int { return cmp.Compare(a.tick, b.tick) })
	var body []byte
	at := int64(0)
	for _, e := range append(s.events, event{end, []byte{0xff, 0x2f, 0x00}}) {
		body = appendNumber(body, max(e.tick-at, 0))
		at = max(at, e.tick)
		body = append(body, e.data...)
	}
	return append(binary.BigEndian.AppendUint32([]byte("MTrk"), uint32(len(body))), body...)
}

// appendNumber appends a variable-length quantity.
func appendNumber(b []byte, v int64) []byte {
	for shift := 21; shift > 0; shift -= 7 {
		if v >= 1<<shift {
			b = append(b, byte(v>>shift)|0x80)
		}
	}
	return append(b, byte(v&0x7f))
}

// name appends a track name of at most 120 bytes, whose length fits one byte of the format.
func (s *stream) name(text string) {
	text = strings.ToValidUTF8(text[:min(len(text), 120)], "")
	s.add(0, append([]byte{0xff, 0x03, byte(len(text))}, text...)...)
}

// clicks returns the track of percussion notes.
func (t *conductor) clicks() *stream {
	var s stream
	s.name("Click")
	for b := range t.m.Pulses(math.Inf(-1), math.Inf(1), t.parts) {
		key, velocity := byte(SideStick), byte(90)
		switch {
		case b.Cue:
			key, velocity = ClosedHiHat, 127
		case b.Part > 0:
			key, velocity = LowWoodBlock, 50
		case b.Downbeat:
			velocity = 127
		case b.Accent:
			velocity = 108
		}
		at := t.tick(t.m.QuartersAt(b.Seconds))
		s.add(at, 0x99, key, velocity)
		s.add(min(at+division/16, t.end), 0x89, key, 64)
	}
	return &s
}
