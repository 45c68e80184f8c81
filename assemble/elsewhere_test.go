package assemble

import (
	"bufio"
	"fmt"
	"io"
	"os"
	"os/exec"
	"os/signal"
	"path/filepath"
	"runtime"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"

	"ripieno/assemble/elsewhere"
	"ripieno/assemble/farm"
	"ripieno/assemble/ffmpeg/ffmpegtest"
	"ripieno/assemble/progress"
	"ripieno/assemble/session"
)

// What a process of this test binary is that another test started.
const (
	machineRole = "RIPIENO_TEST_MACHINE" // hub or worker
	machineAt   = "RIPIENO_TEST_AT"      // where the hub listens and its folder, or the worker's invitation
)

// TestMachineHelper is no test: it is a hub or a worker that another test kills.
func TestMachineHelper(t *testing.T) {
	role, at := os.Getenv(machineRole), os.Getenv(machineAt)
	if role == "" {
		t.Skip("only as a child of tests with other machines")
	}
	ctx, end := signal.NotifyContext(t.Context(), os.Interrupt)
	go func() { // ends with whoever started it
		_, _ = io.Copy(io.Discard, os.Stdin)
		end()
	}()
	if role == "hub" {
		address, dir, _ := strings.Cut(at, "\n")
		hub, err := farm.Serve(ctx, farm.HubOptions{Dir: dir, Listen: address, Space: 500e6})
		if err != nil {
			t.Fatal(err)
		}
		fmt.Printf("invitation %s\ninvitation %s\n", hub.Home, hub.Workers)
		<-ctx.Done()
		return
	}
	help := elsewhere.Help{Invitation: at, Cores: 1, Space: 100e6, Tell: func(text string) { fmt.Println(text) }}
	if err := elsewhere.Work(ctx, findTool(t), help); ctx.Err() == nil {
		t.Fatal(err)
	}
}

// machines are a hub and workers in processes of their own.
type machines struct {
	t             *testing.T
	programs      string // folder with an ffmpeg whose answers are known
	temp          string // of the workers
	folder        string // of the hub
	hub           *exec.Cmd
	home, workers farm.Invitation
}

// startMachines starts a hub.
func startMachines(t *testing.T) *machines {
	t.Helper()
	m := newMachines(t)
	m.serve("127.0.0.1:0")
	return m
}

// newMachines returns machines without a hub.
func newMachines(t *testing.T) *machines {
	t.Helper()
	m := &machines{t: t, programs: t.TempDir(), temp: t.TempDir(), folder: t.TempDir()}
	if err := ffmpegtest.Remember(findTool(t), m.programs); err != nil {
		t.Fatal(err)
	}
	return m
}

// start starts a process of this binary, which ends with the test.
func (m *machines) start(role, at string, stdout io.Writer) *exec.Cmd {
	m.t.Helper()
	cmd := exec.CommandContext(m.t.Context(), os.Args[0], "-test.run=^TestMachineHelper$")
	cmd.Env = append(os.Environ(), machineRole+"="+role, machineAt+"="+at, "TMPDIR="+m.temp,
		"PATH="+m.programs+string(os.PathListSeparator)+os.Getenv("PATH"))
	cmd.Stdout = stdout
	in, err := cmd.StdinPipe()
	if err == nil {
		err = cmd.Start()
	}
	if err != nil {
		m.t.Fatal(err)
	}
	m.t.Cleanup(func() { in.Close(); _ = cmd.Wait() })
	return cmd
}

// serve starts the hub at an address and waits until it is up.
func (m *machines) serve(address string) {
	m.t.Helper()
	r, w := io.Pipe()
	m.hub = m.start("hub", address+"\n"+m.folder, w)
	lines := bufio.NewScanner(r)
	for _, in := range []*farm.Invitation{&m.home, &m.workers} {
		text, ok := "", false
		for !ok && lines.Scan() {
			text, ok = strings.CutPrefix(lines.Text(), "invitation ")
		}
		var err error
		if *in, err = farm.ParseInvitation(text); err != nil {
			m.t.Fatal(err)
		}
	}
	go func() { _, _ = io.Copy(io.Discard, r) }() // else what it says at its end would keep Wait waiting
}

// restart kills the hub and starts it again at its address.
func (m *machines) restart(emptied bool) {
	m.t.Helper()
	kill(m.t, m.hub)
	if emptied {
		if err := os.RemoveAll(filepath.Join(m.folder, "jetstream")); err != nil {
			m.t.Error(err)
		}
	}
	m.serve(m.home.Address)
}

// work starts a worker.
func (m *machines) work() *exec.Cmd {
	m.t.Helper()
	return m.start("worker", m.workers.String(), nil)
}

