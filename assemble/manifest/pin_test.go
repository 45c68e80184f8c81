package manifest

import (
	"bytes"
	"encoding/json"
	"fmt"
	"math"
	"math/rand/v2"
	"regexp"
	"strings"
	"testing"

	"ripieno/assemble/fault"
	"ripieno/assemble/production"
)

// pinHead ends where the takes begin.
const pinHead = head + "takes:\n"

// TestPinStyles shows what is written in each style a person may use.
func TestPinStyles(t *testing.T) {
	both := []Pinned{{Take: "a", Role: "video", Offset: -3.25, DriftPPM: 12.5}}
	for _, c := range []struct{ name, before, after string }{
		{"braces", "- {name: a, video: {file: a.mov}} # x\n",
			"- {name: a, video: {file: a.mov, offset: -3.25, drift_ppm: 12.5}} # x\n"},
		{"braces with space", "- name: a\n  video: { file: 'a.mov' }   # mine\n",
			"- name: a\n  video: { file: 'a.mov', offset: -3.25, drift_ppm: 12.5 }   # mine\n"},
		{"braces, more keys", "- {name: a, video: {rotate: 90, file: \"a.mov\" , drift_ppm: 3}}\n",
			"- {name: a, video: {rotate: 90, file: \"a.mov\", offset: -3.25 , drift_ppm: 3}}\n"},
		{"braces over lines", "- name: a\n  video: {\n    file: a.mov,   # one\n    rotate: 90 # two\n  }\n",
			"- name: a\n  video: {\n    file: a.mov, offset: -3.25, drift_ppm: 12.5,   # one\n    rotate: 90 # " +
				"two\n  }\n"},
		{"json", "- {\"name\":\"a\",\"video\":{\"file\":\"a \\\"1\\\".mov\"}}\n",
			"- {\"name\":\"a\",\"video\":{\"file\":\"a \\\"1\\\".mov\", \"offset\": -3.25, \"drift_ppm\": 12.5}}\n"},
		{"lines", "- name: a\n  video:\n    file: a.mov\n",
			"- name: a\n  video:\n    file: a.mov\n    offset: -3.25\n    drift_ppm: 12.5\n"},
		{"lines with a comment", "- name: a\n  video:\n      file: ä b.mov  # ↑\n      # below\n      rotate: 90\n\n",
			"- name: a\n  video:\n      file: ä b.mov  # ↑\n      offset: -3.25\n      drift_ppm: 12.5\n      # " +
				"below\n      rotate: 90\n\n"},
		{"lines of Windows", "- name: a\r\n  video:\r\n    file: a.mov\r\n  gain: 1\r\n",
			"- name: a\r\n  video:\r\n    file: a.mov\r\n    offset: -3.25\r\n    drift_ppm: 12.5\r\n  gain: 1\r\n"},
		{"lines without a last break", "- name: a\n  video:\n    file: a.mov",
			"- name: a\n  video:\n    file: a.mov\n    offset: -3.25\n    drift_ppm: 12.5"},
		{"a name on the next line", "- name: a\n  video:\n    file:\n      a.mov\n",
			"- name: a\n  video:\n    file:\n      a.mov\n    offset: -3.25\n    drift_ppm: 12.5\n"},
		{"a name over two lines", "- name: a\n  video:\n    # it's\n    file: a\n      b.mov\n",
			"- name: a\n  video:\n    # it's\n    offset: -3.25\n    drift_ppm: 12.5\n    file: a\n      b.mov\n"},
		{"a folded name", "- name: a\n  video: {rotate: 0, file: a\n    b.mov}\n",
			"- name: a\n  video: {offset: -3.25, drift_ppm: 12.5, rotate: 0, file: a\n    b.mov}\n"},
		{"a literal name", "- name: a\n  video:\n    file: |-\n      a.mov\n    rotate: 90\n",
			"- name: a\n  video:\n    offset: -3.25\n    drift_ppm: 12.5\n    file: |-\n      a.mov\n    rotate: 90\n"},
		{"question marks", "- name: a\n  video:\n    ? file\n    : a.mov\n",
			"- name: a\n  video:\n    offset: -3.25\n    drift_ppm: 12.5\n    ? file\n    : a.mov\n"},
		{"an offset of the person's", "- {name: a, video: {file: a.mov, offset: 1}}\n",
			"- {name: a, video: {file: a.mov, offset: 1}}\n"},
		{"a cue of the person's", "- {name: a, video: {cue_at: 1, file: a.mov}}\n",
			"- {name: a, video: {cue_at: 1, file: a.mov}}\n"},
		{"a drift of the person's", "- {name: a, video: {file: a.mov, drift_ppm: 3}}\n",
			"- {name: a, video: {file: a.mov, offset: -3.25, drift_ppm: 3}}\n"},
	} {
		got, err := Pin([]byte(pinHead+c.before), nil, both)
		if err != nil {
			t.Errorf("%s: %s", c.name, fault.Format(err))
		} else if string(got) != pinHead+c.after {
			t.Errorf("%s\ngot\n%s\nwant\n%s", c.name, got[len(pinHead):], c.after)
		}
	}
}

