package musicxml

import (
	"archive/zip"
	"bytes"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"strings"
	"testing"
	"unicode/utf16"

	"ripieno/mix/tempo"
)

func compressed(t testing.TB, files ...string) []byte {
	t.Helper()
	var b bytes.Buffer
	z := zip.NewWriter(&b)
	for i := 0; i < len(files); i += 2 {
		w, err := z.Create(files[i])
		if err != nil {
			t.Fatal(err)
		}
		if _, err := w.Write([]byte(files[i+1])); err != nil {
			t.Fatal(err)
		}
	}
	if err := z.Close(); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

const container = `<?xml version="1.0"?><container><rootfiles><rootfile full-path="thumb.png" media-type="image/png"/><rootfile full-path="round.musicxml" media-type="application/vnd.recordare.musicxml+xml"/></rootfiles></container>`

func TestCompressedAndEncodings(t *testing.T) {
	text := partwise(measures(attributes(1, "4", "4") + note("C4", 4)))
	want := "pick-up 0, 1 measures; m1 4/4 quarter=120; Part 1 60@0"
	wide := func(order binary.AppendByteOrder) []byte {
		var b []byte
		for _, u := range utf16.Encode([]rune("\ufeff" + strings.Replace(text, "UTF-8", "UTF-16", 1))) {
			b = order.AppendUint16(b, u)
		}
		return b
	}
	for name, data := range map[string][]byte{
		"compressed": compressed(t, "META-INF/container.xml", container, "round.musicxml", text),
		"untyped": compressed(t, "META-INF/container.xml",
			`<container><rootfiles><rootfile full-path="a.xml"/></rootfiles></container>`, "a.xml", text),
		"UTF-16 LE":  wide(binary.LittleEndian),
		"UTF-16 BE":  wide(binary.BigEndian),
		"UTF-8 mark": []byte("\ufeff" + text),
		"Latin-1":    []byte(strings.Replace(strings.Replace(text, "UTF-8", "ISO-8859-1", 1), "Round", "R\xf6nde", 1)),
	} {
		s, err := Read(bytes.NewReader(data))
		if err != nil {
			t.Errorf("%s: %v", name, err)
			continue
		}
		if got := describe(s); got != want {
			t.Errorf("%s: %s", name, got)
		}
		if name == "Latin-1" && s.Title != "Rönde" {
			t.Errorf("title %q", s.Title)
		}
	}
}

func TestReadRefuses(t *testing.T) {
	four := attributes(1, "4", "4")
	many := []string{}
	for i := range maxEntries + 1 {
		many = append(many, fmt.Sprint(i), "")
	}
	one := func(s string) string { return partwise(measures(s)) }
	for _, c := range []struct{ name, text, want string }{
		{"nothing", "", "musicxml: the file is empty"},
		{"another root", "<svg/>", `musicxml: the root element is "svg": this is not a MusicXML score`},
		{"text", "dear all", "musicxml: the file is empty"},
		{"no measures", partwise(), "musicxml: the score has no measures"},
		{"cut", four, ""},
		{"cut within", partwise(measures(four))[:400], "unexpected EOF"},
		{"an entity", one("&bomb;"), "invalid character entity &bomb;"},
		{"an encoding", strings.Replace(one(""), "UTF-8", "EBCDIC", 1),
			`text encoding "EBCDIC" is not read: save the score as UTF-8`},
		{"UTF-16 without its mark", strings.Replace(one(""), "UTF-8", "UTF-16", 1),
			`text encoding "UTF-16" is not read`},
		{"duration", one(four + `<note><rest/><duration>x</duration></note>`),
			`musicxml: measure 1, part "Part 1": a duration of "x" is not a usable number`},
		{"no duration", one(four + `<note><rest/></note>`), `a duration of "" is not a usable number`},
		{"NaN", one(four + `<forward><duration>NaN</duration></forward>`),
			`a duration of "NaN" is not a usable number`},
		{"endless", one(four + `<forward><duration>999999</duration></forward>`),
			"a duration of 999999 divisions, 1 to the quarter note, is too long"},
		{"negative", one(four + `<note><rest/><duration>-1</duration></note>`),
			"a duration of -1 divisions, 1 to the quarter note, is too long"},
		{"divisions", one(`<attributes><divisions>0</divisions></attributes>`), `"0" divisions of a quarter note`},
		{"divisions text", one(`<attributes><divisions>many</divisions></attributes>`),
			`a division of "many" is not a usable number`},
		{"no lower number", one(`<attributes><time><beats>4</beats></time></attributes>`),
			"a time signature of 1 upper and 0 lower numbers"},
		{"lower number", one(attributes(1, "4", "3")), "meter 4/3: the lower number must be 1, 2, 4, 8, 16, 32 or 64"},
		{"lower number text", one(attributes(1, "4", "x")), "a time signature on 1/x notes"},
		{"upper number", one(attributes(1, "0", "4")), `a time signature of "0" beats`},
		{"step", one(four + note("H4", 1)), `note name "H"`},
		{"octave", one(four + note("C", 1)), `an octave of "" is not a usable number`},
		{"tempo", one(four + `<sound tempo="-5"/>`), "a tempo of -5 quarter notes a minute"},
		{"tempo text", one(four + `<sound tempo="allegro"/>`), `a tempo of "allegro" is not a usable number`},
		{"offset", one(four + `<direction><offset>?</offset></direction>`), `an offset of "?" is not a usable number`},
		{"a crooked measure", partwise(measures(attributes(7, "4", "4")+note("C4", 28), note("C4", 13),
			note("C4", 28))), "musicxml: measure 2: it is 1.85714 quarter notes long, which no time signature can say"},
		{"marks", one(four + strings.Repeat(`<sound tempo="60"/>`, maxMarks+1)), "more than 1000 tempo marks"},
		{"a swollen note", one(four + "<note>" + strings.Repeat("<tie/>", maxTokens) + "</note>"),
			"an element has more than 200000 parts"},
		{"measures", partwise(measures(make([]string, tempo.MaxMeasures+1)...)), "more than 10000 measures"},
		{"parts", partwise(make([]string, maxParts+1)...), "more than 500 parts"},
		{"repeats without end", partwise(measures(append(make([]string, 200),
			`<barline><repeat direction="backward" times="100"/></barline>`)...)),
			"more than 10000 measures as played"},
		{"unreachable", one(`<barline><ending number="2" type="start"/></barline>`),
			"all stand in endings that are never reached"},
		{"damaged zip", "PK\x03\x04 and nothing", "musicxml: the compressed file is damaged"},
		{"no container", string(compressed(t, "a.xml", one(""))),
			`the compressed file has no "META-INF/container.xml"`},
		{"empty container", string(compressed(t, "META-INF/container.xml", "<container/>")),
			"META-INF/container.xml names no score"},
		{"broken container", string(compressed(t, "META-INF/container.xml", "<container>")),
			"META-INF/container.xml: XML syntax error"},
		{"missing score", string(compressed(t, "META-INF/container.xml", container)),
			`the compressed file has no "round.musicxml"`},
		{"many files", string(compressed(t, many...)), "the compressed file holds 1001 files, more than 1000"},
		{"zip bomb", string(bomb(t)), "larger than 64 MiB"},
	} {
		_, err := Read(strings.NewReader(c.text))
		if err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s:\n got %.300v\nwant %s", c.name, err, c.want)
		}
	}
	if _, err := Read(zeros{}); err == nil || !strings.Contains(err.Error(), "larger than 32 MiB") {
		t.Errorf("an endless file: %v", err)
	}
	if _, err := Read(broken{}); !errors.Is(err, errBroken) {
		t.Errorf("a broken reader: %v", err)
	}
}

