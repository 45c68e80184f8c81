//go:build unix

package assemble

import (
	"cmp"
	"fmt"
	"maps"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	"ripieno/assemble/ffmpeg"
	"ripieno/assemble/progress"
	"ripieno/assemble/session"
)

// benchSet is a production to be measured.
type benchSet struct {
	takes, w, h int
	seconds     int
	canvas      string
	codec       string // options of the takes' picture; "" for H.264 as phones write it
}

// The sets by the value of RIPIENO_BENCH; the full ones take a quarter of an hour on two cores.
var benchSets = map[string]benchSet{
	"":       {takes: 9, w: 1280, h: 720, seconds: 10, canvas: "1280x720"},
	"tiny":   {takes: 4, w: 320, h: 180, seconds: 4, canvas: "320x180"},
	"short9": {takes: 9, w: 1920, h: 1080, seconds: 5, canvas: "1920x1080"},
	"full9":  {takes: 9, w: 1920, h: 1080, seconds: 30, canvas: "1920x1080"},
	"full25": {takes: 25, w: 1280, h: 720, seconds: 30, canvas: "1920x1080"},
	"part16": {takes: 16, w: 1280, h: 720, seconds: 10, canvas: "1920x1080"},
	"slim16": {takes: 16, w: 320, h: 180, seconds: 120, canvas: "640x360"},
	"long16": {takes: 16, w: 1280, h: 720, seconds: 120, canvas: "1920x1080"},
	"long25": {takes: 25, w: 1280, h: 720, seconds: 240, canvas: "1920x1080"},
	"hevc9":  {takes: 9, w: 1920, h: 1080, seconds: 11, canvas: "1920x1080", codec: hevc + "-pix_fmt yuv420p"},
	"deep9":  {takes: 9, w: 1920, h: 1080, seconds: 12, canvas: "1920x1080", codec: hevc + "-pix_fmt yuv420p10le"},
}

// H.265 as phones write it.
const hevc = "-c:v libx265 -preset ultrafast -x265-params log-level=none:keyint=30:bframes=2 -tag:v hvc1 "

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

// benchPictures is how many different moving pictures there are: others are
// copies with another name inside, which costs nothing to make and is another
// file to the program.
const benchPictures = 3

// makeTake makes a moving picture with grain and a sound, as a phone encodes.
func (s benchSet) makeTake(b *testing.B, tool *ffmpeg.Tool, dir string, k int) {
	b.Helper()
	path := filepath.Join(dir, "intake", fmt.Sprintf("take%02d.mp4", k))
	if _, err := os.Stat(path); err == nil {
		return
	}
	b.Log("making take", k)
	args := []string{
		"-f", "lavfi", "-i", fmt.Sprintf("testsrc2=size=%dx%d:rate=30:duration=%d,hue=h=%d,noise=alls=6:allf=t:all_seed=%d", s.w, s.h, s.seconds+2, 37*k, k),
		"-f", "lavfi", "-i", fmt.Sprintf("aevalsrc='0.3*sin(2*PI*%d*t)*exp(-6*mod(t,0.5))':s=48000:d=%d", 220+40*k,
			s.seconds+2),
	}
	args = append(args, strings.Fields(cmp.Or(s.codec,
		"-c:v libx264 -preset veryfast -crf 23 -g 30 -bf 2 -pix_fmt yuv420p")+" -c:a aac")...)
	if k >= benchPictures {
		args = []string{"-i", filepath.Join(dir, "intake", fmt.Sprintf("take%02d.mp4", k%benchPictures)), "-c", "copy",
			"-metadata", fmt.Sprintf("title=take %d", k)}
	}
	err := tool.Run(b.Context(), ffmpeg.Command{Args: append(args, "-f", "mp4", "-y", path+".part")})
	if err == nil {
		err = os.Rename(path+".part", path)
	}
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
		fmt.Fprintf(&takes, "  - {name: take%02d, player: Player %d, gain: %g, video: {file: intake/take%02d.mp4, "+
			"offset: -1}}\n", k, k, g, k)
	}
	return fmt.Sprintf(`version: 1
title: Bench
tempo: {count_in: {measures: 0}, changes: [{measure: 1, meter: 2/4, bpm: 120}], measures: %d}
picture: {fps: 30, aspect: 16:9, gutter: 0, lead_in: 0, tail: 0, labels: %v}
deliver: [{name: final, canvas: %s}]
release: yes
takes:
%s`, s.seconds, labels, s.canvas, takes.String())
}

