package assemble

import (
	"bytes"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	"ripieno/assemble/ffmpeg"
	"ripieno/assemble/ffmpeg/ffmpegtest"
	"ripieno/assemble/progress"
	"ripieno/assemble/session"
)

// smallProduction makes a production of two takes, a card and a tiny canvas.
func smallProduction(t *testing.T, dir string) {
	t.Helper()
	tool := findTool(t)
	smallTake("oboe.mp4", 1).write(t, tool, dir)
	smallTake("horn.mov", 2).write(t, tool, dir)
	text := fmt.Sprintf(watchManifest, `  - {name: oboe, player: Mara Voss, part: Oboe, video: {file: intake/oboe.mp4, offset: 0}}
  - {name: horn, player: Ilse Brandt, part: Horn, video: {file: intake/horn.mov, offset: 0.2, drift_ppm: 40}}`)
	text += "shots: [{from: start, show: card, text: title}, {from: m1, show: tutti}, {from: m2, show: solo, take: " +
		"horn}]\n"
	if err := os.WriteFile(filepath.Join(dir, "production.yaml"), []byte(text), 0o666); err != nil {
		t.Fatal(err)
	}
}

// smallRendered is smallProduction when its film has been made, with the store
// and the film of that run. It returns the film and how many tasks made it.
func smallRendered(t *testing.T, dir string) (film []byte, tasks int) {
	t.Helper()
	fixtureOf(t, "small production, rendered", dir, func(dir string) {
		smallProduction(t, dir)
		_, r := renderIn(t, dir, Settings{Workers: 8})
		if len(r.Faults) > 0 {
			t.Fatal(r.Faults)
		}
		tasks := []byte(fmt.Sprint(r.Tasks.Run))
		if err := os.WriteFile(filepath.Join(dir, "tasks.txt"), tasks, 0o666); err != nil {
			t.Fatal(err)
		}
	})
	film, err1 := os.ReadFile(filepath.Join(dir, "out", "final.mp4"))
	text, err2 := os.ReadFile(filepath.Join(dir, "tasks.txt"))
	_, err3 := fmt.Sscan(string(text), &tasks)
	if err := errors.Join(err1, err2, err3); err != nil {
		t.Fatal(err)
	}
	return film, tasks
}

// copyProduction copies manifest and takes, nothing that was computed.
func copyProduction(t *testing.T, from string) string {
	t.Helper()
	dir := t.TempDir()
	if err := os.CopyFS(filepath.Join(dir, "intake"), os.DirFS(filepath.Join(from, "intake"))); err != nil {
		t.Fatal(err)
	}
	data, err := os.ReadFile(filepath.Join(from, "production.yaml"))
	if err == nil {
		err = os.WriteFile(filepath.Join(dir, "production.yaml"), data, 0o666)
	}
	if err != nil {
		t.Fatal(err)
	}
	return dir
}

// renderIn renders the production in dir and returns the film's bytes.
func renderIn(t *testing.T, dir string, set Settings) ([]byte, RenderResult) {
	t.Helper()
	set.Dir = dir
	p := openWith(t, set)
	defer p.Close()
	r, err := p.Render(t.Context(), RenderOptions{})
	if err != nil {
		t.Fatal(err)
	}
	data, err := os.ReadFile(r.Output)
	if err != nil {
		t.Fatal(err)
	}
	return data, r
}

// killer is a reporter that kills its own process, as kill -9 does, at the
// first event of the kind it waits for.
type killer struct{ at string }

func (k killer) event(kind string) {
	if strings.Contains(k.at, kind) {
		if self, err := os.FindProcess(os.Getpid()); err == nil {
			_ = self.Kill() // or the test fails
		}
		select {}
	}
}
func (k killer) Add(string, string, float64) progress.Work { return k }
func (k killer) Message(string)                            {}
func (k killer) Close()                                    {}
func (k killer) Start()                                    { k.event("start") }
func (k killer) Advance(float64)                           { k.event("middle") }
func (k killer) Finish(error)                              { k.event("finish") }

// TestKilledHelper is no test: it is the process that TestKilled kills.
func TestKilledHelper(t *testing.T) {
	dir, at, ok := strings.Cut(os.Getenv("RIPIENO_TEST_KILL"), "\n")
	if !ok {
		t.Skip("only as a child of TestKilled")
	}
	renderIn(t, dir, Settings{Workers: 1, Report: killer{at}})
}

