package assemble

import (
	"bytes"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"strings"
	"sync"
	"testing"
	"time"

	"ripieno/assemble/farm"
	"ripieno/assemble/farm/farmtest"
	"ripieno/assemble/ffmpeg"
)

// outsideMachines has an outside server as the hub: the engine's own program, built from
// the module proxy, with the configuration that is written for administrators.
func outsideMachines(t *testing.T) *machines {
	t.Helper()
	program := farmtest.Build(t)
	m := newMachines(t)
	out, err := farm.Configure(farm.OutsideOptions{Dir: m.folder, Address: "127.0.0.1:4222", Space: 500e6})
	if err != nil {
		t.Fatal(err)
	}
	s := farmtest.Start(t, program, out.Config, "")
	m.hub, m.home, m.workers = s.Cmd, out.Home, out.Workers
	m.home.Address, m.workers.Address = s.Address, s.Address
	return m
}

// leave interrupts a worker, and waits until it is gone.
func leave(t *testing.T, worker *exec.Cmd) {
	t.Helper()
	if err := worker.Process.Signal(os.Interrupt); err != nil {
		t.Error(err)
	}
	_ = worker.Wait()
}

// TestAFleetOfAnySizeMakesTheSameFilm renders a production alone, and by way of an outside
// server with nobody there, one worker, two and four, who join before, in the middle and
// after another has left. The films and all that is stored are equal to the byte.
func TestAFleetOfAnySizeMakesTheSameFilm(t *testing.T) {
	if runtime.GOOS == "windows" {
		t.Skip("nobody can be interrupted there")
	}
	t.Parallel()
	dir, alone, want := filmAlone(t)
	m := outsideMachines(t)
	watch := m.watch()
	present := func(n int) {
		t.Helper()
		for range 6000 {
			if len(watch.Machines()) == n {
				return
			}
			if !sleep(t, 20*time.Millisecond) {
				return
			}
		}
		t.Errorf("%d machines instead of %d", len(watch.Machines()), n)
	}
	var crew []*exec.Cmd
	join := func() { crew = append(crew, m.work()) }
	for _, c := range []struct {
		before         func()
		first, workers int // who is there when it begins, and in the end
		middle         func()
	}{
		{func() {}, 0, 0, func() {}},
		{join, 1, 1, func() {}},
		{func() {}, 1, 2, join},
		{func() { leave(t, crew[0]); join(); join() }, 3, 4, join},
	} {
		c.before()
		present(c.first)
		helped, open, found := copyProduction(t, dir), make(chan struct{}), make(chan struct{})
		var joining sync.WaitGroup
		joining.Go(func() {
			<-found
			c.middle()
			present(c.workers)
			close(open)
		})
		got, r := renderIn(t, helped, Settings{Workers: 1, With: m.home.String(), Report: gate{found, open}})
		joining.Wait()
		name := fmt.Sprintf("with %d workers, who made %d of %d tasks,", c.workers, r.Tasks.Away, r.Tasks.Run)
		t.Log(name)
		if string(got) != string(want) {
			t.Errorf("%s the film has %d other bytes than alone, where it has %d", name, len(got), len(want))
		}
		if made := r.Tasks.Away > 0; made != (c.workers > 0) {
			t.Error(name, "which is not what was to happen")
		}
		for _, d := range storedDifferences(t, alone, helped) {
			if !strings.HasPrefix(d, "probe ") { // which tells when its file was copied
				t.Error(name, d)
			}
		}
	}
}

// longProduction has three takes of small pictures that are long enough for several pieces.
func longProduction(t *testing.T, dir string) {
	t.Helper()
	if err := os.Mkdir(filepath.Join(dir, "intake"), 0o777); err != nil {
		t.Fatal(err)
	}
	takes := ""
	for k := range 3 {
		name := fmt.Sprintf("intake/take%d.mp4", k)
		err := findTool(t).Run(t.Context(), ffmpeg.Command{Args: []string{"-f", "lavfi", "-i",
			fmt.Sprintf("testsrc2=size=64x36:rate=12:duration=72,hue=h=%d", 90*k), "-f", "lavfi", "-i",
			fmt.Sprintf("sine=frequency=%d:duration=72", 300+100*k), "-c:v", "libx264", "-preset", "ultrafast",
			"-g", "20", "-pix_fmt", "yuv420p", "-c:a", "aac", filepath.Join(dir, name)}})
		if err != nil {
			t.Fatal(err)
		}
		takes += fmt.Sprintf("  - {name: take%d, player: Mara Voss, video: {file: %s, offset: 0}}\n", k, name)
	}
	text := strings.NewReplacer("measures: 2\n", "measures: 68\n", "lead_in", "fps: 24, lead_in").
		Replace(fmt.Sprintf(watchManifest, takes))
	if err := os.WriteFile(filepath.Join(dir, "production.yaml"), []byte(text), 0o666); err != nil {
		t.Fatal(err)
	}
}

// TestPiecesOfATakeAreMadeTogetherElsewhere renders a production whose takes are conformed in
// pieces alone, and with a worker who is given several of them by one order: the film and all
// that is stored are equal to the byte.
func TestPiecesOfATakeAreMadeTogetherElsewhere(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	longProduction(t, dir)
	alone, helped := copyProduction(t, dir), copyProduction(t, dir)
	want, _ := renderIn(t, alone, Settings{Workers: 1})
	m := startMachines(t)
	var said bytes.Buffer
	worker := m.start("worker", m.workers.String(), &said)
	got, r := renderIn(t, helped, Settings{Workers: 1, Recheck: 50, With: m.home.String(),
		Report: gate{found: make(chan struct{})}})
	if string(got) != string(want) {
		t.Errorf("with %d of %d tasks made elsewhere the film has %d other bytes than alone, where it has %d",
			r.Tasks.Away, r.Tasks.Run, len(got), len(want))
	}
	for _, d := range storedDifferences(t, alone, helped) {
		if !strings.HasPrefix(d, "probe ") { // which tells when its file was copied
			t.Error(d)
		}
	}
	kill(t, worker)
	if n := strings.Count(said.String(), "\npieces "); n == 0 {
		t.Errorf("no order had several pieces:\n%s", said.String())
	}
}