// bomb returns a small compressed file with a score of 100 MiB.
func bomb(t *testing.T) []byte {
	t.Helper()
	var b bytes.Buffer
	z := zip.NewWriter(&b)
	w, err := z.Create("META-INF/container.xml")
	if err == nil {
		_, err = w.Write([]byte(container))
	}
	if err == nil {
		w, err = z.Create("round.musicxml")
	}
	if err == nil {
		_, err = io.CopyN(w, zeros{}, 100<<20)
	}
	if err == nil {
		err = z.Close()
	}
	if err != nil || b.Len() > 1<<20 {
		t.Fatalf("%d bytes, %v", b.Len(), err)
	}
	return b.Bytes()
}

var errBroken = errors.New("broken")

type broken struct{}

func (broken) Read([]byte) (int, error) { return 0, errBroken }

type zeros struct{}

func (zeros) Read(p []byte) (int, error) { clear(p); return len(p), nil }

// A crafted measure of many small elements costs no memory to speak of.
func TestManyElements(t *testing.T) {
	text := partwise(measures(attributes(1, "4", "4") + strings.Repeat("<a/>", 500_000) + note("C4", 4)))
	s, err := Read(strings.NewReader(text))
	if err != nil {
		t.Fatal(err)
	}
	if got := describe(s); got != "pick-up 0, 1 measures; m1 4/4 quarter=120; Part 1 60@0" {
		t.Error(got)
	}
}
