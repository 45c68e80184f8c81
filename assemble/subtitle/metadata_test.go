package subtitle

import (
	"encoding/json"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"unicode"
	"unicode/utf8"
)

// awkward are names that once meant something to the reader of the file.
var awkward = []string{
	`The end \`, `\`, `\\`, `a\\\`, `\n`, "two\n[CHAPTER]\nSTART=0", "title=x",
	"=;#\\", ";comment", "#comment", "[CHAPTER]",
	"", " ", "a\x00b", "\r", "tab\tand \u2028 line", "end \\\n", `\=`, "Ünï – 𝄞", "\\\x00",
}

// oneLine returns what a reader should see of a name.
func oneLine(name string) string {
	return strings.Map(func(r rune) rune {
		if unicode.IsControl(r) {
			return ' '
		}
		return r
	}, name)
}

// titles reads the titles of a metadata file back. With literal set, a line ends
// at the first line feed that has no backslash before it, escaped or not, which
// is what ffmpeg 5.1.9 does with the lines that hold titles; else as the format
// is described (ffmpeg-formats, "Metadata"): a backslash escapes what follows,
// another backslash too. A zero byte ends a text in either.
func titles(file string, literal bool) []string {
	var lines []string
	var line strings.Builder
	var prev byte = ' '
	for i := 0; i < len(file); i++ {
		c := file[i]
		if !literal && c == '\\' && i+1 < len(file) {
			line.WriteString(file[i : i+2])
			i++
			continue
		}
		if c == '\n' && (!literal || prev != '\\') {
			lines = append(lines, line.String())
			line.Reset()
		} else {
			line.WriteByte(c)
		}
		prev = c
	}
	var out []string
	for _, l := range lines {
		l, _, _ = strings.Cut(l, "\x00")
		value, ok := strings.CutPrefix(l, "title=")
		if !ok {
			continue
		}
		var plain strings.Builder
		for i := 0; i < len(value); i++ {
			if value[i] == '\\' && i+1 < len(value) {
				i++
			}
			plain.WriteByte(value[i])
		}
		out = append(out, plain.String())
	}
	return out
}

func checkMetadata(t *testing.T, name string) {
	t.Helper()
	file := Metadata([]Chapter{{0, name}, {1, "second"}, {2, name}}, 3)
	for _, literal := range []bool{false, true} {
		got := titles(file, literal)
		if len(got) != 3 || got[0] != oneLine(name) || got[1] != "second" || got[2] != oneLine(name) {
			t.Errorf("%q is read as %q (literal %v) from\n%q", name, got, literal, file)
		}
	}
	if n := strings.Count("\n"+file, "\n[CHAPTER]\n"); n != 3 {
		t.Errorf("%q makes %d chapters in\n%q", name, n, file)
	}
}

func TestMetadataOfAwkwardNames(t *testing.T) {
	for _, name := range awkward {
		checkMetadata(t, name)
	}
}

// A name of any form stays within its chapter.
func FuzzMetadata(f *testing.F) {
	for _, name := range awkward {
		f.Add(name)
	}
	f.Fuzz(func(t *testing.T, name string) {
		if !utf8.ValidString(name) {
			return // the manifest is UTF-8
		}
		checkMetadata(t, name)
	})
}

// TestFFprobeReadsTheNamesBack holds the writer against the program that reads
// its files, with every awkward name and every pair of special characters.
func TestFFprobeReadsTheNamesBack(t *testing.T) {
	probe, err := exec.LookPath("ffprobe")
	if err != nil {
		if os.Getenv("CI") != "" {
			t.Fatal(err)
		}
		t.Skip(err)
	}
	names := append([]string{}, awkward...)
	special := []string{`\`, "=", ";", "#", "\n", "a", " "}
	for _, a := range special {
		for _, b := range special {
			names = append(names, "x"+a+b, a+b)
		}
	}
	var chapters []Chapter
	for i, n := range names {
		chapters = append(chapters, Chapter{float64(i), n})
	}
	path := filepath.Join(t.TempDir(), "chapters.txt")
	if err := os.WriteFile(path, []byte(Metadata(chapters, float64(len(names)))), 0o666); err != nil {
		t.Fatal(err)
	}
	args := []string{"-v", "error", "-f", "ffmetadata", "-show_chapters", "-of", "json", "file:" + path}
	out, err := exec.Command(probe, args...).Output()
	if err != nil {
		t.Fatal(err)
	}
	var got struct {
		Chapters []struct {
			Tags map[string]string `json:"tags"`
		} `json:"chapters"`
	}
	if err := json.Unmarshal(out, &got); err != nil {
		t.Fatal(err)
	}
	if len(got.Chapters) != len(names) {
		t.Fatalf("%d chapters of %d", len(got.Chapters), len(names))
	}
	for i, n := range names {
		if title := got.Chapters[i].Tags["title"]; title != oneLine(n) {
			t.Errorf("%q is read as %q", n, title)
		}
	}
}