// TestPinExample: the whole example, and its recording with a cue_at stays.
func TestPinExample(t *testing.T) {
	data := readFile(t, "testdata/lamplighter.yaml")
	p := parse(t, string(data))
	got, err := Pin(data, p, []Pinned{{Take: "oboe-1", Role: "video", Offset: 1.5, DriftPPM: 0},
		{Take: "oboe-1", Role: "audio", Offset: 2.5, DriftPPM: -3}})
	if err != nil {
		t.Fatal(fault.Format(err))
	}
	want := strings.Replace(string(data), "intake/mara.mov}", "intake/mara.mov, offset: 1.5, drift_ppm: 0}", 1)
	if string(got) != want {
		t.Errorf("%s", got)
	}
}

func TestPinRefused(t *testing.T) {
	const text = pinHead + "- {name: a, video: {file: a.mov}}\n- {name: b, expected: true}\n"
	for _, c := range []struct {
		name   string
		values []Pinned
		want   string
	}{
		{"another take", []Pinned{{Take: "c", Role: "video", Offset: 1, DriftPPM: 1}},
			`manifest: pin: there is no video of a take "c"`},
		{"another role", []Pinned{{Take: "a", Role: "audio", Offset: 1, DriftPPM: 1}},
			`manifest: pin: there is no audio of a take "a"`},
		{"a take that is not in", []Pinned{{Take: "b", Role: "video", Offset: 1, DriftPPM: 1}},
			`manifest: pin: there is no video of a take "b"`},
		{"no role", []Pinned{{Take: "a", Role: "file", Offset: 1, DriftPPM: 1}}, `manifest: pin take "a": role "file"`},
		{"twice", []Pinned{{Take: "a", Role: "video", Offset: 1, DriftPPM: 1},
			{Take: "a", Role: "video", Offset: 2, DriftPPM: 1}}, `manifest: pin the video of take "a" twice`},
		{"no number", []Pinned{{Take: "a", Role: "video", Offset: math.NaN(), DriftPPM: 1}},
			`manifest: pin take "a": offset NaN s, drift 1 ppm`},
		{"too much drift", []Pinned{{Take: "a", Role: "video", Offset: 1, DriftPPM: 2000}},
			`manifest: pin take "a": offset 1 s, drift 2000 ppm`},
	} {
		if _, err := Pin([]byte(text), nil, c.values); err == nil || err.Error() != c.want {
			t.Errorf("%s: %v", c.name, err)
		}
	}
	_, err := Pin([]byte("version: 1\n"), &production.Production{Path: "d/production.yaml"}, nil)
	if err == nil || !strings.HasPrefix(err.Error(), "d/production.yaml:1:1: missing key \"title\" in the manifest") {
		t.Errorf("a bad manifest: %v", err)
	}
}

// style writes takes in one of many ways.
type style struct{ rng *rand.Rand }

func (s style) pick(of ...string) string { return of[s.rng.IntN(len(of))] }

func (s style) quoted(text string) string {
	switch s.rng.IntN(3) {
	case 0:
		return `"` + text + `"`
	case 1:
		return "'" + text + "'"
	}
	return text
}

// recording writes one file mapping and says whether it may be pinned.
func (s style) recording(indent, role, file string) (text string, free bool) {
	free = true
	keys := []string{"file: " + s.quoted(file)}
	if s.rng.IntN(4) == 0 {
		keys = append(keys, "drift_ppm: 4")
	}
	if s.rng.IntN(4) == 0 {
		keys = append(keys, s.pick("offset: 2.5", "cue_at: 00:11.5"))
		free = false
	}
	if role == "video" && s.rng.IntN(3) == 0 {
		keys = append(keys, "rotate: 180")
	}
	s.rng.Shuffle(len(keys), func(i, j int) { keys[i], keys[j] = keys[j], keys[i] })
	switch s.rng.IntN(4) {
	case 0: // braces
		space := s.pick("", " ")
		return indent + role + ": {" + space + strings.Join(keys, s.pick(", ", " , ")) + space + s.pick("", ",") + "}" +
			s.pick("", " # ü", "   "), free
	case 1: // braces over lines
		return indent + role + ": {\n" + indent + "   " + strings.Join(keys, s.pick(",\n", ", # c\n")+indent+"   ") +
			"\n" + indent + "}", free
	case 2: // JSON
		for i, k := range keys {
			name, value, _ := strings.Cut(k, ": ")
			if name == "file" {
				value = `"` + file + `"`
			}
			keys[i] = `"` + name + `": ` + value
		}
		return indent + role + ": {" + strings.Join(keys, ",") + "}", free
	}
	deeper := indent + s.pick(" ", "  ", "     ")
	return indent + role + ":" + s.pick("", " # above") + "\n" + deeper +
		strings.Join(keys, s.pick("\n", "  # each\n", "\n"+deeper+"# between\n", "\n\n")+deeper), free
}

