package assemble

import (
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"

	"ripieno/assemble/ffmpeg"
	"ripieno/assemble/progress"
)

// benchSet is a production to be measured.
type benchSet struct {
	takes, w, h int
	seconds     int
	canvas      string
}

// The sets by the value of RIPIENO_BENCH. The full ones take a quarter of an
// hour on two cores.
var benchSets = map[string]benchSet{
	"":       {takes: 9, w: 1280, h: 720, seconds: 10, canvas: "1280x720"},
	"tiny":   {takes: 4, w: 320, h: 180, seconds: 4, canvas: "320x180"},
	"full9":  {takes: 9, w: 1920, h: 1080, seconds: 30, canvas: "1920x1080"},
	"full25": {takes: 25, w: 1280, h: 720, seconds: 30, canvas: "1920x1080"},
}

// spent is the time something took.
type spent struct{ wall, cpu float64 }

// measure runs work and counts the processor time of this process and of all
// children that have ended.
func measure(b *testing.B, work func()) spent {
	b.Helper()
	cpu := func() float64 {
		total := 0.0
		for _, who := range []int{syscall.RUSAGE_SELF, syscall.RUSAGE_CHILDREN} {
			var u syscall.Rusage
			if err := syscall.Getrusage(who, &u); err != nil {
				b.Fatal(err)
			}
			total += time.Duration(u.Utime.Nano() + u.Stime.Nano()).Seconds()
		}
		return total
	}
	begun, before := time.Now(), cpu()
	work()
	return spent{time.Since(begun).Seconds(), cpu() - before}
}

// benchTake makes a moving picture with grain and a sound, as a phone encodes.
func (s benchSet) makeTake(b *testing.B, tool *ffmpeg.Tool, dir string, k int) {
	b.Helper()
	b.Log("making take", k)
	err := tool.Run(b.Context(), ffmpeg.Command{Args: []string{
		"-f", "lavfi", "-i", fmt.Sprintf("testsrc2=size=%dx%d:rate=30:duration=%d,hue=h=%d,noise=alls=6:allf=t:all_seed=%d", s.w, s.h, s.seconds+2, 37*k, k),
		"-f", "lavfi", "-i", fmt.Sprintf("aevalsrc='0.3*sin(2*PI*%d*t)*exp(-6*mod(t,0.5))':s=48000:d=%d", 220+40*k, s.seconds+2),
		"-c:v", "libx264", "-preset", "veryfast", "-crf", "23", "-g", "30", "-bf", "2", "-pix_fmt", "yuv420p", "-c:a", "aac",
		filepath.Join(dir, "intake", fmt.Sprintf("take%02d.mp4", k)),
	}})
	if err != nil {
		b.Fatal(err)
	}
}

// manifest lists the first n takes; the others are expected.
func (s benchSet) manifest(n int, gain float64, labels bool) string {
	var takes strings.Builder
	for k := range s.takes {
		if k >= n {
			fmt.Fprintf(&takes, "  - {name: take%02d, expected: true}\n", k)
			continue
		}
		g := 0.0
		if k == 0 {
			g = gain
		}
		fmt.Fprintf(&takes, "  - {name: take%02d, player: Player %d, gain: %g, video: {file: intake/take%02d.mp4, offset: -1}}\n", k, k, g, k)
	}
	return fmt.Sprintf(`version: 1
title: Bench
tempo: {count_in: {measures: 0}, changes: [{measure: 1, meter: 2/4, bpm: 120}], measures: %d}
picture: {fps: 30, gutter: 0, lead_in: 0, tail: 0, labels: %v}
deliver: [{name: final, canvas: %s}]
release: yes
takes:
%s`, s.seconds, labels, s.canvas, takes.String())
}

// command is what a person who knows ffmpeg well would type for the same film:
// every take decoded once, scaled to its tile, stacked and encoded with the
// same settings in one process.
func (s benchSet) command(dir, out string, rough bool) []string {
	var args []string
	var graph strings.Builder
	var w, h int
	fmt.Sscanf(s.canvas, "%dx%d", &w, &h) //nolint:errcheck // a constant
	cols := int(math.Ceil(math.Sqrt(float64(s.takes))))
	tw, th := w/cols/2*2, h/cols/2*2
	var layout, tiles, sounds []string
	for k := range s.takes {
		args = append(args, "-ss", "1", "-t", fmt.Sprint(s.seconds), "-i", filepath.Join(dir, "intake", fmt.Sprintf("take%02d.mp4", k)))
		fmt.Fprintf(&graph, "[%d:v]scale=%d:%d:flags=bicubic+accurate_rnd,setsar=1,format=yuv420p,fps=30[v%d];", k, tw, th, k)
		layout = append(layout, fmt.Sprintf("%d_%d", k%cols*tw, k/cols*th))
		tiles = append(tiles, fmt.Sprintf("[v%d]", k))
		sounds = append(sounds, fmt.Sprintf("[%d:a]", k))
	}
	fmt.Fprintf(&graph, "%sxstack=inputs=%d:layout=%s:fill=black,pad=%d:%d[v];", strings.Join(tiles, ""), s.takes, strings.Join(layout, "|"), w, h)
	fmt.Fprintf(&graph, "%samix=inputs=%d[a]", strings.Join(sounds, ""), s.takes)
	preset, crf := "medium", "19"
	if rough {
		preset, crf = "veryfast", "26"
	}
	return append(args, "-filter_complex", graph.String(), "-map", "[v]", "-map", "[a]", "-c:v", "libx264", "-preset", preset, "-crf", crf,
		"-profile:v", "high", "-g", "60", "-c:a", "aac", "-b:a", "256k", "-movflags", "+faststart", "-y", out)
}