// TestKilled kills a run at every start, in the middle and at the end of its
// tasks, one after the other, until it has come through; the film is then the
// one of a run that nobody disturbed, with other workers, byte for byte.
func TestKilled(t *testing.T) {
	t.Parallel()
	want, tasks := smallRendered(t, t.TempDir())
	dir := t.TempDir()
	smallProduction(t, dir)
	// A task is begun anew after being killed at its start or in its middle,
	// and only the end brings the run on, so three runs go through one or two
	// tasks.
	kinds := []string{"start", "middle finish", "finish"}
	programs := t.TempDir()
	if err := ffmpegtest.Remember(findTool(t), programs); err != nil {
		t.Fatal(err)
	}
	kills := 0
	for ; ; kills++ {
		if kills > 6*(tasks+20) {
			t.Fatalf("no end after %d kills", kills)
		}
		cmd := exec.CommandContext(t.Context(), os.Args[0], "-test.run=^TestKilledHelper$")
		cmd.Env = append(os.Environ(), "RIPIENO_TEST_KILL="+dir+"\n"+kinds[kills%len(kinds)],
			"PATH="+programs+string(os.PathListSeparator)+os.Getenv("PATH"))
		out, err := cmd.CombinedOutput()
		var exit *exec.ExitError
		if err == nil {
			break
		} else if !errors.As(err, &exit) || exit.Sys().(syscall.WaitStatus).Signal() != syscall.SIGKILL {
			t.Fatalf("after %d kills: %v\n%s", kills, err, out)
		}
		if _, err := os.Stat(filepath.Join(dir, "out", "final.mp4")); err == nil {
			t.Fatalf("kill %d left a film", kills)
		}
	}
	if kills < 20 {
		t.Errorf("the run was killed %d times, want at least 20", kills)
	}
	got, again := renderIn(t, dir, Settings{})
	if !bytes.Equal(got, want) {
		t.Errorf("after %d kills the film has other bytes", kills)
	}
	if again.Tasks.Run != 0 {
		t.Errorf("%d tasks ran again after the run had come through", again.Tasks.Run)
	}
	left, _ := filepath.Glob(filepath.Join(dir, "out", ".*"))
	if len(left) > 0 {
		t.Errorf("left behind: %v", left)
	}
	t.Logf("killed %d times", kills)
}

// TestTroubledStore: the store is a help and never a danger. Whatever happens
// to it, the film has the same bytes.
func TestTroubledStore(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	want, all := smallRendered(t, dir)
	files := func(visit func(path string, info fs.FileInfo)) {
		err := filepath.WalkDir(filepath.Join(dir, session.StoreFolder),
			func(path string, d fs.DirEntry, err error) error {
				if err != nil || d.IsDir() {
					return err
				}
				info, err := d.Info()
				if err == nil {
					visit(path, info)
				}
				return err
			})
		if err != nil {
			t.Fatal(err)
		}
	}
	check := func(what string, tasks int) {
		t.Helper()
		got, r := renderIn(t, dir, Settings{})
		if !bytes.Equal(got, want) {
			t.Errorf("%s: the film has other bytes", what)
		}
		if r.Tasks.Run != tasks {
			t.Errorf("%s: %d tasks ran, want %d", what, r.Tasks.Run, tasks)
		}
		if err := os.Remove(r.Output); err != nil {
			t.Fatal(err)
		}
	}
	check("nothing", 0)

	// The clock was wrong when everything was made: all of it lies ahead.
	future := time.Now().AddDate(15, 0, 0)
	files(func(path string, _ fs.FileInfo) { os.Chtimes(path, future, future) })
	for _, f := range []string{"intake/oboe.mp4", "production.yaml"} {
		os.Chtimes(filepath.Join(dir, f), future, future)
	}
	check("a clock set back", 0)

	// One bit of every output, with size and time as they were.
	flipped := 0
	files(func(path string, info fs.FileInfo) {
		if ext := filepath.Ext(path); ext == ".entry" || ext == "" || info.Size() == 0 {
			return
		}
		data, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		data[len(data)/2] ^= 0x10
		if err := os.Chmod(path, 0o666); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(path, data, 0o666); err != nil {
			t.Fatal(err)
		}
		os.Chtimes(path, info.ModTime(), info.ModTime())
		flipped++
	})
	if flipped < all {
		t.Errorf("%d outputs flipped of %d tasks", flipped, all)
	}
	check("a flipped bit in every output", all)

	if err := os.RemoveAll(filepath.Join(dir, session.StoreFolder)); err != nil {
		t.Fatal(err)
	}
	check("the store deleted", all)
}

