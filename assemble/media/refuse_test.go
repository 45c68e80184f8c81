package media

import (
	"bytes"
	"context"
	"encoding/binary"
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"ripieno/assemble/fault"
)

// write puts data into a fresh folder.
func write(t testing.TB, name string, data []byte) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), name)
	if err := os.WriteFile(path, data, 0o644); err != nil {
		t.Fatal(err)
	}
	return path
}

// faultOf returns err as a fault of kind Media.
func faultOf(t testing.TB, err error) *fault.Fault {
	t.Helper()
	f, ok := errors.AsType[*fault.Fault](err)
	if !ok || f.Kind != fault.Media {
		t.Fatalf("got %v, want a fault of kind Media", err)
	}
	return f
}

func TestResolveFinds(t *testing.T) {
	dir := t.TempDir()
	os.Mkdir(filepath.Join(dir, "intake"), 0o755)
	// Names that ffmpeg would take for options, protocols or patterns.
	names := []string{"a.mp4", "-", "-i", "a:b.mp4", "concat:a.mp4", "p%03d.mp4", "new\nline.mp4", `quo"te'.mp4`, "ümläut.mp4", "intake/x.mov"}
	for _, n := range names {
		if err := os.WriteFile(filepath.Join(dir, n), []byte("x"), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	if err := os.Symlink("a.mp4", filepath.Join(dir, "link.mp4")); err != nil {
		t.Fatal(err)
	}
	root, _ := filepath.EvalSymlinks(dir)
	for _, n := range names {
		if got, err := Resolve(dir, n); err != nil || got != filepath.Join(root, n) {
			t.Errorf("%q: %q, %v", n, got, err)
		}
	}
	for path, want := range map[string]string{
		"link.mp4":                   "a.mp4",
		"./intake/../a.mp4":          "a.mp4",
		filepath.Join(dir, "a.mp4"):  "a.mp4",
		"intake/x.mov":               "intake/x.mov",
		"intake/../intake/./x.mov":   "intake/x.mov",
		filepath.Join(root, "a.mp4"): "a.mp4",
	} {
		if got, err := Resolve(dir, path); err != nil || got != filepath.Join(root, want) {
			t.Errorf("%q: %q, %v", path, got, err)
		}
	}
}

func TestResolveRefuses(t *testing.T) {
	dir := t.TempDir()
	outside := write(t, "secret.mp4", []byte("x"))
	os.Mkdir(filepath.Join(dir, "folder.mp4"), 0o755)
	os.WriteFile(filepath.Join(dir, "Take1.MP4"), []byte("x"), 0o644)
	os.Symlink(outside, filepath.Join(dir, "out.mp4"))
	os.Symlink("nowhere", filepath.Join(dir, "dangling.mp4"))
	os.Symlink("/dev/zero", filepath.Join(dir, "zero.mp4"))
	rel, _ := filepath.Rel(dir, outside)
	for _, c := range []struct{ path, what, hint string }{
		{"", "the file name is empty", "give the path"},
		{"a\x00b", "the file name contains a zero byte", "rename"},
		{"http://example.org/a.mp4", "this is an address, not a file", "copy the recording"},
		{"concat:a.mp4|b.mp4", "this is an address, not a file", "copy"},
		{"subfile,,start,0,end,9,,:/etc/passwd", "this is an address, not a file", "copy"},
		{"-", "this is an address, not a file", "copy"},
		{"none.mp4", "the file does not exist", "expected: true"},
		{"take1.mp4", "the file does not exist", `did you mean "Take1.MP4"?`},
		{"Take1.mov", "the file does not exist", `did you mean "Take1.MP4"?`},
		{"dangling.mp4", "the file does not exist", ""},
		{"folder.mp4", "this is a folder, not a file", "exported"},
		{outside, "the file lies outside the production's folder", "copy it"},
		{rel, "the file lies outside the production's folder", "copy it"},
		{"out.mp4", "the file lies outside the production's folder", "copy it"},
		{"zero.mp4", "the file lies outside the production's folder", "copy it"},
		{"Take1.MP4/x", "the file cannot be found", ""},
	} {
		got, err := Resolve(dir, c.path)
		if err == nil {
			t.Errorf("%q was resolved to %q", c.path, got)
			continue
		}
		if f := faultOf(t, err); f.What != c.what || !strings.Contains(f.Hint, c.hint) {
			t.Errorf("%q: %q, hint %q; want %q, hint with %q", c.path, f.What, f.Hint, c.what, c.hint)
		}
	}
}

func TestShowPath(t *testing.T) {
	for path, want := range map[string]string{
		"intake/a b.mp4": "intake/a b.mp4",
		"über.mp4":       "über.mp4",
		"a\x1b[2Jb":      `"a\x1b[2Jb"`,
		"a\nb":           `"a\nb"`,
	} {
		if got := showPath(path); got != want {
			t.Errorf("%q is shown as %s, want %s", path, got, want)
		}
	}
}

// box returns one MP4 box with a body.
func box(kind string, body ...byte) []byte {
	return append(binary.BigEndian.AppendUint32(nil, uint32(8+len(body))), append([]byte(kind), body...)...)
}

func TestSniff(t *testing.T) {
	claims := box("mdat", 1, 2, 3)
	binary.BigEndian.PutUint32(claims, 5_000_000)
	ftyp := box("ftyp", []byte("isom\x00\x00\x02\x00")...)
	for _, c := range []struct {
		name string
		data []byte
		what string // "" when the file passes
	}{
		{"empty", nil, "the file is empty (0 bytes)"},
		{"text", []byte("hello, this is my take\n"), "this is text, not a recording"},
		{"text of one letter", []byte("x"), "this is text, not a recording"},
		{"text with a cut letter", bytes.Repeat([]byte("äö"), 1025)[:4097], "this is text, not a recording"},
		{"HLS", []byte("#EXTM3U\n#EXTINF:10,\nfile:///etc/passwd\n"), "this is a playlist that points to other files, not a recording"},
		{"HLS after a byte order mark", []byte("\xef\xbb\xbf\n#EXTM3U\n"), "this is a playlist that points to other files, not a recording"},
		{"ffconcat", []byte("ffconcat version 1.0\nfile /etc/passwd\n"), "this is a playlist that points to other files, not a recording"},
		{"DASH", []byte("<?xml version=\"1.0\"?>\n<MPD></MPD>"), "this is a playlist that points to other files, not a recording"},
		{"web page", []byte("<!DOCTYPE html><html><body>Sign in"), "this is a web page, not a recording"},
		{"zip", []byte("PK\x03\x04\x14\x00\x00\x00"), "this is a zip archive, not a recording"},
		{"png", []byte("\x89PNG\r\n\x1a\n\x00\x00"), "this is a picture, not a recording"},
		{"heic", box("ftyp", []byte("heic\x00\x00\x00\x00")...), "this is a picture, not a recording"},
		{"MIDI", []byte("MThd\x00\x00\x00\x06"), "this is a MIDI file: notes, not a recording"},
		{"zeros", make([]byte, 10_000), "the file holds only zeros"},
		{"no index", append(bytes.Clone(ftyp), box("mdat", 1, 2, 3)...), "the recording did not finish: its index (moov) is missing"},
		{"no index, broken off", append(bytes.Clone(ftyp), claims...), "only the first 27 bytes of 5.0 MB came, without the index"},
		{"index broken off", append(bytes.Clone(ftyp), 0, 0, 0x10, 0, 'm', 'o', 'o', 'v'), "only the first 24 bytes of 4112 bytes came, without the index"},
		{"complete", append(append(bytes.Clone(ftyp), box("moov")...), box("mdat", 1)...), ""},
		{"data to the end of the file", append(append(bytes.Clone(ftyp), box("moov")...), 0, 0, 0, 0, 'm', 'd', 'a', 't', 9), ""},
		{"junk behind it", append(append(append(bytes.Clone(ftyp), box("moov")...), box("mdat", 1)...), "zzzzjunk"...), ""},
		{"binary of unknown kind", []byte{1, 2, 3, 4, 0, 9}, ""},
		{"wav", wavBytes(1, 1, 16, 8000, 2, []byte{1, 2}), ""},
	} {
		s, err := sniff(t.Context(), write(t, "take.mp4", c.data))
		switch {
		case c.what == "" && (err != nil || s.truncated):
			t.Errorf("%s: %v, truncated %v", c.name, err, s.truncated)
		case c.what != "" && err == nil:
			t.Errorf("%s passed", c.name)
		case c.what != "":
			if f := faultOf(t, err); f.What != c.what || f.Hint == "" || !strings.HasSuffix(f.Where, "take.mp4") {
				t.Errorf("%s: %q (hint %q), want %q", c.name, f.What, f.Hint, c.what)
			}
		}
	}
	// Indexed and cut: usable, and told.
	short := append(append(bytes.Clone(ftyp), box("moov")...), claims...)
	if s, err := sniff(t.Context(), write(t, "take.mp4", short)); err != nil || !s.truncated || len(s.notes) != 1 {
		t.Errorf("indexed and cut: %+v, %v", s, err)
	}
	if f := faultOf(t, sniffErr(t.TempDir())); f.What != "this is a folder, not a file" {
		t.Errorf("folder: %v", f)
	}
	if f := faultOf(t, sniffErr(filepath.Join(t.TempDir(), "none"))); f.What != "the file does not exist" {
		t.Errorf("missing: %v", f)
	}
}

func sniffErr(path string) error { _, err := sniff(context.Background(), path); return err }

func TestReadAtoms(t *testing.T) {
	large := append([]byte{0, 0, 0, 1, 'm', 'd', 'a', 't', 0, 0, 0, 0, 0, 0, 0, 18}, 7, 8)
	data := append(append(append(box("ftyp", 1, 2), box("moov", 3)...), large...), box("free")...)
	list := readAtoms(bytes.NewReader(data), int64(len(data)))
	want := []atom{{"ftyp", 0, 10}, {"moov", 10, 9}, {"mdat", 19, 18}, {"free", 37, 8}}
	if len(list) != len(want) {
		t.Fatalf("got %+v", list)
	}
	for i := range want {
		if list[i] != want[i] {
			t.Errorf("box %d is %+v, want %+v", i, list[i], want[i])
		}
	}
	late := []atom{{"mdat", 0, 8}, {"moov", 8, 8}}
	if !fastStart(list) || fastStart(late) || fastStart(list[:2]) || fastStart(nil) {
		t.Error("fast start is told wrongly")
	}
}

func FuzzReadAtoms(f *testing.F) {
	f.Add(append(box("ftyp", 1), box("moov")...))
	f.Add([]byte("\x00\x00\x00\x01mdat\x7f\xff\xff\xff\xff\xff\xff\xff"))
	f.Add([]byte("\x00\x00\x00\x00mdat"))
	f.Add([]byte("\x00\x00\x00\x01mdat\x00\x00\x00\x00\x00\x00\x00\x01"))
	f.Fuzz(func(t *testing.T, data []byte) {
		list := readAtoms(bytes.NewReader(data), int64(len(data)))
		at := int64(0)
		for _, a := range list {
			if a.offset != at || a.size < 8 || len(a.kind) != 4 {
				t.Fatalf("%+v after %d", a, at)
			}
			at = a.end()
		}
		judgeAtoms(list, int64(len(data)))
	})
}
