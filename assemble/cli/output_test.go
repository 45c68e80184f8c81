package cli

import (
	"errors"
	"io"
	"strings"
	"testing"
	"unicode/utf8"

	"ripieno/assemble"
	"ripieno/assemble/arrival"
	"ripieno/assemble/build"
	"ripieno/assemble/doctor"
	"ripieno/assemble/elsewhere"
	"ripieno/assemble/fault"
	"ripieno/assemble/manifest"
	"ripieno/assemble/roll"
	"ripieno/assemble/sheets"
	"ripieno/assemble/soundtrack"
)

// said returns what a table prints.
func said(t func(io.Writer)) string {
	var b strings.Builder
	t(&b)
	return b.String()
}

// compare holds what was printed against what is wanted, to the letter.
func compare(t *testing.T, what, got, want string) {
	t.Helper()
	if got != want {
		t.Errorf("%s: got\n%s\nwant\n%s", what, got, want)
	}
}

// Seconds are minutes to a thousandth, rounded once: what is almost a minute is one.
func TestClocksForPeople(t *testing.T) {
	for s, want := range map[float64]string{0: "0:00.000", 59.9994: "0:59.999", 59.9996: "1:00.000", 61.5: "1:01.500",
		-1.25: "-0:01.250", 3600: "60:00.000", -0.0001: "-0:00.000"} {
		if got := clock(s); got != want {
			t.Errorf("%v is %q, want %q", s, got, want)
		}
	}
	for s, want := range map[float64]string{0: "0 seconds", 89.4: "89 seconds", 90: "1.5 minutes",
		3600: "60.0 minutes"} {
		if got := formatEstimate(s); got != want {
			t.Errorf("%v is %q, want %q", s, got, want)
		}
	}
	v := -16.04
	if level(nil, "LUFS") != "silent" || level(&v, "LUFS") != "-16.0 LUFS" {
		t.Errorf("%q, %q", level(nil, "LUFS"), level(&v, "LUFS"))
	}
	for n, want := range map[int]string{0: "0 tiles", 1: "1 tile", 2: "2 tiles", -1: "-1 tiles"} {
		if got := count(n, "tile"); got != want {
			t.Errorf("%q, want %q", got, want)
		}
	}
	if sizeOrUnknown(0) != "an unknown amount" || sizeOrUnknown(2e9) == "an unknown amount" {
		t.Errorf("%q, %q", sizeOrUnknown(0), sizeOrUnknown(2e9))
	}
}

// Names are shortened to whole characters, with a mark that they were.
func TestShortenedNames(t *testing.T) {
	for _, c := range []struct {
		name string
		n    int
		want string
	}{{"oboe", 4, "oboe"}, {"oboes", 4, "obo…"}, {"", 4, ""}, {"楽器楽器楽器", 3, "楽器…"}, {"Åse", 3, "Åse"}} {
		if got := shorten(c.name, c.n); got != c.want || utf8.RuneCountInString(got) > c.n {
			t.Errorf("%q to %d: %q", c.name, c.n, got)
		}
	}
}

// Text is broken at spaces; no line is wider than asked but a word that is by itself.
func TestWrappedText(t *testing.T) {
	for _, c := range []struct {
		text  string
		width int
		want  string
	}{{"", 10, ""}, {"one two three", 7, "one two|three"}, {"one two three", 100, "one two three"},
		{"  a   b ", 1, "a|b"}, {"immeasurable", 4, "immeasurable"}, {"a immeasurable b", 4, "a|immeasurable|b"},
		{"über öl", 4, "über|öl"}} {
		if got := strings.Join(wrap(c.text, c.width), "|"); got != c.want {
			t.Errorf("%q to %d: %q, want %q", c.text, c.width, got, c.want)
		}
	}
}

