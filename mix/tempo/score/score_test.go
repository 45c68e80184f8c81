package score_test

import (
	"bytes"
	"encoding/binary"
	"fmt"
	"math"
	"strings"
	"testing"

	"ripieno/mix/tempo"
	"ripieno/mix/tempo/musicxml"
	"ripieno/mix/tempo/score"
	"ripieno/mix/tempo/smf"
)

// The same small piece in both formats: a pick-up of a quarter in 4/4 at 88, a
// change to 6/8 with dotted quarter = 72, a tempo change within a measure,
// and two parts.
const pieceXML = `<score-partwise><work><work-title>Little Round</work-title></work><part-list>
<score-part id="P1"><part-name>Oboe</part-name></score-part><score-part id="P2"><part-name>Horn</part-name></score-part></part-list>
<part id="P1">
<measure number="0" implicit="yes"><attributes><divisions>2</divisions><time><beats>4</beats><beat-type>4</beat-type></time></attributes>
<direction><direction-type><metronome><beat-unit>quarter</beat-unit><per-minute>88</per-minute></metronome></direction-type></direction>
<note><pitch><step>G</step><octave>4</octave></pitch><duration>2</duration></note></measure>
<measure number="1"><note><pitch><step>C</step><octave>5</octave></pitch><duration>6</duration></note><note><pitch><step>D</step><octave>5</octave></pitch><duration>2</duration></note></measure>
<measure number="2"><attributes><time><beats>6</beats><beat-type>8</beat-type></time></attributes>
<direction><direction-type><metronome><beat-unit>quarter</beat-unit><beat-unit-dot/><per-minute>72</per-minute></metronome></direction-type></direction>
<note><pitch><step>E</step><octave>5</octave></pitch><duration>3</duration></note><note><pitch><step>F</step><octave>5</octave></pitch><duration>3</duration></note></measure>
<measure number="3"><note><pitch><step>G</step><octave>5</octave></pitch><duration>3</duration></note>
<direction><direction-type><words>slower</words></direction-type><sound tempo="80"/></direction>
<note><pitch><step>C</step><octave>5</octave></pitch><duration>3</duration></note></measure>
</part>
<part id="P2">
<measure number="0"><attributes><divisions>1</divisions></attributes><note><rest/><duration>1</duration></note></measure>
<measure number="1"><note><pitch><step>C</step><octave>3</octave></pitch><duration>4</duration></note></measure>
<measure number="2"><note><pitch><step>C</step><octave>3</octave></pitch><duration>3</duration></note></measure>
<measure number="3"><note><pitch><step>G</step><octave>2</octave></pitch><duration>3</duration></note></measure>
</part></score-partwise>`

// pieceMIDI writes the piece with 480 ticks to the quarter.
func pieceMIDI() []byte {
	type event struct {
		tick int
		data string
	}
	micro := func(quarters float64) string {
		v := uint32(math.Round(60e6 / quarters))
		return "\xff\x51\x03" + string(binary.BigEndian.AppendUint32(nil, v)[1:])
	}
	track := func(name string, events ...event) []byte {
		body := append([]byte("\x00\xff\x03"), byte(len(name)))
		body = append(body, name...)
		at := 0
		for _, e := range events {
			delta := e.tick - at
			at = e.tick
			body = append(body, byte(delta>>7)|0x80, byte(delta&0x7f))
			body = append(body, e.data...)
		}
		body = append(body, "\x00\xff\x2f\x00"...)
		return append(binary.BigEndian.AppendUint32([]byte("MTrk"), uint32(len(body))), body...)
	}
	out := []byte("MThd\x00\x00\x00\x06\x00\x01\x00\x03\x01\xe0")
	out = append(out, track("Little Round",
		event{0, "\xff\x58\x04\x01\x02\x18\x08"}, event{0, micro(88)},
		event{480, "\xff\x58\x04\x04\x02\x18\x08"},
		event{2400, "\xff\x58\x04\x06\x03\x24\x08"}, event{2400, micro(108)},
		event{4560, micro(80)})...)
	notes := func(channel byte, at []int, keys ...byte) []event {
		var all []event
		for i, k := range keys {
			all = append(all, event{at[i], string([]byte{0x90 | channel, k, 80})},
				event{at[i+1], string([]byte{0x80 | channel, k, 64})})
		}
		return all
	}
	out = append(out, track("Oboe", notes(0, []int{0, 480, 1920, 2400, 3120, 3840, 4560, 5280}, 67, 72, 74, 76, 77, 79,
		72)...)...)
	return append(out, track("Horn", notes(1, []int{480, 2400, 3840, 5280}, 48, 48, 43)...)...)
}