// workUntil starts a worker whose ffmpeg stands still when it is to write a file of a name:
// however busy this machine is, there is time to kill the worker then.
func (m *machines) workUntil(name string) *exec.Cmd {
	m.t.Helper()
	still, dir := *m, m.t.TempDir()
	still.programs = dir
	script := "#!/bin/sh\ncase \"$*\" in *ripieno-work-*" + name + "*) kill -STOP $$ ;; esac\nexec \"%s/%s\" \"$@\"\n"
	for _, program := range []string{"ffmpeg", "ffprobe"} {
		err := os.WriteFile(filepath.Join(dir, program), fmt.Appendf(nil, script, m.programs, program), 0o755)
		if err != nil {
			m.t.Fatal(err)
		}
	}
	return still.work()
}

// kill ends a process as kill -9 does, and waits until it is gone.
func kill(t *testing.T, cmd *exec.Cmd) {
	t.Helper()
	if err := cmd.Process.Kill(); err != nil {
		t.Error(err)
	}
	_ = cmd.Wait()
}

// killAt kills a worker while its ffmpeg writes a file of a name, and waits until that
// ffmpeg is gone as well.
func killAt(t *testing.T, worker *exec.Cmd, name string, ended <-chan struct{}) {
	t.Helper()
	for !isClosed(ended) {
		for _, pid := range childrenOf(worker.Process.Pid) {
			if line := commandOf(pid); strings.Contains(line, "ripieno-work-") && strings.Contains(line, name) {
				kill(t, worker)
				waitGone(t, pid)
				return
			}
		}
		if !sleep(t, 2*time.Millisecond) {
			return
		}
	}
	t.Errorf("the worker never wrote %s", name)
}

func isClosed(c <-chan struct{}) bool {
	select {
	case <-c:
		return true
	default:
		return false
	}
}

// waitGone waits until a process has ended that nobody waits for.
func waitGone(t *testing.T, pid string) {
	t.Helper()
	for range 2000 {
		if commandOf(pid) == "" {
			return
		}
		if !sleep(t, 5*time.Millisecond) {
			return
		}
	}
	t.Errorf("an orphan: %s", commandOf(pid))
}

func sleep(t *testing.T, d time.Duration) bool {
	select {
	case <-t.Context().Done():
		return false
	case <-time.After(d):
		return true
	}
}

// childrenOf returns the processes that a process has started and not yet buried.
func childrenOf(parent int) (pids []string) {
	stats, err := filepath.Glob("/proc/[0-9]*/stat")
	if err != nil {
		return nil
	}
	for _, path := range stats {
		data, err := os.ReadFile(path)
		if err != nil {
			continue
		}
		_, rest, _ := strings.Cut(string(data), ") ") // behind the name
		if f := strings.Fields(rest); len(f) > 1 && f[1] == strconv.Itoa(parent) {
			pids = append(pids, filepath.Base(filepath.Dir(path)))
		}
	}
	return pids
}

// commandOf returns how a process was called; "" when it has ended.
func commandOf(pid string) string {
	data, err := os.ReadFile(filepath.Join("/proc", pid, "cmdline"))
	if err != nil {
		return ""
	}
	return strings.ReplaceAll(string(data), "\x00", " ")
}

// gate is a reporter that holds the run up before its first picture until others have
// been found that help, and before its first segment until it is opened.
type gate struct{ found, open chan struct{} }

func (g gate) Add(stage, _ string, _ float64) progress.Work {
	switch stage {
	case "conform":
		return gated{g.found}
	case "compose":
		return gated{g.open}
	}
	return gated{}
}

func (g gate) Message(text string) {
	if strings.Contains(text, "other machines help") {
		close(g.found)
	}
}
func (g gate) Close() {}

type gated struct{ open chan struct{} }

func (g gated) Start() {
	if g.open != nil {
		<-g.open
	}
}
func (g gated) Advance(float64) {}
func (g gated) Finish(error)    {}

// manyShots is a small production with a segment for each of nine shots.
func manyShots(t *testing.T, dir string) {
	t.Helper()
	smallProduction(t, dir)
	path := filepath.Join(dir, "production.yaml")
	data, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	head, _, _ := strings.Cut(strings.Replace(string(data), "measures: 2\n", "measures: 8\n", 1), "shots:")
	shots := "shots: [{from: start, show: card, text: title}"
	for measure := 1; measure <= 8; measure++ {
		shots += fmt.Sprintf(", {from: m%d, show: %s}", measure, []string{"tutti", "solo, take: horn", "solo, take: oboe"}[measure%3])
	}
	if err := os.WriteFile(path, []byte(head+shots+"]\n"), 0o666); err != nil {
		t.Fatal(err)
	}
}

