package score_test

import (
	"bytes"
	"encoding/binary"
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"ripieno/mix/tempo"
	"ripieno/mix/tempo/musicxml"
	"ripieno/mix/tempo/score"
	"ripieno/mix/tempo/smf"
)

// A piece is invented, written by hand-made writers in both formats, and read
// back: the truth, the MusicXML and the MIDI reader must tell the same story.

// ticks of a quarter note in both files.
const ticks = 480

type inventedNote struct{ begin, length, key int } // ticks from the piece's first place

type inventedMeasure struct {
	begin, length int
	upper, lower  int // of the time signature in force
	micro         int // µs per quarter from its downbeat on
}

type invented struct {
	pickUp   bool
	measures []inventedMeasure
	parts    [][]inventedNote
}

func invent(r *rand.Rand) invented {
	signatures := [][2]int{{4, 4}, {3, 4}, {2, 2}, {6, 8}, {5, 8}, {9, 8}, {7, 8}}
	piece := invented{pickUp: r.IntN(2) == 0}
	sig, micro, at := signatures[r.IntN(len(signatures))], 300_000+r.IntN(900_000), 0
	for i := range 8 + r.IntN(20) {
		// The measure after a pick-up keeps its signature: a change there
		// would make it no pick-up in one of the formats.
		if i > 1 && r.IntN(4) == 0 {
			sig = signatures[r.IntN(len(signatures))]
		}
		if i > 0 && r.IntN(3) == 0 {
			micro = 300_000 + r.IntN(900_000)
		}
		m := inventedMeasure{begin: at, length: 4 * ticks * sig[0] / sig[1], upper: sig[0], lower: sig[1], micro: micro}
		if i == 0 && piece.pickUp {
			m.length = ticks / 2 * (1 + r.IntN(2))
		}
		at += m.length
		piece.measures = append(piece.measures, m)
	}
	for range 1 + r.IntN(4) {
		var notes []inventedNote
		for _, m := range piece.measures {
			// Notes and rests in eighths, triplets of a quarter or quarters.
			unit := []int{ticks / 2, ticks / 3, ticks}[r.IntN(3)]
			for t := 0; t+unit <= m.length; t += unit {
				if r.IntN(3) > 0 {
					notes = append(notes, inventedNote{m.begin + t, unit, 36 + r.IntN(48)})
				}
			}
		}
		// The last note reaches the end, so that MIDI knows the length too.
		last := piece.measures[len(piece.measures)-1]
		notes = slices.DeleteFunc(notes, func(n inventedNote) bool { return n.begin >= last.begin })
		piece.parts = append(piece.parts, append(notes, inventedNote{last.begin, last.length, 60}))
	}
	return piece
}

func (p invented) musicXML() string {
	var b strings.Builder
	b.WriteString(`<score-partwise><part-list>`)
	for i := range p.parts {
		fmt.Fprintf(&b, `<score-part id="P%d"><part-name>Part %d</part-name></score-part>`, i, i)
	}
	b.WriteString(`</part-list>`)
	names := []string{"C", "C#", "D", "D#", "E", "F", "F#", "G", "G#", "A", "A#", "B"}
	for i, notes := range p.parts {
		fmt.Fprintf(&b, `<part id="P%d">`, i)
		for k, m := range p.measures {
			fmt.Fprintf(&b, `<measure number="%d"><attributes>`, k)
			if k == 0 {
				fmt.Fprintf(&b, `<divisions>%d</divisions>`, ticks)
			}
			if k == 0 || m.upper != p.measures[k-1].upper || m.lower != p.measures[k-1].lower {
				fmt.Fprintf(&b, `<time><beats>%d</beats><beat-type>%d</beat-type></time>`, m.upper, m.lower)
			}
			b.WriteString(`</attributes>`)
			if i == 0 && (k == 0 || m.micro != p.measures[k-1].micro) {
				fmt.Fprintf(&b, `<sound tempo="%.12g"/>`, 60e6/float64(m.micro))
			}
			at := m.begin
			for _, n := range notes {
				if n.begin < m.begin || n.begin >= m.begin+m.length {
					continue
				}
				if n.begin > at {
					fmt.Fprintf(&b, `<note><rest/><duration>%d</duration></note>`, n.begin-at)
				}
				name, alter := names[n.key%12], ""
				if len(name) == 2 {
					name, alter = name[:1], "<alter>1</alter>"
				}
				fmt.Fprintf(&b,
					`<note><pitch><step>%s</step>%s<octave>%d</octave></pitch><duration>%d</duration></note>`, name,
					alter, n.key/12-1, n.length)
				at = n.begin + n.length
			}
			if end := m.begin + m.length; at < end {
				fmt.Fprintf(&b, `<forward><duration>%d</duration></forward>`, end-at)
			}
			b.WriteString(`</measure>`)
		}
		b.WriteString(`</part>`)
	}
	return b.String() + `</score-partwise>`
}