// A row of the table of keys goes on in its columns, and one with a long name below it.
func TestColumnsGoOn(t *testing.T) {
	var b strings.Builder
	writeColumns(&b, "  short", "a number from 1 to 10 and some more words", "none", "what it means")
	writeColumns(&b, "  a-name-that-is-far-too-long", "text", "", "means little")
	lines := strings.Split(strings.TrimSuffix(b.String(), "\n"), "\n")
	if len(lines) != 4 || strings.Index(lines[0], "a number") != 20 || strings.Index(lines[1], "more words") != 20 ||
		lines[2] != "  a-name-that-is-far-too-long" || strings.Index(lines[3], "text") != 20 {
		t.Errorf("%q", lines)
	}
	for in, want := range map[string]string{"": "at the margin", "mix.": "mix", "takes[].": "takes[], each entry",
		"takes[].crop.": "takes[].crop"} {
		if got := mappingTitle(in); got != want {
			t.Errorf("%q is %q", in, got)
		}
	}
	keys := []manifest.Key{{Key: "title", Type: "text", Unit: "-", Default: "none", Meaning: "of the piece"},
		{Key: "check.soft_ask", Type: "number", Unit: "LUFS", Default: "-42", Meaning: "x"},
		{Key: "mix.loudness", Type: "number", Unit: "LUFS", Default: "-16", Meaning: "of the sum"}}
	all, asked := said(keysTable(keys, "")), said(keysTable(keys, "soft"))
	if strings.Contains(all, "soft_ask") || !strings.Contains(all, "number (LUFS)") ||
		!strings.Contains(all, "at the margin") ||
		strings.Contains(all, "text (-)") || !strings.Contains(asked, "soft_ask") {
		t.Errorf("%s\n%s", all, asked)
	}
	if !hasWord("", "x") || !hasWord("LOUD", "a loudness") || hasWord("soft", "loud", "Louder") || hasWord("x") {
		t.Error("words are found elsewhere")
	}
}

// A mix is a line for each strip, then the files, what went and what to know.
func TestMixTable(t *testing.T) {
	l, p := -16.0, -1.25
	r := assemble.MixResult{WAV: "out/mix.wav", Levels: "out/levels.png", Duration: 61.5, Loudness: &l, TruePeak: &p,
		Strips: []soundtrack.StripResult{{Take: "oboe", Loudness: &l, Mixed: nil, Gain: 3, Pan: -20,
			Notes: []string{"a", "b"}}, {Take: "horn", Gain: -1.26}},
		Removed: []string{"out/stems/takes/old.wav"}, Notes: []string{"odd"}}
	compare(t, "mix", said(mixTable(r)), `take  recorded at  gain     in the mix  pan
oboe  -16.0 LUFS   +3.0 dB  silent      -20  a; b
horn  silent       -1.3 dB  silent      +0
wrote out/mix.wav (1:01.500): loudness -16.0 LUFS, true peak -1.2 dBTP
wrote out/levels.png
removed out/stems/takes/old.wav: not part of this mix
note: odd
`)
}

// Films, their encoder where it is not the usual one, and how much was made by whom.
func TestRenderTable(t *testing.T) {
	r := assemble.RenderResult{Films: []assemble.FilmResult{{Output: "out/final.mp4", Frames: 90, Duration: 3,
		Encoder: "libx264"}, {Output: "out/tall.mp4", Frames: 90, Duration: 3, Encoder: "hevc_nvenc", Codec: "hevc"}},
		Tasks: assemble.TaskCount{Run: 5, Reused: 7, Away: 2}, Wall: 12.34}
	text := said(renderTable(r))
	for _, want := range []string{"wrote out/final.mp4: ", "90 frames, 0:03.000\n",
		"90 frames, 0:03.000, hevc by hevc_nvenc\n",
		"sound: loudness silent, true peak silent\n", "5 tasks run (2 on other machines), 7 cached, 12.3 s\n"} {
		if !strings.Contains(text, want) {
			t.Errorf("no %q in\n%s", want, text)
		}
	}
	if awayNote(assemble.TaskCount{Run: 3}) != "" {
		t.Error("machines that made nothing are named")
	}
}