// BenchmarkAgainstOneCommand measures what runs of every kind cost against one
// hand-tuned command, in the same minutes on the same machine. It reports
// ratios of processor time; `-v` shows the table. Use -benchtime 1x.
func BenchmarkAgainstOneCommand(b *testing.B) {
	tool, err := ffmpeg.Find(b.Context())
	if err != nil {
		b.Skip(err)
	}
	set, ok := benchSets[os.Getenv("RIPIENO_BENCH")]
	if !ok {
		b.Fatalf("RIPIENO_BENCH is %q", os.Getenv("RIPIENO_BENCH"))
	}
	dir := b.TempDir()
	if err := os.Mkdir(filepath.Join(dir, "intake"), 0o777); err != nil {
		b.Fatal(err)
	}
	for k := range set.takes {
		set.makeTake(b, tool, dir, k)
	}
	for b.Loop() {
		if err := os.RemoveAll(filepath.Join(dir, storeFolder)); err != nil {
			b.Fatal(err)
		}
		set.compare(b, tool, dir)
	}
}

// compare runs everything once and reports it.
func (s benchSet) compare(b *testing.B, tool *ffmpeg.Tool, dir string) {
	call := func(args ...string) spent {
		return measure(b, func() {
			if err := tool.Run(b.Context(), ffmpeg.Command{Args: args}); err != nil {
				b.Fatal(err)
			}
		})
	}
	ours := func(n int, gain float64, labels, rough bool) (spent, RenderResult) {
		if err := os.WriteFile(filepath.Join(dir, "production.yaml"), []byte(s.manifest(n, gain, labels)), 0o666); err != nil {
			b.Fatal(err)
		}
		var r RenderResult
		return measure(b, func() {
			p, err := Open(b.Context(), Settings{Dir: dir, Report: progress.New(nil, progress.Quiet)})
			if err != nil {
				b.Fatal(err)
			}
			defer p.Close()
			if r, err = p.Render(b.Context(), RenderOptions{Rough: rough}); err != nil {
				b.Fatal(err)
			}
		}), r
	}
	reference := call(s.command(dir, filepath.Join(dir, "one.mp4"), false)...)
	report := func(name string, t spent, against spent, note string) {
		b.Logf("%-34s %6.1f s wall %6.1f s cpu  %5.2f × wall %5.2f × cpu  %s", name, t.wall, t.cpu, t.wall/against.wall, t.cpu/against.cpu, note)
		b.ReportMetric(t.cpu/against.cpu, strings.ReplaceAll(name, " ", "-")+"-cpu-ratio")
	}
	note := func(r RenderResult) string { return fmt.Sprintf("%d made, %d reused", r.Tasks.Run, r.Tasks.Reused) }
	report("one command", reference, reference, "")
	t, r := ours(s.takes, 0, true, true)
	report("rough cold", t, reference, note(r))
	t, r = ours(s.takes, 0, false, true)
	report("rough without labels", t, reference, note(r))
	if err := os.RemoveAll(filepath.Join(dir, storeFolder)); err != nil {
		b.Fatal(err)
	}
	t, r = ours(s.takes, 0, true, false)
	report("cold", t, reference, note(r))
	t, r = ours(s.takes, 0, true, false)
	report("nothing changed", t, reference, note(r))
	t, r = ours(s.takes, -3, true, false)
	report("gain", t, reference, note(r))
	if err := os.RemoveAll(filepath.Join(dir, storeFolder)); err != nil {
		b.Fatal(err)
	}
	ours(s.takes-1, 0, true, false)
	t, r = ours(s.takes, 0, true, false)
	report("late take", t, reference, note(r))
	decode := call("-i", filepath.Join(dir, "intake", fmt.Sprintf("take%02d.mp4", s.takes-1)), "-f", "null", "pipe:1")
	encode := call("-i", r.Output, "-map", "0:v", "-c:v", "libx264", "-preset", "medium", "-crf", "19", "-profile:v", "high", "-g", "60", "-y", filepath.Join(dir, "again.mp4"))
	floor := spent{decode.wall + encode.wall, decode.cpu + encode.cpu}
	report("late take floor", floor, reference, "decode it, encode the film once")
	report("late take against its floor", t, floor, "")
}