// command returns what a person who knows ffmpeg well would type for the same film:
// every take decoded once, scaled to its tile, stacked and encoded with the
// same settings in one process.
func (s benchSet) command(dir, out string) []string {
	var args []string
	var graph strings.Builder
	var w, h int
	fmt.Sscanf(s.canvas, "%dx%d", &w, &h) //nolint:errcheck // a constant
	cols := int(math.Ceil(math.Sqrt(float64(s.takes))))
	tw, th := w/cols/2*2, h/cols/2*2
	var layout, tiles, sounds []string
	for k := range s.takes {
		args = append(args, "-ss", "1", "-t", fmt.Sprint(s.seconds), "-i",
			filepath.Join(dir, "intake", fmt.Sprintf("take%02d.mp4", k)))
		fmt.Fprintf(&graph, "[%d:v]zscale=w=%d:h=%d:filter=bicubic,setsar=1,format=yuv420p,fps=30[v%d];", k, tw, th, k)
		layout = append(layout, fmt.Sprintf("%d_%d", k%cols*tw, k/cols*th))
		tiles = append(tiles, fmt.Sprintf("[v%d]", k))
		sounds = append(sounds, fmt.Sprintf("[%d:a]", k))
	}
	fmt.Fprintf(&graph, "%sxstack=inputs=%d:layout=%s:fill=black,pad=%d:%d[v];", strings.Join(tiles, ""), s.takes,
		strings.Join(layout, "|"), w, h)
	fmt.Fprintf(&graph, "%samix=inputs=%d[a]", strings.Join(sounds, ""), s.takes)
	return append(args, "-filter_complex", graph.String(), "-map", "[v]", "-map", "[a]", "-c:v", "libx264", "-preset",
		"medium", "-crf", "19",
		"-profile:v", "high", "-g", "60", "-c:a", "aac", "-b:a", "256k", "-movflags", "+faststart", "-y", out)
}

// BenchmarkAgainstOneCommand measures what runs of every kind cost against one
// hand-tuned command, in the same minutes on the same machine. It reports
// ratios of processor time; `-v` shows the table and where the time went. The
// takes are kept in the folder RIPIENO_BENCH_DIR, when there is one, and found
// there again, as are logs of what ran from when to when. Use -benchtime 1x.
// Runs can be chosen, as in -bench AgainstOneCommand/film.
func BenchmarkAgainstOneCommand(b *testing.B) {
	set, ok := benchSets[os.Getenv("RIPIENO_BENCH")]
	if !ok {
		b.Fatalf("RIPIENO_BENCH is %q", os.Getenv("RIPIENO_BENCH"))
	}
	x := &comparison{B: b, set: set, dir: b.TempDir(), tool: findTool(b)}
	if kept := os.Getenv("RIPIENO_BENCH_DIR"); kept != "" {
		x.dir = filepath.Join(kept, fmt.Sprintf("%dx%dp%ds", set.takes, set.h, set.seconds))
	}
	if err := os.MkdirAll(filepath.Join(x.dir, "intake"), 0o777); err != nil {
		b.Fatal(err)
	}
	var making sync.WaitGroup
	for k := range min(benchPictures, set.takes) {
		making.Go(func() { set.makeTake(b, x.tool, x.dir, k) })
	}
	making.Wait()
	for k := benchPictures; k < set.takes; k++ {
		set.makeTake(b, x.tool, x.dir, k)
	}
	b.Run("rough", x.with((*comparison).rough))
	b.Run("film", x.with((*comparison).film))
	b.Run("late", x.with((*comparison).late))
	b.Run("cores", x.once)
	b.Run("two", x.two)
	b.Run("soon", x.soon)
	b.Run("hardware", x.hardware)
}