// TestTwoRunsAtOnce: the second waits, says so and finds everything made.
func TestTwoRunsAtOnce(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	smallProduction(t, dir)
	tool := findTool(t)
	var mu sync.Mutex
	var said []string
	ran := make([]int, 2)
	films := make([][]byte, 2)
	var group sync.WaitGroup
	for i := range 2 {
		group.Go(func() {
			report := listener{func(text string) {
				mu.Lock()
				defer mu.Unlock()
				said = append(said, text)
			}}
			p, err := Open(t.Context(), Settings{Dir: dir, Report: report, Programs: ffmpeg.Options{Found: tool}})
			if err != nil {
				t.Error(err)
				return
			}
			defer p.Close()
			r, err := p.Render(t.Context(), RenderOptions{})
			if err != nil {
				t.Error(err)
				return
			}
			ran[i] = r.Tasks.Run
			films[i], err = os.ReadFile(r.Output)
			if err != nil {
				t.Error(err)
			}
		})
	}
	group.Wait()
	if !bytes.Equal(films[0], films[1]) || len(films[0]) == 0 {
		t.Error("two runs at once made two films")
	}
	if min(ran[0], ran[1]) != 0 || max(ran[0], ran[1]) == 0 {
		t.Errorf("they ran %v tasks, want all in one and none in the other", ran)
	}
	if len(said) != 1 || !strings.HasPrefix(said[0], "another run (process ") {
		t.Errorf("said %q", said)
	}
}

// listener hears messages.
type listener struct{ hear func(string) }

func (l listener) Add(string, string, float64) progress.Work { return killer{} }
func (l listener) Message(text string)                       { l.hear(text) }
func (l listener) Close()                                    {}

// TestVerifyFindsWhatAKeyDoesNotSay stores other bytes under a key, as if the
// key lacked an ingredient.
func TestVerifyFindsWhatAKeyDoesNotSay(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	smallRendered(t, dir)
	p := openWith(t, Settings{Dir: dir})
	sound, err := p.Verify(t.Context(), RenderOptions{})
	if err != nil || len(sound.Different) != 0 || sound.Tasks < 10 {
		t.Fatalf("a sound store: %+v, %v", sound, err)
	}
	all, err := p.locate(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	heard := all.Takes[0].Recordings()[0].Listened().Task()
	key := heard.Action
	path, _ := p.Store().Get(t.Context(), key)
	features, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	if err := p.Store().Remove(key.ID()); err != nil {
		t.Fatal(err)
	}
	path, err = p.Store().Put(t.Context(), key,
		func(tmp string) error { return os.WriteFile(tmp, append(features, 0), 0o666) })
	if err != nil {
		t.Fatal(path, err)
	}
	r, err := p.Verify(t.Context(), RenderOptions{})
	if err == nil || len(r.Different) != 1 || r.Different[0].ID != heard.ID ||
		r.Different[0].Stored == r.Different[0].Rebuilt {
		t.Errorf("%+v, %v", r, err)
	}
	e, err := p.Explain(t.Context(), key.ID().String()[:10])
	if err != nil || e.Key != key.ID().String() || !strings.Contains(e.Text, "features, version") ||
		!strings.Contains(e.Text, "state  sound") {
		t.Errorf("%+v, %v", e, err)
	}
	if _, err := p.Explain(t.Context(), "xyz"); err == nil {
		t.Error("no key begins with xyz")
	}
}

// TestStoreIsTrimmed: with a bound of nothing only what the run used stays.
func TestStoreIsTrimmed(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	smallRendered(t, dir)
	p := openWith(t, Settings{Dir: dir, Store: 1})
	before, err := p.Store().List(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	if _, err := p.Mix(t.Context(), MixOptions{}); err != nil {
		t.Fatal(err)
	}
	after, err := p.Store().List(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	var was, is []string
	for _, e := range before {
		was = append(was, e.Rule)
	}
	for _, e := range after {
		is = append(is, e.Rule)
	}
	if !strings.Contains(strings.Join(was, " "), "segment") || strings.Contains(strings.Join(is, " "), "segment") ||
		!strings.Contains(strings.Join(is, " "), "master") {
		t.Errorf("before %v, after %v", was, is)
	}
}
