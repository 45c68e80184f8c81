package assemble

import (
	"fmt"
	"io/fs"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"strings"
	"sync"
	"testing"
	"time"

	"ripieno/assemble/ffmpeg"
	"ripieno/assemble/ffmpeg/ffmpegtest/light"
	"ripieno/assemble/session"
)

// Bounds of what small hostile files may take.
const (
	hostileMemory = 600_000_000 // bytes of all processes together
	hostileDisk   = 300_000_000
	// hostileTime is what a file may keep a processor busy for. It is not the time
	// that passes, which depends on what else runs.
	hostileTime = 30 * time.Second
)

// hostileVar is the folder of the files for TestHostileFiles when it has a process of
// its own.
const hostileVar = "RIPIENO_HOSTILE"

// costs is what a run takes at most.
type costs struct {
	mu      sync.Mutex
	dir     string
	intake  string
	largest [2]int64 // the memory of the two largest processes, of which two may run at once
	disk    int64
	by      string
	time    map[string]time.Duration // of the processor, by the file's name
}

// longest returns the file that kept the processor busy longest.
func (c *costs) longest() (name string, took time.Duration) {
	for n, d := range c.time {
		if d > took {
			name, took = n, d
		}
	}
	return name, took
}

func (c *costs) ended(u ffmpeg.Usage) {
	var disk int64
	filepath.WalkDir(c.dir, func(_ string, d fs.DirEntry, err error) error {
		if err == nil && d.Type().IsRegular() {
			if info, err := d.Info(); err == nil {
				disk += info.Size()
			}
		}
		return nil
	})
	c.mu.Lock()
	defer c.mu.Unlock()
	c.disk = max(c.disk, disk)
	// What reads several files is counted for each of them.
	files := map[string]bool{u.About: true}
	for _, a := range u.Args {
		files[strings.TrimPrefix(a, "file:")] = true
	}
	for file := range files {
		if name, ok := strings.CutPrefix(file, c.intake+string(filepath.Separator)); ok {
			c.time[name] += u.CPU
		}
	}
	switch {
	case u.Memory > c.largest[0]:
		c.largest = [2]int64{u.Memory, c.largest[0]}
		c.by = strings.Join(u.Args, " ")
	case u.Memory > c.largest[1]:
		c.largest[1] = u.Memory
	}
}

// TestHostileFiles checks and films a production with all files of the table
// beside a good take. The good one is seen and heard whatever the others do;
// what is refused is refused with its name and what to do about it; neither the
// memory of all processes at any moment nor the disk that all files together
// take exceeds the bound of one, and no file keeps a processor busy for long.
func TestHostileFiles(t *testing.T) {
	t.Parallel()
	table := hostiles()
	// Linux counts what a process had before it became another program, and that
	// is all that the other tests here have. So this one runs by itself, with the
	// whole ffmpeg. The files are made here, where it starts quickly.
	made := os.Getenv(hostileVar)
	if made == "" {
		self, err := os.Executable()
		if err != nil {
			t.Fatal(err)
		}
		made = t.TempDir()
		tool := findTool(t)
		run(t, tool, ffmpeg.Command{Args: join(somePicture, someSound, x264, []string{"-c:a", "aac", "-threads", "1",
			"-y", filepath.Join(made, "good.mp4")})})
		for _, h := range table {
			h.write(t, tool, made)
		}
		cmd := exec.CommandContext(t.Context(), self, "-test.run=^TestHostileFiles$", "-test.v")
		cmd.Env = append(os.Environ(), hostileVar+"="+made, light.Variable+"="+light.Whole)
		out, err := cmd.CombinedOutput()
		t.Logf("%s", out)
		if err != nil || !strings.Contains(string(out), "--- PASS: TestHostileFiles") &&
			!strings.Contains(string(out), "--- SKIP") {
			t.Errorf("by itself: %v", err)
		}
		return
	}
	s := newShort(t)
	if err := os.CopyFS(s.file(""), os.DirFS(made)); err != nil {
		t.Fatal(err)
	}
	takes := "  - {name: good, video: {file: intake/good.mp4, offset: 0}}\n"
	for i, h := range table {
		role := h.role
		if role == "" {
			role = "video"
		}
		takes += fmt.Sprintf("  - {name: bad-%d, %s: {file: intake/%s, offset: 0}}\n", i, role, h.name)
	}
	intake, err := filepath.EvalSymlinks(s.file(""))
	if err != nil {
		t.Fatal(err)
	}
	c := &costs{dir: filepath.Join(s.dir, session.StoreFolder), intake: intake, time: map[string]time.Duration{}}
	p := s.open(t, takes, "aspect: 16:9", 640, 360)
	p = reopen(t, p, func(set *Settings) {
		set.Workers = 1 // one file at a time, or their memory could not be told apart
		set.Programs.Ended = c.ended
	})
	checked, err := p.Check(t.Context())
	if err != nil {
		t.Fatalf("check: %v", err)
	}
	r, err := p.Render(t.Context(), RenderOptions{Rough: true})
	if err != nil {
		t.Fatalf("rough: %v", err)
	}
	told := map[string]Bad{}
	for _, b := range append(checked.Faults, r.Faults...) {
		told[b.Take] = b
	}
	if b, ok := told["good"]; ok {
		t.Errorf("the good take: %+v", b)
	}
	for i, h := range table {
		b, refused := told[fmt.Sprintf("bad-%d", i)]
		if refused != h.refused {
			t.Errorf("%s: refused %v, want %v: %s", h.name, refused, h.refused, b.What)
		}
		if refused && (!strings.HasPrefix(b.What, "intake/"+h.name+": ") || b.Hint == "") {
			t.Errorf("%s: the fault does not say which file, or not what to do: %+v", h.name, b)
		}
		t.Logf("%s: %.200s", h.name, b.What)
	}
	var own runtime.MemStats
	runtime.ReadMemStats(&own)
	memory := c.largest[0] + c.largest[1] + int64(own.Sys-own.HeapReleased)
	t.Logf("%d MB of memory, %d MB of disk", memory/1e6, c.disk/1e6)
	name, took := c.longest()
	t.Logf("the processor's time: %d files, at most %v, for %s", len(c.time), took.Round(10*time.Millisecond), name)
	if len(c.time) < len(table)/2 || took > hostileTime {
		t.Errorf("%d files had a process; %s kept it busy for %v", len(c.time), name, took)
	}
	if memory > hostileMemory || c.disk > hostileDisk {
		t.Errorf("%d MB of memory and %d of disk (%.300s)", memory/1e6, c.disk/1e6, c.by)
	}
}
