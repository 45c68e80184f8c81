package assemble

import (
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"testing"

	"ripieno/assemble/fault"
	"ripieno/assemble/ffmpeg"
	"ripieno/assemble/progress"
)

// tones makes takes of a few seconds of sound that differ, and returns their lines
// of the manifest.
func (s short) tones(t *testing.T, n int) (takes string) {
	t.Helper()
	for i := range n {
		name := fmt.Sprintf("tone-%d.wav", i)
		run(t, s.tool, ffmpeg.Command{Args: []string{"-f", "lavfi", "-i",
			fmt.Sprintf("sine=d=3:r=48000:f=%d", 300+20*i), "-y", s.file(name)}})
		takes += fmt.Sprintf("  - {name: tone-%d, audio: {file: intake/%s, offset: 0}}\n", i, name)
	}
	return takes
}

// TestProbingTakesItsMemory has a memory limit of what one probe takes: however many
// workers there are, no ffprobe begins while another runs. The program is the real
// one behind a script that makes a folder while it runs, which fails when there is one.
func TestProbingTakesItsMemory(t *testing.T) {
	t.Parallel()
	s := newShort(t)
	takes := s.tones(t, 8)
	real, err := exec.LookPath("ffprobe")
	if err != nil {
		t.Fatal(err)
	}
	dir := t.TempDir()
	script := fmt.Sprintf(`#!/bin/sh
case "$*" in *-version*) exec %[1]q "$@" ;; esac
echo >>%[2]q/asked
mkdir %[2]q/running || echo >>%[2]q/overlapped
%[1]q "$@"
code=$?
rmdir %[2]q/running
exit $code
`, real, dir)
	probe := filepath.Join(dir, "ffprobe")
	if err := os.WriteFile(probe, []byte(script), 0o755); err != nil {
		t.Fatal(err)
	}
	p := reopen(t, s.open(t, takes, "aspect: 16:9", 320, 180), func(set *Settings) {
		set.Workers, set.Memory = 8, 150e6
		set.Programs.FFprobe = probe
	})
	if _, err := p.Sync(t.Context(), SyncOptions{}); err != nil {
		t.Fatal(err)
	}
	asked, err := os.ReadFile(filepath.Join(dir, "asked"))
	if n := strings.Count(string(asked), "\n"); err != nil || n < 8 {
		t.Errorf("%d takes were probed: %v", n, err)
	}
	if both, err := os.ReadFile(filepath.Join(dir, "overlapped")); err == nil {
		t.Errorf("%d probes began while another ran", strings.Count(string(both), "\n"))
	}
}

// TestDecodingTakesItsMemory counts how many sounds one process decodes: as many as
// there are when memory allows it, and two where it does for two.
func TestDecodingTakesItsMemory(t *testing.T) {
	t.Parallel()
	s := newShort(t)
	takes := s.tones(t, 6)
	for _, c := range []struct {
		memory int64
		want   int
	}{{1e9, 6}, {130e6, 2}, {1, 1}} {
		var mu sync.Mutex
		most, read := 0, 0
		if err := os.RemoveAll(filepath.Join(s.dir, ".ripieno")); err != nil {
			t.Fatal(err)
		}
		p := reopen(t, s.open(t, takes, "aspect: 16:9", 320, 180), func(set *Settings) {
			set.Workers, set.Memory = 1, c.memory
			set.Programs.Ended = func(u ffmpeg.Usage) {
				mu.Lock()
				defer mu.Unlock()
				if n := strings.Count(strings.Join(u.Args, " "), "intake/tone-"); u.Args[0] == "ffmpeg" {
					most, read = max(most, n), read+n
				}
			}
		})
		if _, err := p.Sync(t.Context(), SyncOptions{}); err != nil {
			t.Fatal(err)
		}
		if most != c.want || read < 6 {
			t.Errorf("with %d bytes %d of %d sounds were decoded at once, want %d", c.memory, most, read, c.want)
		}
		if err := p.Close(); err != nil {
			t.Fatal(err)
		}
	}
}

