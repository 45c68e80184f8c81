package cli

import (
	"encoding/json"
	"fmt"
	"go/ast"
	"go/parser"
	"go/token"
	"html"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"

	"ripieno/assemble"
	"ripieno/assemble/ffmpeg"
	"ripieno/assemble/ffmpeg/ffmpegtest"
	"ripieno/assemble/manifest"
	"ripieno/assemble/progress"
	"ripieno/assemble/report/phrase"
)

// scoreRemarks has every kind of remark that readers of scores and of beats make, as their
// code writes it, with a file that has it and what a person reads.
var scoreRemarks = []struct {
	kind  string // the text in the code
	file  string // what is read: the name of a score or of beats
	data  string
	tempo string // more of the manifest's tempo
	want  string
}{
	{"measure %s: the score has no time signature there: 4/4 is taken", "s.musicxml",
		xmlScore(xmlBar(1, "<attributes><divisions>1</divisions></attributes>"+tempo96+fourBeats)), "",
		"measure 1: the score has no time signature there: 4/4 is taken"},
	{"measure 1: the score has no time signature there: 4/4 is taken", "s.mid", midiScore("", midiTempo), "",
		"measure 1: the score has no time signature there: 4/4 is taken"},
	{"measure %s: a time signature within the measure is left out", "s.musicxml",
		xmlScore(firstBar(tempo96 + xmlNote + xmlTime("3") + xmlNote + xmlNote + xmlNote)), "",
		"measure 1: a time signature within the measure is left out"},
	{"measure %s: the parts have different time signatures, %v of the first is taken", "s.musicxml",
		xmlScore(firstBar(tempo96+fourBeats), xmlBar(1, "<attributes><divisions>1</divisions>"+
			"<time><beats>3</beats><beat-type>4</beat-type></time></attributes>"+fourBeats)), "",
		"measure 1: the parts have different time signatures, 4/4 of the first is taken"},
	{"measure %s: a metronome mark without a number is left out", "s.musicxml",
		xmlScore(firstBar(metronome("quarter", "") + tempo96 + fourBeats)), "",
		"measure 1: a metronome mark without a number is left out"},
	{"measure %s: a metronome mark of %s = %s is left out", "s.musicxml",
		xmlScore(firstBar(metronome("quarter", "9999") + tempo96 + fourBeats)), "",
		"measure 1: a metronome mark of quarter = 9999 is left out"},
	{"%d more remarks of this kind are not shown: look through the score itself", "s.musicxml",
		xmlScore(firstBar(tempo96+fourBeats) + manyBars(2, 45, metronome("quarter", "9999")+fourBeats)), "",
		"4 more remarks of this kind are not shown: look through the score itself"},
	{"the first measure is shorter than the second: it is taken for a pick-up", "s.mid",
		midiScore(midiMeter(1)+"\x00\x90\x43\x40\x60\x43\x00"+midiMeter(4), midiTempo), "",
		"the first measure is shorter than the second: it is taken for a pick-up"},
	{"measure %d: it is cut short by the next time signature", "s.mid",
		midiScore(midiMeter(4)+"\x00\x90\x43\x40\x86\x00\x43\x00\x81\x40"+midiMeter(4)[1:], midiTempo), "",
		"measure 3: it is cut short by the next time signature"},
	{"the score gives no tempo: %d quarters a minute are taken", "s.mid", midiScore(midiMeter(4), ""), "",
		"the score gives no tempo: 120 quarters a minute are taken"},
	{"measure %s: it holds %.6g quarter notes, its time signature %.6g: its own length is taken", "s.musicxml",
		xmlScore(firstBar(tempo96+fourBeats) + xmlBar(2, xmlNote+xmlNote+xmlNote) + xmlBar(3, fourBeats)), "",
		"measure 2: it holds 3 quarter notes, its time signature 4: its own length is taken"},
	{"%v without fine or coda: the piece is played on to its last measure", "s.musicxml",
		xmlScore(firstBar(tempo96+fourBeats) + xmlBar(2, fourBeats+`<sound dacapo="yes"/>`)), "",
		"measure 2: da capo without fine or coda: the piece is played on to its last measure"},
	{"dal segno is not followed: there is no segno", "s.musicxml",
		xmlScore(firstBar(tempo96+fourBeats) + xmlBar(2, fourBeats+`<sound dalsegno="x"/>`)), "",
		"measure 2: dal segno is not followed: there is no segno"},
	{"to coda is not followed: there is no coda behind it", "s.musicxml",
		xmlScore(firstBar(tempo96+fourBeats+`<sound tocoda="x"/>`) + xmlBar(2, fourBeats+`<sound dacapo="yes"/>`)), "",
		"measure 1: to coda is not followed: there is no coda behind it"},
	{"%v is not followed: no da capo or dal segno leads there", "s.musicxml",
		xmlScore(firstBar(tempo96+fourBeats+`<sound fine="yes"/>`) + xmlBar(2, fourBeats)), "",
		"measure 1: fine is not followed: no da capo or dal segno leads there"},
	{"%v is not followed: it is never reached", "s.musicxml",
		xmlScore(firstBar(tempo96+fourBeats) + xmlBar(2, fourBeats+`<sound fine="yes"/>`) +
			xmlBar(3, fourBeats+`<sound dacapo="yes"/>`) + xmlBar(4, fourBeats+`<sound dacapo="yes"/>`)), "",
		"measure 4: da capo is not followed: it is never reached"},
	{"%q is not followed; interpret: yes would make it %s", "s.musicxml", wished("rit."), "",
		`measure 2: "rit." is not followed; ` +
			`interpret: yes would make it quarter = 96 to 76.8 from beat 1 until measure 4`},
	{"%q is not followed; interpret: yes would make it %s", "s.musicxml", wished("più mosso"), "",
		`measure 2: "più mosso" is not followed; interpret: yes would make it quarter = 120 from beat 1`},
	{"%q is followed as %s", "s.musicxml", wished("rit."), ", interpret: yes",
		`measure 2: "rit." is followed as quarter = 96 to 76.8 from beat 1 until measure 4`},
	{"the tempo is that of %d beats in %s", "taps.txt", "1\n1.5\n2\n2.5\n3\n3.5\n4\n4.5\n5\n",
		", changes: [{measure: 1, meter: 4/4}]", "the tempo is that of 9 beats in taps.txt"},
	{"beats after the end of the piece that are left out: %d from %.2f s of %s on", "taps.txt",
		"1\n1.5\n2\n2.5\n3\n3.5\n4\n4.5\n5\n", ", measures: 1, changes: [{measure: 1, meter: 4/4}]",
		"beats after the end of the piece that are left out: 4 from 3.50 s of taps.txt on"},
	{"the tempo is that of %d beats found in %s: move, add or delete lines in %s where the guide is off", "a.wav",
		foundBeats, ", changes: [{measure: 1, meter: 2/4}]",
		"the tempo is that of 5 beats found in a.wav: move, add or delete lines in a-beats.txt where the guide is off"},
	{"beats put right by you: %d", "a.wav", foundBeats, ", changes: [{measure: 1, meter: 2/4}]",
		"beats put right by you: 1"},
	{"beats at which hardly anything begins (? in the list): %d", "a.wav", foundBeats,
		", changes: [{measure: 1, meter: 2/4}]", "beats at which hardly anything begins (? in the list): 1"},
}

