package desk

import (
	"context"
	"net/http"
	"os"
	"strings"
	"sync"
	"testing"
	"time"

	"ripieno/assemble/desk/audition"
	"ripieno/assemble/progress"
)

// replaced returns text with one thing in it exchanged.
func replaced(t *testing.T, old, with string) string {
	t.Helper()
	if strings.Count(text, old) != 1 {
		t.Fatalf("%q stands %d times in the manifest", old, strings.Count(text, old))
	}
	return strings.Replace(text, old, with, 1)
}

// TestChangesAndUndo: a change touches nothing else, undo gives every byte back, redo
// makes the change again.
func TestChangesAndUndo(t *testing.T) {
	s := serve(t, nobody{}).enter()
	first := s.state()
	if first.Undo != "" || first.Redo != "" || first.Takes != 2 {
		t.Errorf("the desk opens with %+v", first)
	}
	_, one, _ := s.post("/api/change", gain(first.Version, "horn", -3.5))
	changed := replaced(t, "gain: 1}", "gain: -3.5}")
	if got := s.manifest(); got != changed || one.Undo != "gain of horn" {
		t.Errorf("after a change there is %+v and\n%s", one, got)
	}
	_, two, _ := s.post("/api/change", gain(one.Version, "oboe", 2))
	both := strings.Replace(changed, "true    # on Monday\n", "true    # on Monday\n    gain: 2\n", 1)
	if got := s.manifest(); got != both {
		t.Errorf("after two changes there is\n%s", got)
	}
	if _, same, _ := s.post("/api/change", gain(two.Version, "oboe", 2)); same.Version != two.Version ||
		s.manifest() != both {
		t.Error("the same value changed the file")
	}
	for _, want := range []struct {
		path, text, undo, redo string
	}{
		{"/api/undo", changed, "gain of horn", "gain of oboe"},
		{"/api/undo", text, "", "gain of horn"},
		{"/api/redo", changed, "gain of horn", "gain of oboe"},
		{"/api/redo", both, "gain of oboe", ""},
		{"/api/undo", changed, "gain of horn", "gain of oboe"},
	} {
		_, now, raw := s.post(want.path, map[string]any{})
		if got := s.manifest(); got != want.text || now.Undo != want.undo || now.Redo != want.redo {
			t.Fatalf("%s: undo %q, redo %q, %s\n%s", want.path, now.Undo, now.Redo, raw, got)
		}
	}
	// A new change is where redo ends.
	_, now, _ := s.post("/api/change", gain(s.state().Version, "oboe", nil))
	if now.Redo != "gain of oboe" {
		t.Errorf("taking away what is not there is no change, and redo is %q", now.Redo)
	}
	if _, now, _ = s.post("/api/change", gain(now.Version, "horn", nil)); now.Redo != "" {
		t.Errorf("redo is still %q", now.Redo)
	}
	if got := s.manifest(); got != replaced(t, ", gain: 1}", "}") {
		t.Errorf("a value taken away leaves\n%s", got)
	}
	for range 2 {
		s.post("/api/undo", map[string]any{})
	}
	if status, _, raw := s.post("/api/undo", map[string]any{}); status != http.StatusUnprocessableEntity ||
		!strings.Contains(raw, "nothing to undo") || s.manifest() != text {
		t.Errorf("undo of nothing: %d %s", status, raw)
	}
}