func TestBothFormatsGiveOneMap(t *testing.T) {
	fromXML, err := musicxml.Read(strings.NewReader(pieceXML))
	if err != nil {
		t.Fatal(err)
	}
	fromMIDI, err := smf.Read(bytes.NewReader(pieceMIDI()))
	if err != nil {
		t.Fatal(err)
	}
	if fromXML.Title != "Little Round" || fromMIDI.Title != fromXML.Title {
		t.Errorf("titles %q, %q", fromXML.Title, fromMIDI.Title)
	}
	a, b := fromXML.Spec, fromMIDI.Spec
	if a.PickUp != 1 || a.Measures != 3 || b.PickUp != 1 || b.Measures != 3 {
		t.Fatalf("%+v\n%+v", a, b)
	}
	a.CountIn.Measures, b.CountIn.Measures = 4, 4
	x, y := build(t, a), build(t, b)
	for n := 1; n <= 3; n++ {
		if x.Meter(n) != y.Meter(n) {
			t.Errorf("measure %d in %v and %v", n, x.Meter(n), y.Meter(n))
		}
	}
	// Worked out by hand: four measures of 4/4 at 88, then as written.
	want := 16*60.0/88 + 4*60.0/88 + 4*60/72.0 - 1.5*60/108 + 1.5*60/80
	for _, m := range []*tempo.Map{x, y} {
		if d := math.Abs(m.End() - want); d > 1.0/48000 {
			t.Errorf("ends at %.7f s, want %.7f", m.End(), want)
		}
	}
	const sample = 1.0 / 48000
	for s := 0.0; s < want; s += 0.01 {
		if d := math.Abs(x.SecondsAt(y.QuartersAt(s)) - s); d > sample {
			t.Fatalf("at %.2f s the maps differ by %.2f samples", s, d/sample)
		}
	}
	if len(fromXML.Parts) != 2 || len(fromMIDI.Parts) != 2 {
		t.Fatalf("%d and %d parts", len(fromXML.Parts), len(fromMIDI.Parts))
	}
	for i, p := range fromXML.Parts {
		q := fromMIDI.Parts[i]
		if p.Name != q.Name || fmt.Sprint(p.Onsets) != fmt.Sprint(q.Onsets) {
			t.Errorf("part %s %v\n and %s %v", p.Name, p.Onsets, q.Name, q.Onsets)
		}
	}
}

func build(t *testing.T, s tempo.Spec) *tempo.Map {
	t.Helper()
	m, err := tempo.New(s)
	if err != nil {
		t.Fatal(err)
	}
	return m
}

func meter(t *testing.T, s string) tempo.Meter {
	t.Helper()
	m, err := tempo.ParseMeter(s)
	if err != nil {
		t.Fatal(err)
	}
	return m
}

func TestAssembleRefuses(t *testing.T) {
	four := meter(t, "4/4")
	one := score.Written{Measures: []score.Measure{{Number: "1", Meter: four}}}
	loud := one
	loud.Parts = []score.WrittenPart{{Onsets: make([]score.WrittenOnset, 300_000)}}
	odd := score.Written{Measures: []score.Measure{{Number: "7a", Meter: four, Length: 1.0 / 3}}}
	fast := score.Written{Measures: []score.Measure{
		{Number: "1", Meter: four, Tempos: []score.Tempo{{Unit: tempo.Unit{Num: 1, Den: 4}, BPM: 1e6}}}}}
	for _, c := range []struct {
		w     score.Written
		order []int
		want  string
	}{
		{one, nil, "the score has no measures"},
		{one, make([]int, tempo.MaxMeasures+1), "the score has more than 10000 measures as played"},
		{loud, make([]int, 10), "the score has more than 2000000 notes as played"},
		{odd, []int{0}, "measure 7a: it is 0.333333 quarter notes long, which no time signature can say"},
		{fast, []int{0}, "tempo: measure 1: a tempo of 1e+06 beats a minute"},
	} {
		if s, err := score.Assemble(c.w, c.order); err == nil || err.Error() != c.want || s != nil {
			t.Errorf("%v, want %s", err, c.want)
		}
	}
}

// A chord is one onset in time; a pick-up's notes have their place in guide
// time; a pick-up that fills its measure is measure 1.
func TestPartSeconds(t *testing.T) {
	w := score.Written{PickUp: true,
		Measures: []score.Measure{{Number: "0", Meter: meter(t, "3/4"), Length: 1},
			{Number: "1", Meter: meter(t, "3/4")}},
		Parts: []score.WrittenPart{{Name: "Harp", Onsets: []score.WrittenOnset{
			{Measure: 0, Onset: score.Onset{Quarter: 0.5, Note: 60}},
			{Measure: 1, Onset: score.Onset{Quarter: 2, Note: 64}},
			{Measure: 1, Onset: score.Onset{Quarter: 0, Note: 67}},
			{Measure: 1, Onset: score.Onset{Quarter: 0, Note: 60}},
		}}}}
	s, err := score.Assemble(w, []int{0, 1})
	if err != nil {
		t.Fatal(err)
	}
	s.Spec.CountIn.Measures = 2
	if got := fmt.Sprint(s.Parts[0].Seconds(build(t, s.Spec))); got != "[2.75 3 4]" {
		t.Errorf("onsets at %s", got)
	}
	w.Measures[0].Length = 3
	if s, err = score.Assemble(w, []int{0, 1}); err != nil || s.Spec.PickUp != 0 || s.Spec.Measures != 2 {
		t.Errorf("%+v, %v", s, err)
	}
}