// foundBeats is a list of beats that were found in a recording, one of which a person moved
// and one of which is faint.
const foundBeats = "0.000\t0.000\tbeats of a.wav, 1\n1.000\t1.000\tm1.1 @1.000\n1.500\t1.500\tm1.2\n" +
	"2.000\t2.000\tm2.1 @2.000 ?\n2.500\t2.500\tm2.2 @2.500\n3.000\t3.000\tm3.1 @3.000\n"

// Parts of scores as MusicXML 4.0 and Standard MIDI Files 1.0 write them.
const (
	xmlNote   = "<note><pitch><step>C</step><octave>4</octave></pitch><duration>1</duration></note>"
	fourBeats = xmlNote + xmlNote + xmlNote + xmlNote
	tempo96   = `<sound tempo="96"/>`
	midiTempo = "\x00\xff\x51\x03\x07\xa1\x20"
)

func xmlTime(beats string) string {
	return "<attributes><time><beats>" + beats + "</beats><beat-type>4</beat-type></time></attributes>"
}

func xmlBar(number int, inside string) string {
	return fmt.Sprintf(`<measure number="%d">%s</measure>`, number, inside)
}

func firstBar(inside string) string {
	const signature = "<time><beats>4</beats><beat-type>4</beat-type></time>"
	return xmlBar(1, "<attributes><divisions>1</divisions>"+signature+"</attributes>"+inside)
}