// with returns one round of runs as a benchmark of its own. The command runs before
// and after it, and the mean of both is what the others are compared with: a
// virtual machine can be a tenth slower for some minutes.
func (x *comparison) with(runs func(*comparison)) func(*testing.B) {
	return func(b *testing.B) {
		outer := x.B
		x.B = b
		defer func() { x.B = outer }()
		for b.Loop() {
			x.forget()
			x.reports = nil
			command := x.set.command(x.dir, filepath.Join(x.dir, "one.mp4"))
			before := x.call(command...)
			runs(x)
			after := x.call(command...)
			x.reference = spent{(before.wall + after.wall) / 2, (before.cpu + after.cpu) / 2}
			x.print("one command, before", before, x.reference, "")
			x.print("one command, after", after, x.reference, "")
			for _, print := range x.reports {
				print()
			}
		}
	}
}

// comparison is one round of runs.
type comparison struct {
	*testing.B
	set       benchSet
	dir       string
	tool      *ffmpeg.Tool
	reference spent
	encoded   spent
	idle      float64  // of the last run; see idleShare
	stages    string   // of the last run; see stages
	reports   []func() // print lines of the table, once the reference is known

	mu   sync.Mutex
	went map[string]*share // of processor time, by the work of a process
}

// share is the part of some processes.
type share struct {
	processes int
	cpu       time.Duration
}

// ended books a process under what it was for.
func (x *comparison) ended(u ffmpeg.Usage) {
	text := strings.Join(u.Args, " ")
	kind := "ffprobe"
	if u.Args[0] == "ffmpeg" {
		kind = "ffmpeg that answers a question"
	}
	for _, k := range [][2]string{
		{"-preset medium", "compose"}, {"-crf 30", "compose"}, {"-c copy", "join"}, {"-c:a aac", "encode sound"},
		{"-hwaccel", "conform by a device"}, {"-reinit_filter", "conform"}, {"-c:a pcm", "decode sound"},
		{"-f rawvideo", "look at the picture"},
	} {
		if strings.Contains(text, k[0]) {
			kind = k[1]
			break
		}
	}
	x.mu.Lock()
	defer x.mu.Unlock()
	if x.went[kind] == nil {
		x.went[kind] = &share{}
	}
	x.went[kind].processes++
	x.went[kind].cpu += u.CPU
}

// call runs ffmpeg by itself.
func (x *comparison) call(args ...string) spent {
	return measure(x.B, func() {
		if err := x.tool.Run(x.Context(), ffmpeg.Command{Args: args}); err != nil {
			x.Fatal(err)
		}
	})
}

// run renders the first n takes. What ran from when to when is in a file of
// the benchmark's folder that has the run's name.
func (x *comparison) run(name string, n int, gain float64, labels, rough bool) (spent, RenderResult) {
	if err := os.WriteFile(filepath.Join(x.dir, "production.yaml"), []byte(x.set.manifest(n, gain, labels)),
		0o666); err != nil {
		x.Fatal(err)
	}
	x.went = map[string]*share{}
	log, err := os.Create(filepath.Join(x.dir, strings.ReplaceAll(name, " ", "-")+".jsonl"))
	if err != nil {
		x.Fatal(err)
	}
	defer log.Close()
	report := progress.New(log, progress.JSON)
	defer report.Close()
	var r RenderResult
	return measure(x.B, func() {
		p, err := Open(x.Context(), Settings{Dir: x.dir, Report: report, Programs: ffmpeg.Options{Ended: x.ended},
			Decoder: os.Getenv("RIPIENO_BENCH_DECODER"),
			Profile: filepath.Join(x.dir, strings.ReplaceAll(name, " ", "-")+".trace")})
		if err != nil {
			x.Fatal(err)
		}
		defer p.Close()
		if r, err = p.Render(x.Context(), RenderOptions{Rough: rough, Quick: name == quickLook}); err != nil {
			x.Fatal(err)
		}
		if err := p.WriteProfile(x.Context()); err != nil {
			x.Fatal(err)
		}
		x.idle, x.stages = idleShare(p.Events(), p.Workers()), stages(p.Events())
	}), r
}

// forget removes everything that was computed.
func (x *comparison) forget() {
	if err := os.RemoveAll(filepath.Join(x.dir, session.StoreFolder)); err != nil {
		x.Fatal(err)
	}
}

