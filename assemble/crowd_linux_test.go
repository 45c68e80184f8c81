package assemble

import (
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"ripieno/assemble/ffmpeg"
	"ripieno/assemble/progress"
	"ripieno/assemble/session"
)

// large is a production that is big in one way.
type large struct {
	name    string
	takes   int
	w, h    int // of the takes
	seconds int
	canvas  string
}

// BenchmarkLarge renders productions of many takes, of 4K pictures and of an
// hour, and reports the most memory that this process and all its children held
// at one time, sampled. The takes are one file at as many places in time, so
// every picture is conformed by itself. Use -benchtime 1x.
func BenchmarkLarge(b *testing.B) {
	for _, l := range []large{
		{"100 takes", 100, 160, 90, 3, "1920x1080"},
		{"200 takes", 200, 160, 90, 3, "1920x1080"},
		{"400 takes", 400, 160, 90, 3, "1920x1080"},
		{"1000 takes", 1000, 160, 90, 3, "1920x1080"},
		{"4 takes of 2160 lines", 4, 3840, 2160, 3, "3840x2160"},
		{"9 takes of 30 s", 9, 320, 180, 30, "640x360"},
		{"9 takes of 10 minutes", 9, 320, 180, 600, "640x360"},
		{"2 takes of an hour", 2, 160, 90, 3600, "160x90"},
	} {
		b.Run(l.name, l.render)
	}
}

// files makes the folder of a large production.
func (l large) files(b *testing.B) string {
	b.Helper()
	dir, tool := b.TempDir(), findTool(b)
	if err := os.Mkdir(filepath.Join(dir, "intake"), 0o777); err != nil {
		b.Fatal(err)
	}
	// A long file is a short one over and over.
	short := filepath.Join(dir, "short.mp4")
	run(b, tool, ffmpeg.Command{Args: []string{"-f", "lavfi", "-i",
		fmt.Sprintf("testsrc2=size=%dx%d:rate=30:duration=%d", l.w, l.h, min(l.seconds, 30)+2),
		"-f", "lavfi", "-i", fmt.Sprintf("sine=f=330:r=48000:d=%d", min(l.seconds, 30)+2),
		"-c:v", "libx264", "-preset", "veryfast", "-pix_fmt", "yuv420p", "-c:a", "aac", short}})
	run(b, tool, ffmpeg.Command{Args: []string{"-stream_loop", strconv.Itoa(l.seconds / 30), "-i", short, "-c", "copy",
		filepath.Join(dir, "intake", "take.mp4")}})
	var takes strings.Builder
	for k := range l.takes {
		fmt.Fprintf(&takes, "  - {name: take%03d, player: Player %d, video: {file: intake/take.mp4, offset: %.3f}}\n",
			k, k, -0.001*float64(k))
	}
	text := fmt.Sprintf(`version: 1
title: Large
release: yes
tempo: {count_in: {measures: 0}, changes: [{measure: 1, meter: 2/4, bpm: 120}], measures: %d}
picture: {fps: 30, lead_in: 0, tail: 0}
deliver: [{name: final, canvas: %s}]
takes:
%s`, l.seconds, l.canvas, takes.String())
	if err := os.WriteFile(filepath.Join(dir, "production.yaml"), []byte(text), 0o666); err != nil {
		b.Fatal(err)
	}
	return dir
}

func (l large) render(b *testing.B) {
	dir := l.files(b)
	for b.Loop() {
		if err := os.RemoveAll(filepath.Join(dir, session.StoreFolder)); err != nil {
			b.Fatal(err)
		}
		var r RenderResult
		var t spent
		var composing time.Duration // of all workers
		var spending atomic.Int64   // of processes that compose, nanoseconds of processor
		ended := func(u ffmpeg.Usage) {
			if slices.Contains(u.Args, "libx264") && !slices.Contains(u.Args, "-reinit_filter") {
				spending.Add(int64(u.CPU))
			}
		}
		most := peakMemory(func() {
			t = measure(b, func() {
				p, err := Open(b.Context(), Settings{Dir: dir, Report: progress.New(nil, progress.Quiet),
					Profile: filepath.Join(dir, "trace"), Programs: ffmpeg.Options{Ended: ended}})
				if err != nil {
					b.Fatal(err)
				}
				defer p.Close()
				if r, err = p.Render(b.Context(), RenderOptions{}); err != nil {
					b.Fatal(err)
				}
				composing = 0
				for _, e := range p.Events() {
					if e.Category == "compose" {
						composing += e.To.Sub(e.From)
					}
				}
			})
		})
		if len(r.Faults) > 0 {
			b.Fatalf("%+v", r.Faults[0])
		}
		if want := 30 * l.seconds; r.Frames != want {
			b.Errorf("%d frames, want %d", r.Frames, want)
		}
		b.ReportMetric(float64(most)/1e6, "peak-MB")
		b.Logf("%d tasks, %d frames, %.0f s wall, %.0f s cpu, %.0f MB at most, composing a frame %.3f s of workers, "+
			"%.3f s of processor", r.Tasks.Run, r.Frames, t.wall, t.cpu, float64(most)/1e6,
			composing.Seconds()/float64(r.Frames), float64(spending.Load())/1e9/float64(r.Frames))
		if l.takes == 100 && most > 1_500_000_000 {
			b.Errorf("%s held %d bytes at one time, want at most 1.5 GB", l.name, most)
		}
	}
}

// peakMemory returns the most memory that this process and its children hold while
// work runs.
func peakMemory(work func()) int64 {
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
	work()
	close(stop)
	return <-peak
}

// familyMemory returns the resident memory in bytes of a process and its children.
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