func manyBars(from, to int, inside string) (all string) {
	for n := from; n <= to; n++ {
		all += xmlBar(n, inside)
	}
	return all
}

func metronome(unit, number string) string {
	if number != "" {
		number = "<per-minute>" + number + "</per-minute>"
	}
	return "<direction><direction-type><metronome><beat-unit>" + unit + "</beat-unit>" + number +
		"</metronome></direction-type></direction>"
}

// wished returns a score of four measures with words in the second.
func wished(words string) string {
	return xmlScore(firstBar(tempo96+fourBeats) + xmlBar(2, "<direction><direction-type><words>"+words+
		"</words></direction-type></direction>"+fourBeats) + manyBars(3, 4, fourBeats))
}

// xmlScore puts parts into a score.
func xmlScore(parts ...string) string {
	list, body := "", ""
	for i, p := range parts {
		list += fmt.Sprintf(`<score-part id="P%d"><part-name>Part %d</part-name></score-part>`, i+1, i+1)
		body += fmt.Sprintf(`<part id="P%d">%s</part>`, i+1, p)
	}
	return `<?xml version="1.0"?><score-partwise version="4.0"><part-list>` + list + "</part-list>" + body +
		"</score-partwise>"
}

func midiMeter(beats int) string { return "\x00\xff\x58\x04" + string(rune(beats)) + "\x02\x18\x08" }

// midiScore returns a file of one track with a measure of notes at its end, 96 ticks a
// quarter note.
func midiScore(events, tempo string) string {
	track := tempo + events + "\x00\x90\x48\x40\x83\x00\x48\x00\x00\xff\x2f\x00"
	return "MThd\x00\x00\x00\x06\x00\x00\x00\x01\x00\x60MTrk\x00\x00\x00" + string([]byte{byte(len(track))}) + track
}

// Every remark of every reader reaches the person once: in what click, new and report print,
// in their JSON and on the report's page; and the page has it in every language.
func TestEveryRemarkOnAScoreIsTold(t *testing.T) {
	tool := ffmpegtest.Tool(t)
	for _, c := range scoreRemarks {
		dir := t.TempDir()
		name, key := c.file, "score"
		switch c.file {
		case "taps.txt":
			key = "from"
		case "a.wav":
			name, key = "a-beats.txt", "from"
		}
		text := "version: 1\ntitle: T\nguide: {tail: 0}\ntempo: {" + key + ": " + c.file +
			", count_in: {measures: 1}" + c.tempo + "}\ntakes: [{name: oboe, part: Oboe, expected: true}]\n"
		for file, data := range map[string]string{name: c.data, manifest.FileName: text} {
			if err := os.WriteFile(filepath.Join(dir, file), []byte(data), 0o666); err != nil {
				t.Fatal(err)
			}
		}
		told := toldOf(t, tool, dir, key == "score" && c.tempo == "")
		for where, got := range told {
			want := c.want
			if where == "the report's page" {
				want = phrase.Of(phrase.Default).Translate(want) // with its quotation marks
			}
			if n := strings.Count(got, want); n != 1 {
				t.Errorf("%s tells %d times %q:\n%s", where, n, want, got[:min(len(got), 2000)])
			}
		}
		for _, language := range phrase.Languages() {
			if got := phrase.Of(language).Translate(c.want); language != phrase.Default && got == c.want {
				t.Errorf("%s: not in this language: %q", language, got)
			}
		}
	}
}