// What came out otherwise is told by its first figures, and what hardware made is not
// counted as the same.
func TestVerifyTable(t *testing.T) {
	r := assemble.VerifyResult{Tasks: 10, Varying: 3}
	compare(t, "the same", said(verifyTable(r)),
		"7 of 7 results were made again and are the same\n3 segments encoded by hardware "+
			"were encoded again and have all their frames; hardware never writes the same bytes twice, "+
			"so these were not compared\n")
	compare(t, "cleaned", said(cleanTable(assemble.CleanResult{Entries: 12, Bytes: 3_450_000})),
		"removed 12 stored results, 3.5 MB\n")
}

// Takes by what is wrong with them, and how many have which level.
func TestCheckTable(t *testing.T) {
	r := assemble.CheckResult{Takes: []roll.Checked{{Name: "oboe", Player: "Ada", Level: "ok"},
		{Name: "tuba", Player: "Dee", Level: "missing"}},
		Guides: []assemble.GuideChange{{What: "it is older", Hint: "make it again"}}}
	compare(t, "check", said(checkTable(r)), `ok       oboe (Ada)
missing  tuba (Dee)
2 takes: 1 ok, 0 to ask about, 0 to record again, 1 missing
guide: it is older
       make it again
`)
	if got := countLevels(nil); got != "0 takes: 0 ok, 0 to ask about, 0 to record again, 0 missing" {
		t.Errorf("%q", got)
	}
}

// The roll has an address only for who is not in yet.
func TestRollTable(t *testing.T) {
	r := assemble.RollResult{}
	r.Takes = []roll.Line{{Name: "oboe", Player: "Ada", Part: "Oboe", Email: "ada@example.org", Status: roll.StatusIn,
		Release: "yes"}, {Name: "horn", Player: "Ben", Part: "Horn", Email: "ben@example.org",
		Status: roll.StatusRejected, Release: "missing",
		Why: []string{"too soft", "dark"}}}
	r.Counts = roll.Counts{In: 1, Rejected: 1, Unreleased: 1}
	compare(t, "roll", said(rollTable(r)), `status    take  player  part  release
in        oboe  Ada     Oboe  yes
rejected  horn  Ben     Horn  missing  ben@example.org; too soft; dark
2 takes: 1 in, 1 rejected, 0 missing, 0 late
release missing for 1 take
`)
}

// What a watch tells is a line or two for people, with what to do.
func TestLinesOfAWatch(t *testing.T) {
	rough := assemble.RenderResult{}
	rough.Tasks.Run, rough.Tasks.Reused, rough.Wall = 3, 9, 1.25
	for _, c := range []struct {
		e    assemble.WatchEvent
		want string
	}{
		{assemble.WatchEvent{Event: arrival.Began, Roll: &roll.Roll{Counts: roll.Counts{In: 2, Missing: 1}}},
			"watching: 2 takes in, 0 rejected, 1 missing, 0 late"},
		{assemble.WatchEvent{Event: arrival.Arrived, File: "a.mov", Take: "oboe", Role: "video", Line: 7,
			Text: "  - {x}"}, `a.mov is the video of take "oboe"; write line 7 of production.yaml as|  - {x}`},
		{assemble.WatchEvent{Event: arrival.Arrived, File: "a.mov", Take: "oboe", Role: "video", Line: 7,
			Text: "  - {x}", Adopted: true},
			`a.mov is the video of take "oboe"; line 7 of production.yaml is now|  - {x}`},
		{assemble.WatchEvent{Event: arrival.Finished}, "nothing has changed"},
		{assemble.WatchEvent{Event: arrival.Finished, Changes: []string{"horn is new: in"}, Rough: &rough},
			"horn is new: in|rough cut:  (3 tasks run, 9 cached, 1.2 s)"},
		{assemble.WatchEvent{Event: arrival.Waiting, Why: "moov atom not found"},
			"not readable yet: moov atom not found"},
		{assemble.WatchEvent{Event: arrival.Unclear, File: "x.mov", Why: "nobody"}, "x.mov: whose is it? nobody"},
		{assemble.WatchEvent{Event: arrival.Strayed, File: "out/x.mov", Why: "it lies here", Hint: "move it"},
			"out/x.mov looks like a recording, but it lies here|  hint: move it"},
		{assemble.WatchEvent{Event: arrival.Trouble, Why: "full"}, "problem: full"},
	} {
		if got := strings.Join(eventLines(c.e), "|"); got != c.want {
			t.Errorf("%s: %q, want %q", c.e.Event, got, c.want)
		}
	}
}