// print prints a line of the table.
func (x *comparison) print(name string, t, against spent, note string) {
	x.Logf("%-34s %6.1f s wall %6.1f s cpu  %5.2f × wall %6.3f × cpu  %s", name, t.wall, t.cpu, t.wall/against.wall,
		t.cpu/against.cpu, note)
	x.ReportMetric(t.cpu/against.cpu, strings.NewReplacer(" ", "-", ",", "").Replace(name)+"-cpu-ratio")
}

// report prints a line later, against the reference or another.
func (x *comparison) report(name string, t spent, against *spent, note string) {
	if against == nil {
		against = &x.reference
	}
	x.reports = append(x.reports, func() { x.print(name, t, *against, note) })
}

// ours measures a run of ours and says where its time went.
func (x *comparison) ours(name string, n int, gain float64, labels, rough bool) spent {
	t, r := x.run(name, n, gain, labels, rough)
	x.report(name, t, nil, fmt.Sprintf("%d made, %d reused, cores idle for %.1f %%", r.Tasks.Run, r.Tasks.Reused,
		100*x.idle))
	when := x.stages
	x.reports = append(x.reports, func() { x.Logf("    %s", when) })
	went, own := x.went, t.cpu
	for _, w := range went {
		own -= w.cpu.Seconds()
	}
	x.reports = append(x.reports, func() {
		for _, kind := range slices.Sorted(maps.Keys(went)) {
			x.Logf("    %-30s %3d processes %6.2f s", kind, went[kind].processes, went[kind].cpu.Seconds())
		}
		x.Logf("    %-30s %3d process   %6.2f s", "ourselves", 1, own)
	})
	return t
}

// rough is the quick preview, cold and with all segments new.
func (x *comparison) rough() {
	x.ours("rough cold", x.set.takes, 0, true, true)
	x.ours("rough without labels", x.set.takes, 0, false, true)
}

// film is the finished film, cold, again, and with another gain.
func (x *comparison) film() {
	n := x.set.takes
	cold := x.ours("cold", n, 0, true, false)
	x.ours("nothing changed", n, 0, true, false)
	x.ours("gain", n, -3, true, false)
	floor := x.decode(0, n).and(x.encode())
	x.report("floor", floor, nil, "decode everything, encode the film once")
	x.report("cold against the floor", cold, &floor, "")
}

// late is the last take's coming.
func (x *comparison) late() {
	n := x.set.takes
	x.run("before the late take", n-1, 0, true, false)
	late := x.ours("late take", n, 0, true, false)
	floor := x.decode(n-1, n).and(x.encode())
	x.report("late take floor", floor, nil, "decode it, encode the film once")
	x.report("late take against its floor", late, &floor, "")
}

func (t spent) and(u spent) spent { return spent{t.wall + u.wall, t.cpu + u.cpu} }

// decode decodes some takes, picture and sound, in one process and does nothing
// with them.
func (x *comparison) decode(from, to int) spent {
	var in, out []string
	for k := from; k < to; k++ {
		in = append(in, "-ss", "1", "-t", fmt.Sprint(x.set.seconds), "-i",
			filepath.Join(x.dir, "intake", fmt.Sprintf("take%02d.mp4", k)))
		out = append(out, "-map", fmt.Sprintf("%d:v", k-from), "-map", fmt.Sprintf("%d:a", k-from), "-f", "null",
			"pipe:1")
	}
	return x.call(append(in, out...)...)
}

// encode encodes the picture and the sound of the one command, which lie ready
// unpacked, with the same settings, less the time that reading them takes. It is measured once.
func (x *comparison) encode() spent {
	if x.encoded != (spent{}) {
		return x.encoded
	}
	raw := filepath.Join(x.dir, "raw.nut")
	defer os.Remove(raw)
	args := x.set.command(x.dir, raw)
	at := slices.Index(args, "-c:v")
	x.call(append(args[:at:at], "-c:v", "rawvideo", "-c:a", "pcm_s16le", "-f", "nut", "-y", raw)...)
	both := x.call("-i", raw, "-map", "0", "-c:v", "libx264", "-preset", "medium", "-crf", "19", "-profile:v", "high",
		"-g", "60", "-c:a", "aac", "-b:a", "256k", "-y", filepath.Join(x.dir, "again.mp4"))
	read := x.call("-i", raw, "-map", "0", "-f", "null", "pipe:1")
	x.encoded = spent{both.wall - read.wall, both.cpu - read.cpu}
	return x.encoded
}