// toldOf returns what a person is told of the production in a folder, by where it is told.
// new is asked as well where the score alone says the tempo; the manifest is away meanwhile.
func toldOf(t *testing.T, tool *ffmpeg.Tool, dir string, new bool) map[string]string {
	t.Helper()
	told := map[string]string{}
	inJSON := func(where string, r any) {
		data, err := json.Marshal(r)
		if err != nil {
			t.Fatal(err)
		}
		var read struct {
			Remarks []string `json:"score_remarks"`
		}
		if err := json.Unmarshal(data, &read); err != nil {
			t.Fatal(err)
		}
		told[where] = strings.Join(read.Remarks, "\n")
	}
	set := assemble.Settings{Dir: dir, Report: progress.New(nil, progress.Quiet)}
	set.Programs.Found = tool
	if new {
		path := filepath.Join(dir, manifest.FileName)
		text, err := os.ReadFile(path)
		if err == nil {
			err = os.Remove(path)
		}
		if err != nil {
			t.Fatal(err)
		}
		r, err := assemble.New(t.Context(), set, assemble.NewOptions{Empty: true})
		if err != nil {
			t.Fatal(err)
		}
		told["new"] = said(newTable(r))
		inJSON("new's JSON", r)
		if err := os.WriteFile(path, text, 0o666); err != nil {
			t.Fatal(err)
		}
	}
	p, err := assemble.Open(t.Context(), set)
	if err != nil {
		t.Fatal(err)
	}
	defer p.Close()
	r, err := p.Click(t.Context(), assemble.ClickOptions{})
	if err != nil {
		t.Fatal(err)
	}
	told["click"] = said(guideTable(r))
	inJSON("click's JSON", r)
	review, err := p.Review(t.Context(), assemble.ReviewOptions{NoPlaying: true})
	if err != nil {
		t.Fatal(err)
	}
	told["report"] = said(reviewTable(review))
	inJSON("report's JSON", review)
	page, err := os.ReadFile(review.File)
	if err != nil {
		t.Fatal(err)
	}
	told["the report's page"] = html.UnescapeString(string(page))
	return told
}

// A remark in the code of a reader that has no row above is found here, and so is a row
// whose remark is gone.
func TestEveryKindOfRemarkHasARow(t *testing.T) {
	rows := map[string]bool{}
	for _, c := range scoreRemarks {
		rows[c.kind] = true
	}
	kinds := map[string]bool{}
	for _, pattern := range []string{"mix/tempo/musicxml/*.go", "mix/tempo/smf/*.go", "mix/tempo/score/*.go",
		"assemble/manifest/beats.go", "assemble/production/beats.go"} {
		files, err := filepath.Glob(filepath.Join("..", "..", filepath.FromSlash(pattern)))
		if err != nil || len(files) == 0 {
			t.Fatal(pattern, err)
		}
		for _, path := range files {
			if !strings.HasSuffix(path, "_test.go") {
				maps.Copy(kinds, remarksIn(t, path))
			}
		}
	}
	for kind := range kinds {
		if !rows[kind] {
			t.Errorf("the remark %q has no row", kind)
		}
	}
	for kind := range rows {
		if !kinds[kind] {
			t.Errorf("no reader makes the remark %q", kind)
		}
	}
	// The search finds what it is to find.
	path := filepath.Join(t.TempDir(), "x.go")
	code := `package x
func f() {
	w.remark(1, "one %v", a)
	p.Remarks = append(p.Remarks, "measure "+n+": "+text)
	text := fmt.Sprintf("two %s", b)
	b.Remarks = append(b.Remarks, fmt.Sprintf("three %d: "+
		"four", c), "five")
	other("six")
}
`
	if err := os.WriteFile(path, []byte(code), 0o666); err != nil {
		t.Fatal(err)
	}
	want := []string{"five", "one %v", "three %d: four", "two %s"}
	if got := slices.Sorted(maps.Keys(remarksIn(t, path))); !slices.Equal(got, want) {
		t.Errorf("found %q, want %q", got, want)
	}
}