// A machine by what it has and lacks, each problem with what to do.
func TestDoctorTable(t *testing.T) {
	minute := 200.0
	r := assemble.DoctorResult{Cores: 2, Minute: &minute, Bundle: "a.zip"}
	r.Problems = append(r.Problems, doctor.Problem{What: "no ffmpeg", Mend: "install it"},
		doctor.Problem{What: "no zscale", Mend: "install it"}, doctor.Problem{What: "no room", Mend: "free some"})
	text := said(doctorTable(r))
	for _, want := range []string{"machine: 2 cores, an unknown amount of memory",
		"takes about 3.3 minutes the first time",
		// What mends two of them is said once.
		"problem: no ffmpeg\nproblem: no zscale\n  to do: install it\nproblem: no room\n  to do: free some\n",
		"wrote a.zip; read it before you send it\n"} {
		if !strings.Contains(text, want) {
			t.Errorf("no %q in\n%s", want, text)
		}
	}
	if strings.Contains(text, "nothing is missing") || !strings.Contains(said(doctorTable(assemble.DoctorResult{})),
		"nothing is missing\n") {
		t.Error("what is missing is told the wrong way round")
	}
	for _, c := range []struct {
		i    build.Info
		want string
	}{
		{build.Info{Version: "1.2", Go: "go1.26", System: "linux/amd64"}, "ripieno 1.2, go1.26, linux/amd64"},
		{build.Info{Version: "dev", Commit: "0123456789abcdef", Changed: true, Day: "2031-06-12", Go: "go1.26",
			System: "linux/amd64"}, "ripieno dev (0123456789ab, changed, 2031-06-12), go1.26, linux/amd64"},
		{build.Info{Version: "dev", Commit: "0123", Go: "g", System: "s"}, "ripieno dev (0123), g, s"},
	} {
		if got := versionLine(c.i); got != c.want {
			t.Errorf("%q, want %q", got, c.want)
		}
	}
	licences := said(licencesTable([]build.Licence{{Work: "a", Kind: "MIT", Text: "text\n"}}))
	if want := "in the program  licence\na               MIT\n\na\n=\n\ntext\n"; !strings.HasSuffix(licences, want) {
		t.Errorf("licences: got\n%s\nwant\n%s", licences, want)
	}
}

// Machines by what they do, or why they cannot help.
func TestWorkersTable(t *testing.T) {
	compare(t, "nobody", said(workersTable(nil)), "nobody is there\n")
	compare(t, "some", said(workersTable([]elsewhere.Helper{{Name: "studio", Cores: 8, Doing: []string{"compose",
		"conform"}}, {Name: "old", Guest: "ida", Cores: 2, Refused: "its ffmpeg is another one"},
		{Name: "idle", Cores: 4}})),
		`studio                8 cores  compose, conform
old (invited as ida)  2 cores  cannot help: its ffmpeg is another one
idle                  4 cores  waits
`)
	i := invitations{Render: "R", Work: "W"}
	if text := said(i.table); !strings.Contains(text, "ripieno render --with R") ||
		!strings.Contains(text, "ripieno work --join W") {
		t.Errorf("%s", text)
	}
	plain := errors.New("connection refused")
	if err := unreachable(plain); fault.KindOf(err) != fault.Failed || !strings.Contains(fault.Format(err),
		"ripieno serve") {
		t.Errorf("%v", err)
	}
	own := fault.New(fault.Manifest, "", "invalid --with", "")
	if unreachable(nil) != nil || unreachable(own) != error(own) {
		t.Error("what is no matter of a connection was changed")
	}
}

