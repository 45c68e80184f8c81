package manifest

import (
	"slices"
	"strings"
	"testing"

	"ripieno/assemble/fault"
	"ripieno/assemble/production"
)

func TestTakesFor(t *testing.T) {
	p := &production.Production{Takes: []production.Take{
		{Name: "oboe", Player: "Mara Voss", Part: "Oboe"},
		{Name: "horn-1", Player: "Ilse Brandt", Part: "Horn 1"},
		{Name: "horn-2", Player: "José Lund", Part: "Horn II"},
		{Name: "vln-2", Player: "Pia Lund", Part: "Violin 2"},
		{Name: "bass", Player: "Otto Larch", Part: "Double Bass"},
		{Name: "horn-12", Player: "", Part: ""},
	}}
	for _, c := range []struct {
		file string
		want string
	}{
		{"intake/horn-2.mp4", "horn-2"},
		{"Horn2.MOV", "horn-2"},
		{"horn_12.mov", "horn-12"},
		{"horn.mov", ""},   // two horns, and the name does not say which
		{"horn 3.mov", ""}, // nobody's
		{"2nd horn take.mov", "horn-2"},
		{"MARA.wav", "oboe"},
		{"mara-voss-final-FINAL (1).wav", "oboe"},
		{"jose.mp4", "horn-2"}, // without the accent
		{"lund.mp4", "horn-2 vln-2"},
		{"Pia Lund.mp4", "vln-2"},
		{"violine 2.mp4", "vln-2"},    // another language
		{"vl2.mp4", "vln-2"},          // short
		{"mara horn 2.mp4", "horn-2"}, // two words against one
		{"Mara Voss - Horn 2.mp4", "oboe horn-2"},
		{"otto_doublebass.mp4", "bass"},
		{"IMG_2034.mov", ""},
		{"2031-06-12.mov", ""},
		{"", ""},
	} {
		if got := strings.Join(TakesFor(p, c.file), " "); got != c.want {
			t.Errorf("%q is for %q, want %q", c.file, got, c.want)
		}
	}
}

// TestAdoptStyles shows what is written in each style a person may use.
func TestAdoptStyles(t *testing.T) {
	video, audio := Arrival{"a", "video", "intake/a 1.mov"}, Arrival{"a", "audio", "intake/a.wav"}
	for _, c := range []struct {
		name, before, after string
		a                   Arrival
		line                int
	}{
		{"braces", "- {name: a, expected: true, gain: 1} # x\n",
			"- {name: a, video: {file: intake/a 1.mov}, gain: 1} # x\n", video, 1},
		{"last in braces", "- { name: a, expected: yes }\n", "", video, 0},
		{"braces with a space", "- { name: a, expected: true }\n", "- { name: a, video: {file: intake/a 1.mov} }\n",
			video, 1},
		{"json", "- {\"name\":\"a\",\"expected\":true}\n",
			"- {\"name\":\"a\",\"video\": {\"file\": \"intake/a 1.mov\"}}\n", video, 1},
		{"lines", "- name: a\n  expected: true   # since June\n  gain: 1\n",
			"- name: a\n  video: {file: intake/a 1.mov}   # since June\n  gain: 1\n", video, 2},
		{"lines of Windows", "- name: a\r\n  expected: true\r\n  gain: 1\r\n",
			"- name: a\r\n  audio: {file: intake/a.wav}\r\n  gain: 1\r\n", audio, 2},
		{"no last break", "- name: a\n  expected: true", "- name: a\n  audio: {file: intake/a.wav}", audio, 2},
		{"another take first", "- {name: b, expected: true}\n- {name: a, expected: true}\n",
			"- {name: b, expected: true}\n- {name: a, audio: {file: intake/a.wav}}\n", audio, 2},
		{"a second device in braces", "- {name: a, video: {file: a.mov}} # x\n",
			"- {name: a, audio: {file: intake/a.wav}, video: {file: a.mov}} # x\n", audio, 1},
		{"a second device in lines", "- name: a\n  audio:\n    file: a.wav\n",
			"- name: a\n  video: {file: intake/a 1.mov}\n  audio:\n    file: a.wav\n", video, 2},
		{"a name with a quote", "- {name: a, expected: true}\n",
			"- {name: a, video: {file: \"intake/\\\"a\\\", b.mov\"}}\n", Arrival{"a", "video", `intake/"a", b.mov`}, 1},
	} {
		got, err := Adopt([]byte(pinHead+c.before), nil, c.a)
		if c.after == "" { // not a word of a manifest: refused before anything is written
			if err == nil {
				t.Errorf("%s: no error", c.name)
			}
			continue
		}
		if err != nil {
			t.Errorf("%s: %s", c.name, fault.Format(err))
			continue
		}
		if string(got.Data) != pinHead+c.after {
			t.Errorf("%s\ngot\n%s\nwant\n%s", c.name, got.Data[len(pinHead):], c.after)
		}
		line := strings.Count(pinHead, "\n") + c.line
		if want := strings.Split(strings.ReplaceAll(pinHead+c.after, "\r", ""), "\n")[line-1]; got.Line != line ||
			got.Text != want {
			t.Errorf("%s: line %d is %q, want %d, %q", c.name, got.Line, got.Text, line, want)
		}
		p := parse(t, string(got.Data))
		i := slices.IndexFunc(p.Takes, func(t production.Take) bool { return t.Name == "a" })
		f := p.Takes[i].Video
		if c.a.Role == "audio" {
			f = p.Takes[i].Audio
		}
		if f == nil || f.Path != c.a.Path || p.Takes[i].Expected {
			t.Errorf("%s: reads back as %+v", c.name, p.Takes[i])
		}
	}
}

func TestAdoptRefused(t *testing.T) {
	const text = pinHead + "- {name: a, video: {file: a.mov}}\n- {name: b, expected:\n    true}\n"
	for _, c := range []struct {
		a    Arrival
		want string
	}{
		{Arrival{"c", "video", "c.mov"}, `there is no take "c"`},
		{Arrival{"a", "video", "c.mov"}, `take "a" already has a video`},
		{Arrival{"b", "video", "c.mov"}, `take "b" is written in a way that nothing can be added to`},
		{Arrival{"a", "audio", "../c.wav"}, `"../c.wav" is outside the production's folder`},
		{Arrival{"a", "audio", "c\x01.wav"}, `"c\x01.wav" cannot be written in a manifest`},
	} {
		_, err := Adopt([]byte(text), nil, c.a)
		if err == nil || fault.KindOf(err) != fault.Manifest || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%+v: %v, want %s", c.a, err, c.want)
		}
	}
	if _, err := Adopt([]byte("version: 1\n"), &production.Production{Path: "d/production.yaml"},
		Arrival{"a", "video", "a.mov"}); err == nil {
		t.Error("a bad manifest is taken")
	}
}