func (p invented) midi() []byte {
	type event struct {
		tick int
		data []byte
	}
	track := func(name string, events []event) []byte {
		slices.SortStableFunc(events, func(a, b event) int { return a.tick - b.tick })
		body := append([]byte{0, 0xff, 0x03, byte(len(name))}, name...)
		at := 0
		for _, e := range events {
			d := e.tick - at
			at = e.tick
			body = append(body, byte(d>>14)|0x80, byte(d>>7)|0x80, byte(d&0x7f))
			body = append(body, e.data...)
		}
		body = append(body, 0, 0xff, 0x2f, 0)
		return append(binary.BigEndian.AppendUint32([]byte("MTrk"), uint32(len(body))), body...)
	}
	var lead []event
	signature := func(tick, upper, lower int) {
		exponent := byte(math.Log2(float64(lower)))
		lead = append(lead, event{tick, []byte{0xff, 0x58, 4, byte(upper), exponent, 24, 8}})
	}
	for k, m := range p.measures {
		switch {
		case k == 0 && p.pickUp:
			signature(0, m.length/(ticks/2), 8)
		case k == 0, k == 1 && p.pickUp, m.upper != p.measures[k-1].upper, m.lower != p.measures[k-1].lower:
			signature(m.begin, m.upper, m.lower)
		}
		if k == 0 || m.micro != p.measures[k-1].micro {
			lead = append(lead, event{m.begin,
				[]byte{0xff, 0x51, 3, byte(m.micro >> 16), byte(m.micro >> 8), byte(m.micro)}})
		}
	}
	out := []byte("MThd\x00\x00\x00\x06\x00\x01")
	out = binary.BigEndian.AppendUint16(out, uint16(1+len(p.parts)))
	out = binary.BigEndian.AppendUint16(out, ticks)
	out = append(out, track("", lead)...)
	for i, notes := range p.parts {
		var events []event
		for _, n := range notes {
			events = append(events, event{n.begin, []byte{0x90, byte(n.key), 80}},
				event{n.begin + n.length, []byte{0x80, byte(n.key), 0}})
		}
		out = append(out, track(fmt.Sprintf("Part %d", i), events)...)
	}
	return out
}

// seconds returns the true time of a tick after the first place, from the measures'
// tempos.
func (p invented) seconds(tick int) float64 {
	s := 0.0
	for _, m := range p.measures {
		s += float64(min(max(tick-m.begin, 0), m.length)) / ticks * float64(m.micro) * 1e-6
	}
	return s
}

func TestInventedPieces(t *testing.T) {
	r := rand.New(rand.NewPCG(17, 50))
	for range 40 {
		piece := invent(r)
		fromXML, err := musicxml.Read(strings.NewReader(piece.musicXML()))
		if err != nil {
			t.Fatal(err)
		}
		fromMIDI, err := smf.Read(bytes.NewReader(piece.midi()))
		if err != nil {
			t.Fatal(err)
		}
		for _, s := range []*score.Score{fromXML, fromMIDI} {
			piece.check(t, s)
			if t.Failed() {
				t.Fatalf("%+v\n%+v", piece.measures, s.Spec)
			}
		}
	}
}

// check compares a reader's score with the truth.
func (p invented) check(t *testing.T, s *score.Score) {
	t.Helper()
	m, err := tempo.New(s.Spec)
	if err != nil {
		t.Error(err)
		return
	}
	played := p.measures
	if p.pickUp {
		played = played[1:]
	}
	if (s.Spec.PickUp > 0) != p.pickUp || m.Measures() != len(played) {
		t.Errorf("pick-up of %g beats and %d measures, want %v and %d", s.Spec.PickUp, m.Measures(), p.pickUp,
			len(played))
		return
	}
	near := func(what string, got float64, tick int) {
		if want := p.seconds(tick); math.Abs(got-want) > 1e-7 {
			t.Errorf("%s at %.9f s, want %.9f", what, got, want)
		}
	}
	for i, want := range played {
		at, err := m.Seconds(tempo.Position{Measure: i + 1, Beat: 1})
		if err != nil {
			t.Error(err)
		}
		near(fmt.Sprintf("measure %d", i+1), at, want.begin)
		if upper, lower := m.Meter(i + 1).Fraction(); upper != want.upper || lower != want.lower {
			t.Errorf("measure %d in %d/%d, want %d/%d", i+1, upper, lower, want.upper, want.lower)
		}
	}
	last := p.measures[len(p.measures)-1]
	near("the end", m.End(), last.begin+last.length)
	if len(s.Parts) != len(p.parts) {
		t.Errorf("%d parts, want %d", len(s.Parts), len(p.parts))
		return
	}
	for i, notes := range p.parts {
		part := s.Parts[i]
		if part.Name != fmt.Sprintf("Part %d", i) || len(part.Onsets) != len(notes) {
			t.Errorf("%q with %d notes, want Part %d with %d", part.Name, len(part.Onsets), i, len(notes))
			return
		}
		for j, at := range part.Seconds(m) {
			near("a note", at, notes[j].begin)
			if part.Onsets[j].Note != notes[j].key {
				t.Errorf("note %d of %s is %d, want %d", j, part.Name, part.Onsets[j].Note, notes[j].key)
			}
		}
	}
}