// A new production is told with what could not be guessed; names of files cannot write on
// the terminal.
func TestNewTable(t *testing.T) {
	r := assemble.NewResult{Manifest: "production.yaml", Takes: 1, Unguessed: []string{"x\x1b[31m.mov"},
		Remarks: []string{"no tempo"}}
	text := said(newTable(r))
	if !strings.HasPrefix(text, "wrote production.yaml with 1 take\ncould not guess:\n  - x") ||
		strings.Contains(text, "\x1b") || !strings.Contains(text, "remarks:\n  - no tempo\nnext: ") {
		t.Errorf("%q", text)
	}
	if said(func(w io.Writer) { tellScore(w, nil) }) != "" {
		t.Error("remarks of nothing")
	}
}

// Pages of players, and the sentences that a manifest may replace, as it writes them.
func TestCallSheetTable(t *testing.T) {
	r := assemble.CallSheetResult{All: "out/callsheet.html", Pages: []sheets.Page{{File: "out/a.html", Player: "Ada",
		Part: "Oboe"}, {File: "out/longer.html", Player: "", Part: "Horn"}}}
	compare(t, "sheets", said(callSheetTable(r)), `wrote out/callsheet.html for everybody
wrote out/a.html       Ada  Oboe
wrote out/longer.html       Horn
`)
	compare(t, "strings", said(stringsTable(assemble.SentencesResult{Strings: []sheets.Sentence{{Key: "a",
		Text: "b: c"}}})), "a: b: c\n")
}

// A hand-over by its files, what went and what to know.
func TestExportTable(t *testing.T) {
	r := assemble.ExportResult{Timeline: "out/t.otio", Edits: []string{"a", "b"}, Tempo: "out/tempo.mid",
		Offsets: "out/offsets.csv", Removed: []string{"out/old.edl"}, Notes: []string{"odd"}}
	compare(t, "export", said(exportTable(r)), `wrote out/t.otio
wrote 2 edit lists beside it, 0 stems, out/tempo.mid and out/offsets.csv
removed out/old.edl: not part of this export
note: odd
`)
}

// A guide by its files, when to clap and where the piece begins; measures that begin alike
// are one line.
func TestGuideTable(t *testing.T) {
	at, l := 4.5, -23.0
	r := assemble.GuideResult{GuideFile: assemble.GuideFile{WAV: "g.wav", MP3: "g.mp3", MIDI: "g.mid",
		MusicXML: "g.musicxml", Labels: "g.txt", Duration: 60, StartsAt: 8, CountIn: 4, CueAt: &at, CueMeasure: 3,
		CueBeat: 1, Loudness: &l}}
	text := said(guideTable(r))
	for _, want := range []string{"wrote g.wav, g.mp3, g.mid, g.musicxml, g.txt (1:00.000)\n",
		"count-in of 4 measures; everybody claps on measure 3 beat 1 of it, at 0:04.500\n",
		"the piece begins at 0:08.000\n",
		"loudness -23.0 LUFS, true peak silent; begin at a low headphone level\n"} {
		if !strings.Contains(text, want) {
			t.Errorf("no %q in\n%s", want, text)
		}
	}
	part := assemble.GuideFile{WAV: "p.wav", MP3: "p.mp3", MusicXML: "p.musicxml", Labels: "p.txt", From: 9, To: 16,
		StartsAt: 4, Offset: 12.5, With: []string{"oboe", "horn"}, Notes: []string{"odd"}}
	text = said(func(w io.Writer) { guideLines(w, part) })
	for _, want := range []string{"measures 9 to 16 begin at 0:04.000; add 12.500000 s to a time in " +
		"it for guide time\n",
		"with oboe, horn under the clicks\n", "note: odd\n"} {
		if !strings.Contains(text, want) {
			t.Errorf("no %q in\n%s", want, text)
		}
	}
	if strings.Contains(text, "claps") {
		t.Errorf("a clap without a count-in: %s", text)
	}
}