// manifest writes a whole file with some takes.
func (s style) manifest() (text string, values []Pinned) {
	var b strings.Builder
	b.WriteString(s.pick("", "\ufeff", "# é\n", "---\n") + pinHead)
	margin := s.pick("", "  ", "    ")
	for i := range 1 + s.rng.IntN(4) {
		name := fmt.Sprintf("take-%d", i)
		fmt.Fprintf(&b, "%s- name: %s%s\n", margin, s.quoted(name), s.pick("", " # — ¶ 𝄞"))
		indent := margin + "  "
		for _, role := range []string{"video", "audio"} {
			if role == "audio" && s.rng.IntN(2) == 0 {
				continue
			}
			text, free := s.recording(indent, role,
				s.pick("in/a b.mov", "ö/é,{}.mov", "x#y.wav", "a:b.mp4", "12.5", "日本.mov"))
			if strings.Contains(text, "{") && strings.Contains(text, "é,{}") {
				text = strings.ReplaceAll(text, "é,{}", "é") // needs quotes in braces
			}
			b.WriteString(text + "\n")
			if free {
				values = append(values, Pinned{Take: name, Role: production.Role(role),
					Offset:   math.Round((s.rng.Float64()-0.5)*1e8) / 1e6,
					DriftPPM: (s.rng.Float64() - 0.5) * 600})
			}
		}
		b.WriteString(s.pick("", indent+"gain: -1.5\n", "\n", "# a comment at the margin\n",
			indent+"player: \"Zoë: «O»\"   # with: colon\n"))
	}
	text = b.String()
	switch s.rng.IntN(4) {
	case 0:
		text = strings.ReplaceAll(text, "\n", "\r\n")
	case 1:
		text = strings.TrimRight(text, "\n")
	}
	return text, values
}

var marks = regexp.MustCompile(`"Mark":\{[^}]*\}`)

// unmarked returns all that a production says, without the places.
func unmarked(t *testing.T, p *production.Production) string {
	t.Helper()
	j, err := json.Marshal(p)
	if err != nil {
		t.Fatal(err)
	}
	return marks.ReplaceAllString(string(j), "")
}

var insertedForm = regexp.MustCompile(
	`^(, "?offset"?: [-0-9.]+(, "?drift_ppm"?: [-0-9.]+)?|(\r?\n) +offset: [-0-9.]+((\r?\n) +drift_ppm: [-0-9.]+)?)$`)

// TestPinAnyStyle: in hundreds of files of all styles, the values read back
// exactly, everything else reads as before, no other byte has changed, and
// pinning again changes nothing.
func TestPinAnyStyle(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 4))
	pinned := 0
	for range 400 {
		text, values := style{rng}.manifest()
		before := parse(t, text)
		all, err := Pin([]byte(text), before, values)
		if err != nil {
			t.Fatalf("%s\n%s", fault.Format(err), text)
		}
		after := parse(t, string(all))
		one := []byte(text)
		for _, v := range values {
			next, err := Pin(one, before, []Pinned{v})
			if err != nil {
				t.Fatal(err)
			}
			n := 0
			for n < len(one) && one[n] == next[n] {
				n++
			}
			tail := len(one) - n
			for !bytes.Equal(next[len(next)-tail:], one[n:]) { // the beginnings may agree by chance for longer
				n--
				tail++
			}
			// What was put in may begin like what follows it: try the places
			// that give the same file.
			in := string(next[n : len(next)-tail])
			for i := 0; i < len(in) && !insertedForm.MatchString(in); i++ {
				in = in[len(in)-1:] + in[:len(in)-1]
			}
			if !insertedForm.MatchString(in) {
				t.Fatalf("put in %q\n%s\n%s", next[n:len(next)-tail], one, next)
			}
			one = next
			pinned++
		}
		if !bytes.Equal(all, one) {
			t.Fatalf("at once\n%s\none by one\n%s", all, one)
		}
		for _, v := range values {
			for i := range after.Takes {
				f := after.Takes[i].Video
				g := before.Takes[i].Video
				if v.Role == "audio" {
					f, g = after.Takes[i].Audio, before.Takes[i].Audio
				}
				if after.Takes[i].Name != v.Take {
					continue
				}
				if *f.Offset != v.Offset || g.DriftPPM == nil && *f.DriftPPM != v.DriftPPM {
					t.Fatalf("%+v reads back as %v, %v\n%s", v, *f.Offset, *f.DriftPPM, all)
				}
				f.Offset, f.DriftPPM = g.Offset, g.DriftPPM
			}
		}
		if a, b := unmarked(t, before), unmarked(t, after); a != b {
			t.Fatalf("%s\nbecame\n%s", a, b)
		}
		if again, err := Pin(all, after, values); err != nil || !bytes.Equal(again, all) {
			t.Fatalf("pinned again: %v\n%s\n%s", err, all, again)
		}
	}
	if pinned < 400 {
		t.Errorf("only %d values pinned", pinned)
	}
}
