package desk_test

import (
	"encoding/json"
	"fmt"
	"os"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/cdproto/cdp"
	"github.com/chromedp/cdproto/tracing"
	"github.com/chromedp/chromedp"
)

// traced is an event of the browser's own trace, of which times are microseconds.
type traced struct {
	Name   string         `json:"name"`
	Phase  string         `json:"ph"`
	At     float64        `json:"ts"`
	Length float64        `json:"dur"`
	CPU    float64        `json:"tdur"` // of the thread itself
	PID    int            `json:"pid"`
	TID    int            `json:"tid"`
	Args   map[string]any `json:"args"`
}

// trace is what a browser writes down of one tab, between phases that the test names.
type trace struct {
	b      *tab
	events []traced
	ended  chan bool
}

// startTrace has the browser write a trace.
func (b *tab) startTrace() *trace {
	b.t.Helper()
	tr := &trace{b: b, ended: make(chan bool, 1)}
	if err := chromedp.Listen(b.ctx, tr.hear); err != nil {
		b.t.Fatal(err)
	}
	call(b, tracing.Start, tracing.StartParams{TransferMode: "ReportEvents", TraceConfig: &tracing.TraceConfig{
		IncludedCategories: []string{"-*", "blink.user_timing", "devtools.timeline",
			"disabled-by-default-devtools.timeline"}}})
	return tr
}

// hear keeps what the browser sends when a trace ends.
func (tr *trace) hear(ev any) {
	switch e := ev.(type) {
	case *tracing.EventDataCollected:
		for _, v := range e.Value {
			var one traced
			if json.Unmarshal(v, &one) == nil {
				tr.events = append(tr.events, one)
			}
		}
	case *tracing.EventTracingComplete:
		tr.ended <- true
	}
}

// phase names the time that begins now.
func (tr *trace) phase(name string) {
	tr.b.t.Helper()
	eval[bool](tr.b, fmt.Sprintf(`performance.mark(%q), true`, "phase "+name))
}

// phaseTasks are the tasks of the page's main thread in one phase.
type phaseTasks struct {
	name    string
	tasks   []traced
	longest traced // by the clock
	busiest traced // by processor
	inside  string // what the longest one did
}

// stop ends the trace and returns the tasks of every phase, in order.
func (tr *trace) stop() []phaseTasks {
	tr.b.t.Helper()
	tr.phase("end")
	call(tr.b, tracing.End, cdp.Empty{})
	select {
	case <-tr.ended:
	case <-time.After(4 * time.Minute):
		tr.b.t.Fatal("the browser does not end its trace")
	}
	phases := phasesOf(tr.events)
	for _, p := range phases {
		if len(p.tasks) > 0 {
			return phases
		}
	}
	tr.b.t.Fatalf("of %d events none is a task of the page", len(tr.events))
	return nil
}

// phasesOf returns the tasks of the thread that has marked phases, by phase. A task is
// what a browser's thread does without a break: an event RunTask.
func phasesOf(events []traced) []phaseTasks {
	var marks []traced
	for _, e := range events {
		if strings.HasPrefix(e.Name, "phase ") {
			marks = append(marks, e)
		}
	}
	slices.SortFunc(marks, func(a, b traced) int { return int(a.At - b.At) })
	var out []phaseTasks
	for i := 0; i+1 < len(marks); i++ {
		p := phaseTasks{name: strings.TrimPrefix(marks[i].Name, "phase ")}
		isMine := func(e traced) bool {
			return e.PID == marks[i].PID && e.TID == marks[i].TID && e.Phase == "X" && e.At >= marks[i].At &&
				e.At < marks[i+1].At
		}
		for _, e := range events {
			if !isMine(e) || !strings.HasSuffix(e.Name, "RunTask") {
				continue
			}
			p.tasks = append(p.tasks, e)
			if e.Length > p.longest.Length {
				p.longest = e
			}
			if e.CPU > p.busiest.CPU {
				p.busiest = e
			}
		}
		var within []string
		for _, e := range events {
			if isMine(e) && e.At >= p.longest.At && e.At+e.Length <= p.longest.At+p.longest.Length &&
				e.Length > p.longest.Length/10 && !strings.HasSuffix(e.Name, "RunTask") {
				within = append(within, fmt.Sprintf("%s %.0f ms", e.Name, e.Length/1000))
			}
		}
		p.inside = strings.Join(within[:min(6, len(within))], ", ")
		out = append(out, p)
	}
	return out
}