// TestChangedByHandMeanwhile: what a person wrote into the file is neither lost nor
// undone, and the page is told.
func TestChangedByHandMeanwhile(t *testing.T) {
	s := serve(t, nobody{}).enter()
	first := s.state()
	_, one, _ := s.post("/api/change", gain(first.Version, "horn", -3))
	byHand := strings.Replace(s.manifest(), "expected: true    # on Monday\n",
		"video: {file: oboe.mov, offset: 2}    # on Monday\n    gain: 7\n", 1)
	if err := os.WriteFile(s.path, []byte(byHand), 0o600); err != nil {
		t.Fatal(err)
	}
	for path, body := range map[string]any{
		"/api/change": gain(one.Version, "oboe", 2),
		"/api/place": map[string]any{"version": one.Version, "take": "oboe", "role": "video", "offset": 1,
			"drift_ppm": 0},
		"/api/undo": map[string]any{},
	} {
		status, _, raw := s.post(path, body)
		if status != http.StatusConflict || !strings.Contains(raw, `"stale":true`) || s.manifest() != byHand {
			t.Errorf("%s: %d %s\n%s", path, status, raw, s.manifest())
		}
	}
	now := s.state()
	if now.Version == one.Version {
		t.Error("the state does not tell of the other text")
	}
	if status, _, raw := s.post("/api/change", gain(now.Version, "oboe", 2)); status != http.StatusOK {
		t.Errorf("after looking again: %d %s", status, raw)
	}
	if _, now, _ = s.post("/api/undo", map[string]any{}); s.manifest() != byHand || now.Undo != "gain of horn" {
		t.Errorf("undo gave\n%s", s.manifest())
	}
	if err := os.WriteFile(s.path, []byte("version: 1\ntitle: [\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	broken := s.state()
	if broken.Problem == nil || broken.Problem.Hint == "" {
		t.Errorf("of a broken file the state tells %+v", broken.Problem)
	}
	if status, _, raw := s.post("/api/change", gain(broken.Version, "oboe", 2)); status !=
		http.StatusUnprocessableEntity || s.manifest() != "version: 1\ntitle: [\n" {
		t.Errorf("a broken file was changed: %d %s", status, raw)
	}
}

// TestDecidedBesideAnother: what somebody else wrote meanwhile of other things keeps no
// decision back, and undo takes the decision back alone.
func TestDecidedBesideAnother(t *testing.T) {
	s := serve(t, nobody{}).enter()
	first := s.state()
	byHand := replaced(t, "gain: 1} # loud", "gain: 1, pan: 5} # soft")
	if err := os.WriteFile(s.path, []byte(byHand), 0o600); err != nil {
		t.Fatal(err)
	}
	status, now, raw := s.post("/api/change", gain(first.Version, "horn", -3))
	if got := s.manifest(); status != http.StatusOK || got != strings.Replace(byHand, "gain: 1,", "gain: -3,", 1) {
		t.Errorf("%d %s\n%s", status, raw, got)
	}
	// What was decided by then is no longer as the first text has it.
	if status, _, raw := s.post("/api/change", gain(first.Version, "horn", 2)); status != http.StatusConflict {
		t.Errorf("%d %s", status, raw)
	}
	// Of a text that nobody was told of, nobody knows what it said.
	if status, _, raw := s.post("/api/change", gain("0123456789abcdef", "oboe", 2)); status != http.StatusConflict {
		t.Errorf("%d %s", status, raw)
	}
	if _, _, raw := s.post("/api/undo", map[string]any{}); s.manifest() != byHand || now.Undo != "gain of horn" {
		t.Errorf("undo: %s\n%s", raw, s.manifest())
	}
}

// TestTwoDesksLoseNothing: two desks change one file as fast as they can, each
// looking again when it is told to, and every change is in it.
func TestTwoDesksLoseNothing(t *testing.T) {
	one := serve(t, nobody{}).enter()
	two := &served{t: t, path: one.path, tick: make(chan time.Time)}
	two.serveIn(strings.TrimSuffix(one.path, "/production.yaml"), nobody{})
	two.enter()
	const times = 8
	var group sync.WaitGroup
	for take, s := range map[string]*served{"oboe": one, "horn": two} {
		group.Go(func() {
			for i := 1; i <= times; {
				status, _, raw := s.post("/api/change", gain(s.state().Version, take, -float64(i)))
				switch status {
				case http.StatusOK:
					i++
				case http.StatusConflict: // the other one was quicker
				default:
					t.Errorf("%s: %d %s", take, status, raw)
					return
				}
			}
		})
	}
	group.Wait()
	want := strings.Replace(replaced(t, "gain: 1}", "gain: -8}"), "true    # on Monday\n",
		"true    # on Monday\n    gain: -8\n", 1)
	if got := one.manifest(); got != want {
		t.Errorf("the file became\n%s", got)
	}
}

// TestWholeMappings: what is not in the manifest yet is written before its blocks, with shots of
// every kind and times with minutes.
func TestWholeMappings(t *testing.T) {
	s := serve(t, nobody{}).enter()
	shot := func(pairs ...any) map[string]any {
		m := map[string]any{}
		for i := 0; i < len(pairs); i += 2 {
			m[pairs[i].(string)] = pairs[i+1]
		}
		return m
	}
	want := text
	for _, c := range []struct {
		keys  []string
		value any
		adds  string
	}{
		{[]string{"mix", "loudness"}, -20, "mix: {loudness: -20}\n"},
		{[]string{"shots"}, []any{shot("from", "start", "show", "card", "text", "title"),
			shot("from", "m1", "to", "0:11.5", "show", "pair", "takes", []any{"oboe", "horn"}),
			shot("from", "m5", "show", "soli", "section", "winds")},
			"shots: [{from: start, show: card, text: title}, {from: m1, to: 0:11.5, show: pair, takes: [oboe, horn]}, " +
				"{from: m5, show: soli, section: winds}]\n"},
	} {
		status, _, raw := s.post("/api/change", map[string]any{"version": s.state().Version, "what": "x",
			"changes": []any{map[string]any{"take": "", "keys": c.keys, "value": c.value}}})
		want = strings.Replace(want, "takes:\n", c.adds+"takes:\n", 1)
		if got := s.manifest(); status != http.StatusOK || got != want {
			t.Fatalf("%v: %d %s\n%s", c.keys, status, raw, got)
		}
	}
}

// TestWhatThePageMayNotWrite: only values it has a control for, and no texts.
func TestWhatThePageMayNotWrite(t *testing.T) {
	s := serve(t, nobody{}).enter()
	version := s.state().Version
	for _, c := range []struct {
		take  string
		keys  []string
		value any
	}{
		{"oboe", []string{"video"}, "{file: /etc/passwd}"}, {"oboe", []string{"video", "file"}, "a.mov"},
		{"oboe", []string{"name"}, "flute"}, {"", []string{"title"}, "auto"},
		{"oboe", []string{"gain"}, "5, mute: true"},
		{"oboe", []string{"gain"}, []int{1}}, {"oboe", []string{"gain"}, 1e9}, {"oboe", []string{"mute"}, 3},
		{"oboe", []string{"gain", "x"}, 1}, {"oboe", nil, 1}, {"flute", []string{"gain"}, 1},
		{"oboe", []string{"release"}, true}, {"oboe", []string{"crop", "zoom"}, 0.1},
		{"", []string{"mix", "room"}, 1}, {"", []string{"mix", "loudness"}, 5}, {"", []string{"mix"}, "auto"},
		{"", []string{"shots"}, []any{map[string]any{"from": "start", "show": "card", "text": "of my own"}}},
		{"", []string{"shots"}, []any{map[string]any{"from": "start", "show": "pair", "takes": []any{"oboe"}}}},
		{"", []string{"shots"}, []any{map[string]any{"from": "start", "show": "pair", "takes": []any{"oboe", "a: b"}}}},
	} {
		body := map[string]any{"version": version, "what": "x",
			"changes": []any{map[string]any{"take": c.take, "keys": c.keys, "value": c.value}}}
		if status, _, raw := s.post("/api/change", body); status != http.StatusUnprocessableEntity {
			t.Errorf("%s %v = %v: %d %s", c.take, c.keys, c.value, status, raw)
		}
	}
	if got := s.manifest(); got != text {
		t.Errorf("the manifest became\n%s", got)
	}
}

// TestJobs: one at a time, told how far, cancelled, and ended with the desk.
func TestJobs(t *testing.T) {
	began := make(chan bool, 2)
	s := serve(t, nobody{place: func(ctx context.Context, r progress.Reporter) (*audition.Placing, error) {
		work := r.Add("listen", "oboe", 3)
		r.Add("listen", "horn", 1)
		work.Start()
		work.Finish(nil)
		began <- true
		<-ctx.Done()
		return nil, ctx.Err()
	}}).enter()
	run := func() (int, state) {
		status, now, _ := s.post("/api/run", map[string]any{"verb": "place"})
		return status, now
	}
	if status, _ := run(); status != http.StatusAccepted {
		t.Fatalf("the job was answered with %d", status)
	}
	<-began
	job := s.state().Job
	if job == nil || !job.Running || job.Name != "place" || job.Fraction != 0.75 || job.Now != "listen: oboe" {
		t.Errorf("the job is %+v", job)
	}
	if status, _ := run(); status != http.StatusConflict {
		t.Errorf("a second job was answered with %d", status)
	}
	s.post("/api/cancel", map[string]any{})
	for job = s.state().Job; job.Running; job = s.state().Job {
	}
	if job.Problem != nil || !strings.Contains(job.Message, "cancelled") {
		t.Errorf("the cancelled job is %+v", job)
	}
	if status, _ := run(); status != http.StatusAccepted { // it ends with the desk, or the test would hang
		t.Errorf("a job after a cancelled one was answered with %d", status)
	}
	<-began
}