// remarksIn returns the texts of remarks in a file of code: of calls of remark, of what is
// appended to a list called Remarks or returned by Describe, and of what is assigned to the
// variable text in a function that appends that.
func remarksIn(t *testing.T, path string) map[string]bool {
	t.Helper()
	file, err := parser.ParseFile(token.NewFileSet(), path, nil, 0)
	if err != nil {
		t.Fatal(err)
	}
	kinds := map[string]bool{}
	for _, d := range file.Decls {
		f, ok := d.(*ast.FuncDecl)
		if !ok || f.Name.Name == "remark" { // which adds what it is given
			continue
		}
		byName := false
		ast.Inspect(f, func(n ast.Node) bool {
			call, ok := n.(*ast.CallExpr)
			if !ok {
				return true
			}
			list := call.Args
			switch name := nameOf(call.Fun); {
			case name == "append" && (nameOf(call.Args[0]) == "Remarks" || f.Name.Name == "Describe"):
				list = call.Args[1:]
				if f.Name.Name == "Describe" {
					list = call.Args
				}
			case name != "remark":
				return true
			}
			for _, e := range list {
				byName = textsIn(e, kinds) || byName
			}
			return true
		})
		ast.Inspect(f, func(n ast.Node) bool {
			if a, ok := n.(*ast.AssignStmt); ok && (byName && nameOf(a.Lhs[0]) == "text" || f.Name.Name == "Describe") {
				textsIn(a.Rhs[0], kinds)
			}
			return true
		})
	}
	return kinds
}

// textsIn adds the longest texts in an expression to kinds, and reports whether it has the
// variable text in it.
func textsIn(e ast.Expr, kinds map[string]bool) (byName bool) {
	switch e := e.(type) {
	case *ast.Ident:
		return e.Name == "text"
	case *ast.BasicLit:
		if s, err := strconv.Unquote(e.Value); err == nil && strings.Trim(s, ": ") != "measure" && len(s) > 2 {
			kinds[s] = true
		}
	case *ast.BinaryExpr:
		x, okX := literal(e.X)
		y, okY := literal(e.Y)
		if okX && okY {
			kinds[x+y] = true
			return false
		}
		byX := textsIn(e.X, kinds)
		return textsIn(e.Y, kinds) || byX
	case *ast.CallExpr:
		if name := nameOf(e.Fun); name != "Sprintf" && name != "append" {
			return false
		}
		for i, a := range e.Args {
			if i == 0 || nameOf(e.Fun) == "append" {
				byName = textsIn(a, kinds) || byName
			}
		}
	case *ast.CompositeLit:
		for _, a := range e.Elts {
			byName = textsIn(a, kinds) || byName
		}
	}
	return byName
}

// literal returns the text of an expression that is one.
func literal(e ast.Expr) (string, bool) {
	if b, ok := e.(*ast.BasicLit); ok && b.Kind == token.STRING {
		s, err := strconv.Unquote(b.Value)
		return s, err == nil
	}
	return "", false
}

// nameOf returns the last name of an expression such as a.b.c, "" for others.
func nameOf(e ast.Expr) string {
	switch e := e.(type) {
	case *ast.Ident:
		return e.Name
	case *ast.SelectorExpr:
		return e.Sel.Name
	}
	return ""
}
