package session

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"net"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	"ripieno/assemble/fault"
	"ripieno/assemble/ffmpeg"
	"ripieno/assemble/production"
	"ripieno/assemble/progress"
	"ripieno/assemble/store"
)

// notes is a reporter that keeps messages.
type notes struct {
	mu    sync.Mutex
	texts []string
}

func (n *notes) Add(string, string, float64) progress.Work { return quiet{} }
func (n *notes) Close()                                    {}
func (n *notes) Message(text string) {
	n.mu.Lock()
	defer n.mu.Unlock()
	n.texts = append(n.texts, text)
}

// all returns what was said so far.
func (n *notes) all() []string {
	n.mu.Lock()
	defer n.mu.Unlock()
	return slices.Clone(n.texts)
}

// quiet is work that nobody follows.
type quiet struct{}

func (quiet) Start()          {}
func (quiet) Advance(float64) {}
func (quiet) Finish(error)    {}

// opened returns a session with a store in a fresh folder, which the test closes.
func opened(t *testing.T, set Settings) (*Session, *notes) {
	t.Helper()
	dir := t.TempDir()
	said := &notes{}
	set.Report = said
	set, err := set.complete(dir)
	if err != nil {
		t.Fatal(err)
	}
	s := New(set, &production.Production{Dir: dir, Path: filepath.Join(dir, "production.yaml")}, nil)
	if s.kept, err = store.Open(filepath.Join(dir, StoreFolder)); err != nil {
		t.Fatal(err)
	}
	if err := s.kept.Lock(t.Context()); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := s.Close(); err != nil {
			t.Error(err)
		}
	})
	return s, said
}

// isFault reports whether err is a fault of a kind with these words in where, what
// and hint.
func isFault(err error, kind fault.Kind, where, what, hint string) bool {
	var f *fault.Fault
	return errors.As(err, &f) && f.Kind == kind && strings.Contains(f.Where, where) && strings.Contains(f.What, what) &&
		strings.Contains(f.Hint, hint)
}

// What settings leave open is filled in; what they say stays. A negative number is as
// none, and small machines keep the memory that one segment needs.
func TestSettingsAreCompleted(t *testing.T) {
	set, err := Settings{}.complete("/p")
	if err != nil {
		t.Fatal(err)
	}
	if set.Workers != runtime.NumCPU() || set.Out != filepath.Join("/p", "out") || set.Encoder != "software" ||
		set.Decoder != "software" || set.Store != 50e9 || set.Now == nil {
		t.Errorf("%+v", set)
	}
	for _, c := range []struct {
		workers int
		memory  int64
		want    int64
	}{
		{1, 0, 1_500_000_000}, {2, 0, 1_500_000_000}, {3, 0, 1_800_000_000}, {16, -1, 9_600_000_000}, {16, 7, 7},
	} {
		got, err := Settings{Workers: c.workers, Memory: c.memory}.complete("/p")
		if err != nil || got.Memory != c.want || got.Workers != c.workers {
			t.Errorf("%d workers, %d bytes: %d bytes with %d workers, %v", c.workers, c.memory, got.Memory,
				got.Workers, err)
		}
	}
	if got, _ := (Settings{Workers: -3}).complete("/p"); got.Workers != runtime.NumCPU() {
		t.Errorf("-3 workers become %d", got.Workers)
	}
	then := time.Date(2031, 6, 12, 20, 0, 0, 0, time.UTC)
	full := Settings{Out: "/o", Workers: 5, Memory: 6, Store: 7, Encoder: "auto", Decoder: "cuda", Profile: "p.json",
		Now: func() time.Time { return then }}
	got, err := full.complete("/p")
	if err != nil || got.Out != "/o" || got.Workers != 5 || got.Memory != 6 || got.Store != 7 ||
		got.Encoder != "auto" || got.Decoder != "cuda" || got.Profile != "p.json" || !got.Now().Equal(then) {
		t.Errorf("%+v, %v", got, err)
	}
	s := New(got, nil, nil)
	if s.Workers() != 5 || s.Encoder() != "auto" || !s.Now().Equal(then) || s.Settings().Out != "/o" ||
		s.Tool() != nil || s.Store() != nil {
		t.Errorf("the session has other settings: %+v", s.Settings())
	}
}

