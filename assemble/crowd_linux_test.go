package assemble

import (
	"fmt"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	"ripieno/assemble/progress"
)

// BenchmarkHundredTakes renders a film of 100 takes on one canvas and reports
// the most memory that this process and all its children held at one time,
// sampled. The takes are one small file at 100 places in time, so every
// picture is conformed by itself. Use -benchtime 1x.
func BenchmarkHundredTakes(b *testing.B) {
	tool := findTool(b)
	dir := b.TempDir()
	m := smallTake("crowd.mp4", 3)
	m.write(b, tool, dir)
	var takes strings.Builder
	const crowd = 100
	for k := range crowd {
		fmt.Fprintf(&takes, "  - {name: take%02d, player: Player %d, video: {file: intake/crowd.mp4, offset: %.3f}}\n", k, k, -0.001*float64(k))
	}
	text := strings.Replace(fmt.Sprintf(watchManifest, takes.String()), "canvas: 64x36", "canvas: 1920x1080", 1)
	if err := os.WriteFile(filepath.Join(dir, "production.yaml"), []byte(text), 0o666); err != nil {
		b.Fatal(err)
	}
	for b.Loop() {
		if err := os.RemoveAll(filepath.Join(dir, storeFolder)); err != nil {
			b.Fatal(err)
		}
		stop, peak := make(chan struct{}), make(chan int64)
		go func() {
			most := int64(0)
			tick := time.NewTicker(20 * time.Millisecond)
			defer tick.Stop()
			for {
				select {
				case <-stop:
					peak <- most
					return
				case <-tick.C:
					most = max(most, familyMemory(os.Getpid()))
				}
			}
		}()
		p, err := Open(b.Context(), Settings{Dir: dir, Report: progress.New(nil, progress.Quiet)})
		if err != nil {
			b.Fatal(err)
		}
		r, err := p.Render(b.Context(), RenderOptions{})
		p.Close()
		close(stop)
		most := <-peak
		if err != nil {
			b.Fatal(err)
		}
		if len(r.Faults) > 0 {
			b.Fatalf("%+v", r.Faults[0])
		}
		b.ReportMetric(float64(most)/1e6, "peak-MB")
		b.Logf("%d tasks, %d frames, %.0f MB at most", r.Tasks.Run, r.Frames, float64(most)/1e6)
		if most > 1_500_000_000 {
			b.Errorf("%d takes held %d bytes at one time, want at most 1.5 GB", crowd, most)
		}
	}
}

// familyMemory is the resident memory in bytes of a process and its children.
func familyMemory(pid int) int64 {
	total := int64(0)
	list, _ := filepath.Glob("/proc/[0-9]*/stat")
	for _, path := range list {
		data, err := os.ReadFile(path)
		if err != nil {
			continue
		}
		// The name in parentheses may hold anything; fields count from behind it:
		// 2 is the parent, 22 the resident pages (proc(5): 4 and 24).
		_, rest, ok := strings.Cut(string(data), ") ")
		fields := strings.Fields(rest)
		if !ok || len(fields) < 22 {
			continue
		}
		id := filepath.Base(filepath.Dir(path))
		if id != strconv.Itoa(pid) && fields[1] != strconv.Itoa(pid) {
			continue
		}
		pages, err := strconv.ParseInt(fields[21], 10, 64)
		if err == nil {
			total += pages * int64(os.Getpagesize())
		}
	}
	return total
}
