package store

import (
	"math"
	"os"
	"reflect"
	"strings"
	"testing"
	"time"
)

func TestExplain(t *testing.T) {
	c := newClock()
	s := locked(t, t.TempDir(), func(sys *system) { sys.now = c.now })
	take := HashBytes([]byte("take"))
	a := NewAction("conform").Version(3).For("oboe-1").Arg("size", geometry{960, 540, 0}).Input("take",
		take).Ext(".mkv")
	path, err := s.Put(t.Context(), a, func(tmp string) error {
		c.add(2 * time.Second)
		return os.WriteFile(tmp, []byte("picture"), 0o666)
	})
	if err != nil {
		t.Fatal(err)
	}
	id, err := s.Find(t.Context(), strings.ToUpper(a.ID().String()[:8]))
	if err != nil || id != a.ID() {
		t.Fatalf("Find: %v, %v", id, err)
	}
	text, err := s.Explain(t.Context(), id)
	want := "key " + id.String() + `
conform, version 3, for oboe-1
  arg    size = {W:960 H:540 hidden:0}
  input  take = ` + take.String() + `
  output one file, .mkv
  made   ` + c.now().UTC().Format(time.RFC3339) + ` in 2.0 s
  file   ` + path + `, 7 bytes, sha256 2cea274d0bedc39ec4ab6ba9e59ec889e3ed6fb56a1cf088a64d9b383378dc97
  state  sound`
	if err != nil || text != want {
		t.Errorf("%v\n%s\nwant\n%s", err, text, want)
	}
	if err := os.Truncate(path, 2); err != nil {
		t.Fatal(err)
	}
	if text, _ := s.Explain(t.Context(), id); !strings.HasSuffix(text, "state  its output has 2 bytes instead of 7") {
		t.Errorf("damaged: %s", text)
	}
	if _, err := s.Explain(t.Context(), ID{1}); err == nil {
		t.Error("explained a key nobody has")
	}
	if _, err := s.Find(t.Context(), "zz"); err == nil || !strings.Contains(err.Error(), "no key begins") {
		t.Errorf("Find: %v", err)
	}
	mustPut(t, s, a.Version(4), "x")
	if _, err := s.Find(t.Context(), ""); err == nil || !strings.Contains(err.Error(), "2 keys begin") {
		t.Errorf("Find: %v", err)
	}
}

func TestHistoryTellsWhatChanged(t *testing.T) {
	c := newClock()
	s := locked(t, t.TempDir(), func(sys *system) { sys.now = c.now })
	strip := func(gain float64, take string) Action {
		return NewAction("strip").For("oboe-1").Arg("gain", gain).Arg("pan", -30).Input("take", HashBytes([]byte(take)))
	}
	for _, a := range []Action{strip(-1.5, "first"), strip(-1.5, "first").Arg("extra", 1).Version(7)} {
		mustPut(t, s, a, "x")
		c.add(time.Second)
	}
	long := strings.Repeat("long ", 30)
	h, err := s.History(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	for _, tt := range []struct {
		name string
		a    Action
		want []string
	}{
		{"gain", strip(-3, "first"), []string{"arg gain: was -1.5, is -3"}},
		{"take", strip(-1.5, "second"), []string{"input take: changed"}},
		{"version", strip(-1.5, "first").Version(2), []string{"rule version: was 1, is 2"}},
		{"form", strip(-1.5, "first").Ext(".wav"), []string{"output: other form"}},
		{"several", strip(2, "second"), []string{"arg gain: was -1.5, is 2", "input take: changed"}},
		{"new arg", strip(-1.5, "first").Arg("room", long), []string{"arg room: new"}},
		{"long values", strip(-1.5, "first").Arg("extra", long).Version(7),
			[]string{`arg extra: was 1, is "` + long[:59] + "…"}},
		{"gone", NewAction("strip").For("oboe-1").Arg("gain", -1.5).Input("take", HashBytes([]byte("first"))),
			[]string{"arg pan: gone"}},
		{"order", NewAction("strip").For("oboe-1").Arg("pan", -30).Arg("gain", -1.5).Input("take",
			HashBytes([]byte("first"))), []string{"the order of arguments or inputs"}},
		{"repeats", strip(-1.5, "first").Arg("pan", 5), []string{"arg pan: was -30, is -30 5"}},
		{"other take", strip(-1.5, "first").For("horn-2"), nil},
		{"other rule", NewAction("mix").For("oboe-1"), nil},
	} {
		if got := h.Changes(tt.a); !reflect.DeepEqual(got, tt.want) {
			t.Errorf("%s: %q, want %q", tt.name, got, tt.want)
		}
	}
}

func TestPace(t *testing.T) {
	c := newClock()
	s := locked(t, t.TempDir(), func(sys *system) { sys.now = c.now })
	put := func(a Action, seconds float64) {
		if _, err := s.Put(t.Context(), a, func(tmp string) error {
			c.add(time.Duration(seconds * float64(time.Second)))
			return os.WriteFile(tmp, []byte("x"), 0o666)
		}); err != nil {
			t.Fatal(err)
		}
	}
	put(NewAction("conform").Arg("i", 1).Estimate(10), 19)
	put(NewAction("conform").Arg("i", 2).Estimate(9), 20)
	put(NewAction("conform").Arg("i", 3), 1000) // never estimated
	put(NewAction("mix").Estimate(math.Inf(1)), 5)
	put(NewAction("still").Estimate(1e6), 0)
	h, err := s.History(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	// (1 + 19 + 20) / (1 + 10 + 9)
	for rule, want := range map[string]float64{"conform": 2, "mix": 1, "unknown": 1, "still": 0.01} {
		if got := h.Pace(rule); got != want {
			t.Errorf("%s: pace %g, want %g", rule, got, want)
		}
	}
}