// A setting that is no choice is told with where it may stand and with the choices.
func TestChoicesAreChecked(t *testing.T) {
	for _, c := range []struct {
		set  Settings
		what string
		hint string
	}{
		{Settings{Encoder: "fast"}, `encoder is "fast" (--encoder, RIPIENO_ENCODER or settings.yaml)`,
			"software, hardware, auto"},
		{Settings{Decoder: "fast"}, `decoder is "fast" (--decoder, RIPIENO_DECODER or settings.yaml)`, "videotoolbox"},
		{Settings{Decoder: "hardware"}, `decoder is "hardware"`, "software, auto"},
		{Settings{Encoder: "a\nb", Decoder: "c"}, `encoder is "a\nb"`, "software"},
	} {
		if _, err := c.set.complete("/p"); !isFault(err, fault.Manifest, "", c.what, c.hint) {
			t.Errorf("%+v: %v", c.set, err)
		}
	}
}

// Opening fails with what a person can mend, the first thing first, and leaves no
// store where there is no production.
func TestOpeningFails(t *testing.T) {
	said := &notes{}
	nothing := ffmpeg.Options{FFmpeg: "/nowhere/ffmpeg", FFprobe: "/nowhere/ffprobe"}
	empty := t.TempDir()
	if _, err := Open(t.Context(), Settings{Dir: empty, Programs: nothing, Report: said}); !isFault(err, fault.Manifest,
		empty, "", "") {
		t.Errorf("without a manifest: %v", err)
	}
	dir := t.TempDir()
	text := "version: 1\ntitle: Round\ntempo: {changes: [{measure: 1, meter: 4/4, bpm: 120}], measures: 4}\ntakes: []\n"
	if err := os.WriteFile(filepath.Join(dir, "production.yaml"), []byte(text), 0o666); err != nil {
		t.Fatal(err)
	}
	if _, err := Open(t.Context(), Settings{Dir: dir, Programs: nothing, Encoder: "x", Report: said}); !isFault(err,
		fault.Manifest, "", `encoder is "x"`, "") {
		t.Errorf("with a wrong encoder: %v", err)
	}
	_, err := Open(t.Context(), Settings{Dir: dir, Programs: nothing, Report: said})
	if !isFault(err, fault.FFmpeg, "", "ffmpeg", "") {
		t.Errorf("without ffmpeg: %v", err)
	}
	for _, d := range []string{dir, empty} {
		if _, err := os.Lstat(filepath.Join(d, StoreFolder)); !errors.Is(err, fs.ErrNotExist) {
			t.Errorf("%s has a store: %v", d, err)
		}
	}
	if got := said.all(); len(got) != 0 {
		t.Errorf("said %q", got)
	}
}

// Whatever lies where an output is to be written and is no file is told before any
// work, and stays as it is. A file, however it came there, is replaced.
func TestWhatLiesWhereAnOutputGoes(t *testing.T) {
	dir := t.TempDir()
	socket := filepath.Join(dir, "socket.mp4")
	at, err := net.Listen("unix", socket)
	if err != nil {
		t.Skip(err) // a folder with too long a name for a socket
	}
	defer at.Close()
	err = errors.Join(os.Mkdir(filepath.Join(dir, "folder.mp4"), 0o777),
		os.Symlink("nowhere", filepath.Join(dir, "dangling.mp4")), os.Symlink("file.mp4",
			filepath.Join(dir, "link.mp4")),
		os.WriteFile(filepath.Join(dir, "file.mp4"), []byte("x"), 0o444))
	if err != nil {
		t.Fatal(err)
	}
	s := New(Settings{Out: dir}, nil, nil)
	for name, what := range map[string]string{"folder.mp4": "there is a folder where",
		"dangling.mp4": "there is a link", "link.mp4": "there is a link, and nothing is written through one",
		"socket.mp4": "there is no ordinary file where"} {
		path, err := s.OutFile(name)
		if path != "" || !isFault(err, fault.Failed, filepath.Join(dir, name), what, "--out") {
			t.Errorf("%s: %q, %v", name, path, err)
		}
		if err := s.OutFiles("new.mp4", name, "file.mp4"); !isFault(err, fault.Failed, name, what, "--out") {
			t.Errorf("among others %s: %v", name, err)
		}
	}
	for _, name := range []string{"file.mp4", "new.mp4", "Ä ö 楽.mp4"} {
		if path, err := s.OutFile(name); err != nil || path != filepath.Join(dir, name) {
			t.Errorf("%s: %q, %v", name, path, err)
		}
	}
	if err := s.OutFiles(); err != nil {
		t.Errorf("no files: %v", err)
	}
	if err := s.OutFiles("file.mp4", "new.mp4"); err != nil {
		t.Error(err)
	}
	left, err := filepath.Glob(filepath.Join(dir, ".writable-*"))
	if err != nil || len(left) != 0 {
		t.Errorf("trying left %q behind, %v", left, err)
	}
}