// filmAlone makes the production of manyShots, and a copy of it whose film this machine makes
// alone. It returns both folders and the film.
func filmAlone(t *testing.T) (dir, alone string, film []byte) {
	t.Helper()
	dir = t.TempDir()
	if err := os.Mkdir(filepath.Join(dir, "intake"), 0o777); err != nil {
		t.Fatal(err)
	}
	manyShots(t, dir)
	alone = copyProduction(t, dir)
	film, _ = renderIn(t, alone, Settings{Workers: 1})
	return dir, alone, film
}

// watch joins the hub as a home that sees who is there.
func (m *machines) watch() *farm.Home {
	m.t.Helper()
	class, err := elsewhere.Class(m.t.Context(), findTool(m.t))
	if err != nil {
		m.t.Fatal(err)
	}
	home, err := farm.Join(m.t.Context(), m.home, class, farm.Places{})
	if err != nil {
		m.t.Fatal(err)
	}
	m.t.Cleanup(home.Close)
	return home
}

// TestOtherMachinesAreKilled renders a production alone, and then with machines in
// processes of their own, of which a worker is killed while it conforms a take, another
// while it composes a segment, and the hub at each of these times, the second time with
// what it held deleted. Machines join in the middle. The films and all that is stored
// are equal to the byte.
func TestOtherMachinesAreKilled(t *testing.T) {
	if runtime.GOOS != "linux" {
		t.Skip("it looks for processes as Linux tells of them")
	}
	t.Parallel()
	dir, alone, want := filmAlone(t)
	m := startMachines(t)
	watch := m.watch()
	dead := map[string]bool{} // they count for a while
	present := func(n int) {
		t.Helper()
		for range 15_000 {
			living := 0
			for _, w := range watch.Machines() {
				if !dead[w.Name] {
					living++
				}
			}
			if living >= n || !sleep(t, 20*time.Millisecond) {
				return
			}
		}
		t.Errorf("of %d machines there are %v", n, watch.Machines())
	}
	first := m.workUntil("out.mp4")
	present(1)
	helped, open, ended := copyProduction(t, dir), make(chan struct{}), make(chan struct{})
	var killing sync.WaitGroup
	for _, w := range watch.Machines() {
		dead[w.Name] = true // is to be
	}
	killing.Go(func() {
		killAt(t, first, "out.mp4", ended)
		m.restart(false)
		second := m.workUntil("segment.mp4")
		present(1)
		close(open)
		killAt(t, second, "segment.mp4", ended) // nobody else is there who could take all of them
		m.work()
		m.restart(true)
	})
	got, r := renderIn(t, helped, Settings{Workers: 1, With: m.home.String(), Report: gate{make(chan struct{}), open}})
	close(ended)
	killing.Wait()
	if string(got) != string(want) {
		t.Errorf("with %d of %d tasks made by others the film has %d bytes, alone %d", r.Tasks.Away, r.Tasks.Run, len(got),
			len(want))
	}
	t.Logf("%d of %d tasks were made by others", r.Tasks.Away, r.Tasks.Run)
	for _, d := range storedDifferences(t, alone, helped) {
		if !strings.HasPrefix(d, "probe ") { // which tells when its file was copied
			t.Error(d)
		}
	}
	checkNothingHalfMade(t, m, helped, first)
	// Now nobody is killed, and others than this machine make something of the film.
	m.work()
	for len(watch.Machines()) != 2 && sleep(t, 100*time.Millisecond) { // until the dead do not count
	}
	quiet := copyProduction(t, dir)
	got, r = renderIn(t, quiet, Settings{Workers: 1, With: m.home.String(), Report: gate{found: make(chan struct{})}})
	if string(got) != string(want) || r.Tasks.Away < 2 {
		t.Errorf("with %d of %d tasks made by two others the film has %d bytes, alone %d", r.Tasks.Away, r.Tasks.Run,
			len(got), len(want))
	}
}

// checkNothingHalfMade looks for what killed machines and the run may have left.
func checkNothingHalfMade(t *testing.T, m *machines, production string, dead *exec.Cmd) {
	t.Helper()
	for _, pattern := range []string{filepath.Join(production, session.OutFolder, ".*"),
		filepath.Join(production, session.StoreFolder, "*.tmp*"), filepath.Join(production, session.StoreFolder, "tmp", "*"),
		filepath.Join(m.temp, fmt.Sprintf("ripieno-work-*.%d.*", dead.Process.Pid))} {
		left, err := filepath.Glob(pattern)
		if err != nil || len(left) > 0 {
			t.Errorf("left behind: %v, %v", left, err)
		}
	}
}