// TestTasksOfAPhase: a phase has the tasks of the thread that marked it, and no other's.
func TestTasksOfAPhase(t *testing.T) {
	list := phasesOf([]traced{
		{Name: "phase one", At: 100, PID: 1, TID: 2}, {Name: "phase end", At: 9000, PID: 1, TID: 2},
		{Name: "RunTask", Phase: "X", At: 200, Length: 60_000, CPU: 20_000, PID: 1, TID: 2},
		{Name: "Layout", Phase: "X", At: 300, Length: 40_000, PID: 1, TID: 2},
		{Name: "ThreadControllerImpl::RunTask", Phase: "X", At: 8000, Length: 50_000, CPU: 30_000, PID: 1, TID: 2},
		{Name: "RunTask", Phase: "X", At: 400, Length: 90_000, PID: 1, TID: 3}, // another thread
		{Name: "RunTask", Phase: "X", At: 50, Length: 90_000, PID: 1, TID: 2},  // before it
		{Name: "RunTask", Phase: "B", At: 500, Length: 90_000, PID: 1, TID: 2}, // no whole event
	})
	if len(list) != 1 ||
		list[0].String() != "one: 1 over 50 ms, the longest 60 ms (Layout 40 ms), the busiest 30 ms of "+
			"processor, all 50" {
		t.Errorf("%v", list)
	}
}

// String tells a phase: how often a task took over 50 ms, as browsers call long (W3C,
// Long Tasks API), the longest by the clock and by processor, and what all of them took.
func (p phaseTasks) String() string {
	long, sum := 0, 0.0
	for _, e := range p.tasks {
		sum += e.CPU
		if e.Length > 50_000 {
			long++
		}
	}
	return fmt.Sprintf("%s: %d over 50 ms, the longest %.0f ms (%s), the busiest %.0f ms of processor, all %.0f",
		p.name,
		long, p.longest.Length/1000, p.inside, p.busiest.CPU/1000, sum/1000)
}

// processorOf returns the seconds of processor that the processes below this one have
// taken so far, by their kinds.
func processorOf() map[string]float64 {
	parents, kinds, taken := map[int]int{}, map[int]string{}, map[int]float64{}
	list, _ := os.ReadDir("/proc") // elsewhere there is none, and nothing is told
	for _, e := range list {
		var pid, parent int
		if _, err := fmt.Sscan(e.Name(), &pid); err != nil {
			continue
		}
		data, err := os.ReadFile("/proc/" + e.Name() + "/stat") // proc(5)
		if err != nil {
			continue
		}
		fields := strings.Fields(string(data[strings.LastIndexByte(string(data), ')')+1:]))
		var user, system float64
		fmt.Sscan(fields[1]+" "+fields[11]+" "+fields[12], &parent, &user, &system)
		words, _ := os.ReadFile("/proc/" + e.Name() + "/cmdline")
		_, kind, _ := strings.Cut(strings.ReplaceAll(string(words), "\x00", " "), "--type=")
		kind, _, _ = strings.Cut(kind, " ")
		parents[pid], kinds[pid], taken[pid] = parent, kind, (user+system)/100
	}
	out, me := map[string]float64{}, os.Getpid()
	for pid := range parents {
		up := pid
		for up > 1 && up != me {
			up = parents[up]
		}
		switch {
		case pid == me:
			out["this test with its desk"] += taken[pid]
		case up == me:
			out[kinds[pid]] += taken[pid]
		}
	}
	return out
}
