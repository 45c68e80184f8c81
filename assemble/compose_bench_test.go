//go:build unix

package assemble

import (
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"ripieno/assemble/ffmpeg"
)

// BenchmarkComposing measures what composing a film costs with what a manifest that says
// nothing has (tiles that fill the canvas, crops that keep heads, names that keep off
// people), and with a slow push-in, against the same takes in tiles of 16:9 with names at
// the lower left, as films were before. All are made in one run, the old way first and last;
// it reports ratios of processor time of the processes that compose. RIPIENO_BENCH and
// RIPIENO_BENCH_DIR are as for BenchmarkAgainstOneCommand; use -benchtime 1x.
func BenchmarkComposing(b *testing.B) {
	set := benchSets[os.Getenv("RIPIENO_BENCH")]
	x := &comparison{B: b, set: set, dir: b.TempDir(), tool: findTool(b)}
	if kept := os.Getenv("RIPIENO_BENCH_DIR"); kept != "" {
		x.dir = kept
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
	const before = "aspect: 16:9, gutter: 0, label_corner: bottom-left,"
	for b.Loop() {
		x.forget()
		first := x.compose("before", before, "")
		filled := x.compose("filled", "", "")
		pushed := x.compose("pushed", "", "shots: [{from: start, show: tutti, push_in: 1.06}]\n")
		if err := os.RemoveAll(filepath.Join(x.dir, "out")); err != nil {
			b.Fatal(err)
		}
		x.forget()
		old := (first + x.compose("before-again", before, "")) / 2
		b.ReportMetric(filled/old, "filled-cpu-ratio")
		b.ReportMetric(pushed/old, "pushed-cpu-ratio")
		b.ReportMetric(first/old, "before-cpu-ratio")
		b.Logf("composing as before %.2f s, by default %.2f s, with a push-in %.2f s of processor", old, filled, pushed)
	}
}

// compose renders a film with some keys under picture, and returns the processor time of
// what composed it, seconds.
func (x *comparison) compose(name, picture, shots string) float64 {
	x.Helper()
	text := strings.Replace(x.set.manifest(x.set.takes, 0, true), "aspect: 16:9, gutter: 0,", picture, 1) + shots
	if err := os.WriteFile(filepath.Join(x.dir, "production.yaml"), []byte(text), 0o666); err != nil {
		x.Fatal(err)
	}
	x.went = map[string]*share{}
	p, err := Open(x.Context(), Settings{Dir: x.dir, Programs: ffmpeg.Options{Ended: x.ended}})
	if err != nil {
		x.Fatal(err)
	}
	defer p.Close()
	if _, err := p.Render(x.Context(), RenderOptions{}); err != nil {
		x.Fatal(err)
	}
	spent := x.went["compose"]
	if spent == nil || spent.cpu < time.Millisecond {
		x.Fatalf("%s: nothing was composed", name)
	}
	return spent.cpu.Seconds()
}