// TestALongNameIsToldFirst has a folder for the outputs whose name no disk takes:
// every verb says so before any program opens a take.
func TestALongNameIsToldFirst(t *testing.T) {
	t.Parallel()
	s := newShort(t)
	takes := s.tones(t, 1)
	run(t, s.tool, ffmpeg.Command{Args: join(somePicture, x264, []string{"-y", s.file("take.mp4")})})
	takes += "  - {name: take, video: {file: intake/take.mp4, offset: 0}}\n"
	long := filepath.Join(s.dir, strings.Repeat("o", 300))
	var mu sync.Mutex
	var opened []string
	p := reopen(t, s.open(t, takes, "aspect: 16:9", 320, 180), func(set *Settings) {
		set.Out = long
		set.Programs.Ended = func(u ffmpeg.Usage) {
			mu.Lock()
			defer mu.Unlock()
			if all := strings.Join(u.Args, " "); strings.Contains(all, "intake/") {
				opened = append(opened, all)
			}
		}
	})
	for _, v := range []struct {
		name string
		run  func() error
	}{
		{"rough", func() error { _, err := p.Render(t.Context(), RenderOptions{Rough: true}); return err }},
		{"render", func() error { _, err := p.Render(t.Context(), RenderOptions{}); return err }},
		{"mix", func() error { _, err := p.Mix(t.Context(), MixOptions{}); return err }},
		{"mix --stems", func() error { _, err := p.Mix(t.Context(), MixOptions{Stems: true}); return err }},
		{"sync", func() error { _, err := p.Sync(t.Context(), SyncOptions{}); return err }},
		{"guide", func() error { _, err := p.Click(t.Context(), ClickOptions{}); return err }},
		{"grid", func() error { _, err := p.Grid(t.Context()); return err }},
		{"sheet", func() error { _, err := p.Sheet(t.Context()); return err }},
		{"review", func() error { _, err := p.Review(t.Context(), ReviewOptions{}); return err }},
		{"export", func() error { _, err := p.Export(t.Context()); return err }},
	} {
		err := v.run()
		if err == nil || !strings.Contains(err.Error(), "too long for this disk") || fault.KindOf(err) != fault.Failed {
			t.Errorf("%s: %v", v.name, err)
		}
		if len(opened) > 0 {
			t.Errorf("%s: %d programs had opened takes, as %.200s", v.name, len(opened), opened[0])
			opened = nil
		}
	}
}

// TestALongPathIsToldBeforeMixing has a folder for the outputs in which a master
// has a path that the system takes and a stem has none: no voice is made for it.
func TestALongPathIsToldBeforeMixing(t *testing.T) {
	t.Parallel()
	s := newShort(t)
	takes := s.tones(t, 1)
	const pathMost = 4096 // PATH_MAX of Linux
	long := s.dir
	for left := pathMost - 60 - len(long); left > 0; left -= 200 {
		long += "/" + strings.Repeat("o", min(left, 199))
	}
	w := &stageWatcher{Reporter: progress.New(nil, progress.Quiet), seen: map[string]bool{}}
	p := reopen(t, s.open(t, takes, "aspect: 16:9", 320, 180), func(set *Settings) { set.Out, set.Report = long, w })
	_, stems := p.Mix(t.Context(), MixOptions{Stems: true})
	_, export := p.Export(t.Context())
	for _, err := range []error{stems, export} {
		if err == nil || !strings.Contains(err.Error(), "too long for this disk") || fault.KindOf(err) != fault.Failed {
			t.Errorf("%v", err)
		}
	}
	if w.seen["strip"] {
		t.Error("voices were made first")
	}
	if _, err := p.Mix(t.Context(), MixOptions{}); err != nil || !w.seen["strip"] {
		t.Errorf("the master alone: %v, stages %v", err, w.seen)
	}
}
