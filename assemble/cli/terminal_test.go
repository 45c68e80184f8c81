package cli

import (
	"encoding/json"
	"errors"
	"strings"
	"syscall"
	"testing"

	"ripieno/assemble/fault"
)

// TestHarmless: names of files decide nothing on a terminal.
func TestHarmless(t *testing.T) {
	for text, want := range map[string]string{
		"oboe.mp4\n\tline":          "oboe.mp4\n\tline",
		"Ünï – 𝄞 �":                 "Ünï – 𝄞 �",
		"\x1b[2J\x1b]0;owned\x07":   `\x1b[2J\x1b]0;owned\x07`,
		"a\rb\x7f":                  `a\x0db\x7f`,
		"\u202e4pm.mp4\u2066":       `\u202e4pm.mp4\u2066`,
		"\u009b31m":                 `\u009b31m`,
		"latin \xe9\x9b":            `latin \xe9\x9b`,
		"line\u2028end\u061c\u200f": `line\u2028end\u061c\u200f`,
	} {
		if got := escapeText(text); got != want {
			t.Errorf("%q becomes %q, want %q", text, got, want)
		}
	}
	if got := escapeLine("a\nerror: b"); got != `a\nerror: b` {
		t.Errorf("a line becomes %q", got)
	}
}

// FuzzHarmless: nothing that a terminal acts upon is left, and JSON says what it
// said.
func FuzzHarmless(f *testing.F) {
	f.Add("\x1b[31m\u202e\x9b")
	f.Fuzz(func(t *testing.T, text string) {
		bad := func(r rune) bool { return actsOn(r) && r != '\n' && r != '\t' }
		if got := escapeText(text); strings.ContainsFunc(got, bad) {
			t.Errorf("%q becomes %q", text, got)
		}
		data, err := json.Marshal(map[string]string{"name": text})
		if err != nil {
			t.Fatal(err)
		}
		var before, after map[string]string
		safe := escapeJSON(data)
		if err := errors.Join(json.Unmarshal(data, &before), json.Unmarshal(safe, &after)); err != nil {
			t.Fatal(err)
		}
		if before["name"] != after["name"] || strings.ContainsFunc(string(safe), bad) {
			t.Errorf("%s becomes %s", data, safe)
		}
	})
}

// brokenPipe cannot be written.
type brokenPipe struct{}

func (brokenPipe) Write([]byte) (int, error) { return 0, syscall.ENOSPC }

// TestAnUnprintedResultIsAFailure: exit code 0 says that the result was printed.
func TestAnUnprintedResultIsAFailure(t *testing.T) {
	for _, args := range [][]string{{"help"}, {"--help"}} {
		var said strings.Builder
		s := Streams{In: strings.NewReader(""), Out: brokenPipe{}, Err: &said}
		if code := Main(t.Context(), args, s); code != fault.Failed.ExitCode() {
			t.Errorf("%v: exit code %d", args, code)
		}
		const want = "error: standard output: the result could not be written: no space left on device\n"
		if !strings.HasPrefix(said.String(), want) {
			t.Errorf("%v: %s", args, said.String())
		}
	}
}