// A folder of outputs that cannot be is told by its name, whatever stands in its way.
func TestOutputFolders(t *testing.T) {
	dir := t.TempDir()
	file := filepath.Join(dir, "file")
	if err := os.WriteFile(file, nil, 0o666); err != nil {
		t.Fatal(err)
	}
	for _, bad := range []string{file, filepath.Join(file, "below")} {
		if path, err := Out(bad, "final.mp4"); path != "" || !isFault(err, fault.Failed, bad, "cannot be written",
			"--out") || !errors.Is(err, syscall.ENOTDIR) {
			t.Errorf("%s: %q, %v", bad, path, err)
		}
	}
	deep := filepath.Join(dir, "a", "b", "c")
	if path, err := Out(deep, "final.mp4"); err != nil || path != filepath.Join(deep, "final.mp4") {
		t.Errorf("%q, %v", path, err)
	}
	if st, err := os.Stat(deep); err != nil || !st.IsDir() {
		t.Errorf("the folder was not made: %v", err)
	}
	because := errors.New("the disk is on fire")
	if err := Unwritable("/o", because); !isFault(err, fault.Failed, "/o", "cannot be written", "make it writable") ||
		!errors.Is(err, because) {
		t.Errorf("%v", err)
	}
	if err := Unwritable("/o", fmt.Errorf("mkdir: %w", syscall.ENAMETOOLONG)); !isFault(err, fault.Failed, "/o",
		"the name is too long for this disk", "shorter name") {
		t.Errorf("%v", err)
	}
}

// A small file is written whole or not at all, and one with the same bytes is not
// written, so that whoever watches the folder sees no change.
func TestPublish(t *testing.T) {
	dir := t.TempDir()
	path := filepath.Join(dir, "page.html")
	if err := Publish(t.Context(), path, []byte("one")); err != nil {
		t.Fatal(err)
	}
	first, err := os.Stat(path)
	if err != nil {
		t.Fatal(err)
	}
	ended, cancel := context.WithCancel(t.Context())
	cancel()
	for _, c := range []struct {
		what string
		ctx  context.Context
		text string
		want string
		same bool
		err  error
	}{
		{"the same", t.Context(), "one", "one", true, nil},
		{"the same in a run that ended", ended, "one", "one", true, nil},
		{"another in a run that ended", ended, "two", "one", true, context.Canceled},
		{"another", t.Context(), "two", "two", false, nil},
		{"nothing", t.Context(), "", "", false, nil},
	} {
		err := Publish(c.ctx, path, []byte(c.text))
		if !errors.Is(err, c.err) || (err != nil) != (c.err != nil) {
			t.Errorf("%s: %v, want %v", c.what, err, c.err)
		}
		data, err1 := os.ReadFile(path)
		now, err2 := os.Stat(path)
		if err := errors.Join(err1, err2); err != nil || string(data) != c.want || os.SameFile(first, now) != c.same {
			t.Errorf("%s: %q, the same file %v, %v", c.what, data, os.SameFile(first, now), err)
		}
		first = now
	}
	names, err := os.ReadDir(dir)
	if err != nil || len(names) != 1 {
		t.Errorf("%v is left, %v", names, err)
	}
}
