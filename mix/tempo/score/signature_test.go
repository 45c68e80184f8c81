package score_test

import (
	"bytes"
	"fmt"
	"strings"
	"testing"

	"ripieno/mix/tempo/musicxml"
	"ripieno/mix/tempo/score"
	"ripieno/mix/tempo/smf"
)

// Keys as they sound: a part in B flat (a whole tone down) writes two sharps more.
// Fifths and tonics from any handbook of music (from memory).
func TestKeysMarksAndRests(t *testing.T) {
	measure := func(n int, inside, note string) string {
		return fmt.Sprintf(`<measure number="%d">%s<note>%s<duration>4</duration></note></measure>`, n, inside, note)
	}
	const sounds = `<pitch><step>C</step><octave>4</octave></pitch>`
	key := func(fifths int, mode string) string {
		return fmt.Sprintf(`<key><fifths>%d</fifths><mode>%s</mode></key>`, fifths, mode)
	}
	text := `<score-partwise><part-list/><part id="P1">` +
		measure(1, `<attributes><divisions>1</divisions>`+key(2,
			"major")+`<transpose><chromatic>-2</chromatic></transpose></attributes>`, sounds) +
		measure(2, `<direction><direction-type><rehearsal>A</rehearsal></direction-type></direction>`, `<rest/>`) +
		measure(3, `<attributes>`+key(-1, "minor")+`</attributes><barline><repeat direction="backward"/></barline>`,
			sounds) +
		`</part></score-partwise>`
	s, err := musicxml.Read(strings.NewReader(text))
	if err != nil {
		t.Fatal(err)
	}
	want := "[{1 {0 false} false} {2 {0 false} true} {3 {-3 true} false} {4 {0 false} false} {5 {0 false} " +
		"true} {6 {-3 true} false}]"
	if got := fmt.Sprint(s.Keys); got != want {
		t.Errorf("keys %s\nwant %s", got, want)
	}
	if got := fmt.Sprint(s.Marks); got != "[{2 A} {5 A}]" {
		t.Errorf("marks %s", got)
	}
	for _, c := range []struct {
		score.Key
		want int
	}{{score.Key{Fifths: 0}, 0}, {score.Key{Fifths: 2}, 2}, {score.Key{Fifths: -3}, 3},
		{score.Key{Fifths: -3, Minor: true}, 0},
		{score.Key{Fifths: 0, Minor: true}, 9}, {score.Key{Fifths: 7}, 1}, {score.Key{Fifths: -7}, 11}} {
		if got := c.Tonic(); got != c.want {
			t.Errorf("%+v has the tonic %d, want %d", c.Key, got, c.want)
		}
	}
	// The same in a MIDI file of three measures of 4/4: D major, a marker, and a rest.
	track := "\x00\xff\x59\x02\x02\x00\x00\x90\x3c\x40\x60\x80\x3c\x40" +
		"\x85\x20\xff\x06\x01B\x00\xff\x59\x02\xfd\x01" +
		"\x00\x90\x3c\x40\x60\x80\x3c\x40\x00\xff\x2f\x00"
	file := "MThd\x00\x00\x00\x06\x00\x00\x00\x01\x00\x60MTrk\x00\x00\x00" + string(rune(len(track))) + track
	m, err := smf.Read(bytes.NewReader([]byte(file)))
	if err != nil {
		t.Fatal(err)
	}
	if got := fmt.Sprint(m.Keys, m.Marks); got != "[{1 {2 false} false} {2 {2 false} true} {3 {-3 true} "+
		"false}] [{3 B}]" {
		t.Errorf("MIDI: %s", got)
	}
}
