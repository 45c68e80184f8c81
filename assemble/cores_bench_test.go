//go:build unix

package assemble

import (
	"bytes"
	"cmp"
	"fmt"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"ripieno/assemble/interchange"
)

// hardware makes a film with the decoder that RIPIENO_BENCH_DECODER names, against the
// same with software, and compares their bytes.
func (x *comparison) hardware(b *testing.B) {
	outer := x.B
	x.B = b
	defer func() { x.B = outer }()
	film := filepath.Join(x.dir, "out", "final.mp4")
	for b.Loop() {
		x.reports = nil
		decoder := os.Getenv("RIPIENO_BENCH_DECODER")
		var films [2][]byte
		for i, d := range []string{"", decoder} {
			x.forget()
			b.Setenv("RIPIENO_BENCH_DECODER", d)
			t := x.ours("cold, decoded by "+cmp.Or(d, "software"), x.set.takes, 0, true, false)
			if i == 0 {
				x.reference = t
			}
			var err error
			if films[i], err = os.ReadFile(film); err != nil {
				b.Fatal(err)
			}
		}
		for _, print := range x.reports {
			print()
		}
		if !bytes.Equal(films[0], films[1]) {
			b.Error("the film decoded by hardware has other bytes")
		}
	}
}

// once is for machines of many cores that are lent by the minute: the command once, of
// a long set the first twelfth, then a film, cold and with another gain, and a rough cut.
func (x *comparison) once(b *testing.B) {
	outer := x.B
	x.B = b
	defer func() { x.B = outer }()
	for b.Loop() {
		x.forget()
		x.reports = nil
		x.commandOnce()
		x.ours("cold", x.set.takes, 0, true, false)
		x.ours("gain", x.set.takes, -3, true, false)
		if x.set.seconds <= 60 {
			x.forget()
			x.ours("rough cold", x.set.takes, 0, true, true)
		}
		for _, print := range x.reports {
			print()
		}
	}
}

// commandOnce measures the command, of a long set the first twelfth.
func (x *comparison) commandOnce() {
	short, times := x.set, 1.0
	if x.set.seconds > 60 {
		short.seconds, times = x.set.seconds/12, 12
	}
	one := x.call(short.command(x.dir, filepath.Join(x.dir, "one.mp4"))...)
	x.reference = spent{one.wall * times, one.cpu * times}
	x.print("one command", x.reference, x.reference, fmt.Sprintf("%g times a part of it", times))
}

// quickLook is the name of a run of rough --quick.
const quickLook = "quick cold"

// two is for a machine of two cores: the command, a first look and, of films of a minute at
// most, a rough cut and a film, cold and with nothing changed.
func (x *comparison) two(b *testing.B) {
	x.apart(b, func() {
		x.commandOnce()
		x.forget()
		x.ours(quickLook, x.set.takes, 0, true, true)
		if x.set.seconds <= 60 {
			x.forget()
			x.ours("rough cold", x.set.takes, 0, true, true)
			x.forget()
			x.ours("cold", x.set.takes, 0, true, false)
			x.ours("nothing changed", x.set.takes, 0, true, false)
		}
	})
}

// soon is the last take's coming without the command, against what it takes at least.
func (x *comparison) soon(b *testing.B) {
	x.apart(b, func() {
		x.forget()
		x.reference = spent{1, 1}
		x.late()
	})
}

// apart runs something as a benchmark of its own and prints what it reports.
func (x *comparison) apart(b *testing.B, run func()) {
	outer := x.B
	x.B = b
	defer func() { x.B = outer }()
	for b.Loop() {
		x.reports = nil
		run()
		for _, print := range x.reports {
			print()
		}
	}
}

// stages says from when to when there was work of each kind, in seconds since the first.
func stages(events []interchange.Slice) string {
	spans := map[string][2]time.Time{}
	var zero time.Time
	for _, e := range events {
		if zero.IsZero() || e.From.Before(zero) {
			zero = e.From
		}
		s, ok := spans[e.Category]
		if !ok || e.From.Before(s[0]) {
			s[0] = e.From
		}
		if e.To.After(s[1]) {
			s[1] = e.To
		}
		spans[e.Category] = s
	}
	var list []string
	for _, kind := range slices.SortedFunc(maps.Keys(spans), func(a, b string) int {
		return spans[a][0].Compare(spans[b][0])
	}) {
		list = append(list, fmt.Sprintf("%s %.1f-%.1f", kind, spans[kind][0].Sub(zero).Seconds(),
			spans[kind][1].Sub(zero).Seconds()))
	}
	return strings.Join(list, ", ")
}

// idleShare returns the share of the workers' time in which they had nothing to do, from
// the first picture that is conformed to the last segment; 0 when there was none.
func idleShare(events []interchange.Slice, workers int) float64 {
	var from, to time.Time
	for _, e := range events {
		if e.Category != "conform" && e.Category != "compose" {
			continue
		}
		if from.IsZero() || e.From.Before(from) {
			from = e.From
		}
		if e.To.After(to) {
			to = e.To
		}
	}
	var busy time.Duration
	for _, e := range events {
		begin, end := e.From, e.To
		if begin.Before(from) {
			begin = from
		}
		if end.After(to) {
			end = to
		}
		busy += max(0, end.Sub(begin))
	}
	all := to.Sub(from) * time.Duration(workers)
	if all <= 0 {
		return 0
	}
	return 1 - float64(busy)/float64(all)
}
