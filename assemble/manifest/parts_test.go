package manifest

import (
	"math"
	"reflect"
	"strings"
	"testing"

	"ripieno/mix/align"
	"ripieno/mix/audio"
)

func TestPartsOfAFile(t *testing.T) {
	inf := math.Inf(1)
	for text, want := range map[string]audio.Parts{
		"[{from: 0}]":                                      {{To: inf}},
		"[{to: 41.2}, {from: 41.2, shift: 2.1}]":           {{To: 41.2}, {From: 41.2, To: inf, Shift: 2.1}},
		"[{to: 0:41.2}, {shift: 2.1}]":                     {{To: 41.2}, {From: 41.2, To: inf, Shift: 2.1}},
		"[{}, {from: 41.2, shift: 2.1}]":                   {{To: 41.2}, {From: 41.2, To: inf, Shift: 2.1}},
		"[{from: 1, to: 41.2}, {from: 50, shift: -7}]":     {{From: 1, To: 41.2}, {From: 50, To: inf, Shift: -7}},
		"[{to: 3}, {from: 4, to: 8}, {from: 8, shift: 1}]": {{To: 3}, {From: 4, To: 8}, {From: 8, To: inf, Shift: 1}},
	} {
		p, err := Parse("production.yaml",
			[]byte(head+"takes:\n  - {name: a, video: {file: a.mov, parts: "+text+", parts_of: sound, "+
				"sample_rate: 48000}}\n"))
		if err != nil {
			t.Errorf("%s: %v", text, err)
			continue
		}
		f := p.Takes[0].Video
		if !reflect.DeepEqual(f.Parts, want) || !f.PartsOfSound || f.SampleRate != 48000 {
			t.Errorf("%s: %+v, sound %v, rate %d", text, f.Parts, f.PartsOfSound, f.SampleRate)
		}
	}
}

// What sync found is pinned with the place, reads back as it was, and is in sync.yaml.
func TestPartsArePinnedAndMeasured(t *testing.T) {
	parts := audio.Parts{{To: 43.4}, {From: 45.524, To: 60, Shift: -2.124}, {From: 60, To: math.Inf(1), Shift: 1.25}}
	data := []byte(head + "takes:\n  - {name: a, video: {file: a.mov}} # mine\n")
	out, err := Pin(data, nil, []Pinned{{Take: "a", Role: "video", Offset: -3.25, Parts: parts, PartsOfSound: true,
		SampleRate: 44100}})
	if err != nil {
		t.Fatal(err)
	}
	p, err := Parse("production.yaml", out)
	if err != nil {
		t.Fatal(err)
	}
	if f := p.Takes[0].Video; !reflect.DeepEqual(f.Parts, parts) || !f.PartsOfSound || f.SampleRate != 44100 ||
		!strings.Contains(string(out), "# mine") {
		t.Errorf("%+v of\n%s", f, out)
	}
	m := Measured{Files: []Measurement{{Take: "a", Role: "video", File: "a.mov", Hash: "00",
		Placement: align.Placement{Method: "cue", Offset: 1},
		Parts:     parts, PartsOfSound: true, SampleRate: 44100}}}
	text, err := m.Encode()
	if err != nil {
		t.Fatal(err)
	}
	back, err := parseMeasured("sync.yaml", text)
	if err != nil {
		t.Fatal(err)
	}
	if f := back.Files[0]; !reflect.DeepEqual(f.Parts, parts) || !f.PartsOfSound || f.SampleRate != 44100 {
		t.Errorf("%+v of\n%s", f, text)
	}
}
