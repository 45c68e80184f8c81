package store

import (
	"math"
	"math/rand/v2"
	"reflect"
	"strings"
	"sync"
	"testing"
	"time"
)

type geometry struct {
	W, H   int
	hidden float64
}

type loop struct{ Next *loop }

// TestEveryIngredientCounts: changing anything in a description changes its
// key, and nothing else does.
func TestEveryIngredientCounts(t *testing.T) {
	base := func() Action {
		return NewAction("conform").Version(2).Arg("size", geometry{960, 540, 1}).Arg("fps", 30.0).
			Input("take", HashBytes([]byte("take"))).Ext(".mkv")
	}
	if again := base(); again.ID() != base().ID() || base().For("oboe-1").Estimate(3).ID() != base().ID() {
		t.Fatal("the same description has two keys")
	}
	seen := map[ID]string{base().ID(): "base"}
	for name, a := range map[string]Action{
		"rule": NewAction("conforms").Version(2).Arg("size", geometry{960, 540, 1}).Arg("fps",
			30.0).Input("take", HashBytes([]byte("take"))).Ext(".mkv"),
		"version":        base().Version(3),
		"extension":      base().Ext(".mp4"),
		"files":          base().Files("mkv"),
		"other files":    base().Files("mkv", "json"),
		"one more arg":   base().Arg("x", nil),
		"one more input": base().Input("take", HashBytes([]byte("take"))),
		"arg as input": NewAction("conform").Version(2).Arg("size", geometry{960, 540, 1}).Arg("fps",
			30.0).Arg("take", HashBytes([]byte("take")).String()).Ext(".mkv"),
		"value": NewAction("conform").Version(2).Arg("size", geometry{960, 541, 1}).Arg("fps",
			30.0).Input("take", HashBytes([]byte("take"))).Ext(".mkv"),
		"unexported": NewAction("conform").Version(2).Arg("size", geometry{960, 540, 2}).Arg("fps",
			30.0).Input("take", HashBytes([]byte("take"))).Ext(".mkv"),
		"last bit": NewAction("conform").Version(2).Arg("size", geometry{960, 540, 1}).Arg("fps",
			math.Nextafter(30, 31)).Input("take", HashBytes([]byte("take"))).Ext(".mkv"),
		"order": NewAction("conform").Version(2).Arg("fps", 30.0).Arg("size",
			geometry{960, 540, 1}).Input("take", HashBytes([]byte("take"))).Ext(".mkv"),
		"content": NewAction("conform").Version(2).Arg("size", geometry{960, 540, 1}).Arg("fps",
			30.0).Input("take", HashBytes([]byte("tak"), []byte("e"))).Ext(".mkv"),
		"border in names": NewAction("conform").Version(2).Arg("siz", "e").Ext(".mkv"),
		"border moved":    NewAction("conform").Version(2).Arg("si", "ze").Ext(".mkv"),
	} {
		if err := a.Err(); err != nil {
			t.Errorf("%s: %v", name, err)
		}
		if other, taken := seen[a.ID()]; taken {
			t.Errorf("%s has the key of %s", name, other)
		}
		seen[a.ID()] = name
	}
}

// TestActionsShareNothing: two actions with one beginning must not write into
// each other's arguments.
func TestActionsShareNothing(t *testing.T) {
	base := NewAction("rule").Arg("a", 1).Arg("b", 2).Arg("c", 3)
	x := base.Arg("d", 4)
	want := x.ID()
	_ = base.Arg("d", 5)
	if x.ID() != want {
		t.Error("a sibling changed the action")
	}
}

// Copies that go on from one action, whoever is first, have their own fields alone, and the
// key that they would have had each by itself.
func TestActionsGoOnApart(t *testing.T) {
	base := NewAction("r")
	for i := range 20 {
		base = base.Arg("common", i)
	}
	got := make([]ID, 16)
	var wait sync.WaitGroup
	for k := range got {
		wait.Go(func() {
			a := base
			for i := range 30 {
				a = a.Arg("own", 100*k+i)
			}
			got[k] = a.ID()
		})
	}
	wait.Wait()
	for k, id := range got {
		want := NewAction("r")
		for i := range 20 {
			want = want.Arg("common", i)
		}
		for i := range 30 {
			want = want.Arg("own", 100*k+i)
		}
		if id != want.ID() {
			t.Errorf("copy %d has another key than by itself", k)
		}
	}
}

func TestActionMistakes(t *testing.T) {
	for name, a := range map[string]Action{
		"no rule":        NewAction(""),
		"channel":        NewAction("r").Arg("x", make(chan int)),
		"function":       NewAction("r").Arg("x", []any{func() {}}),
		"circle":         NewAction("r").Arg("x", circle()),
		"hidden time":    NewAction("r").Arg("x", struct{ t time.Time }{time.Now()}),
		"no hash":        NewAction("r").Input("x", ID{}),
		"upper case ext": NewAction("r").Ext(".MKV"),
		"ext without .":  NewAction("r").Ext("mkv"),
		"ext of ours":    NewAction("r").Ext(".entry"),
		"path in ext":    NewAction("r").Ext("./x"),
		"no files":       NewAction("r").Files(),
		"path in files":  NewAction("r").Files("a/b"),
		"parent":         NewAction("r").Files(".."),
		"twice":          NewAction("r").Files("a", "a"),
		"zero":           {},
	} {
		if a.Err() == nil || !a.ID().IsZero() {
			t.Errorf("%s: err %v, key %s", name, a.Err(), a.ID())
		}
	}
}

func circle() *loop {
	l := new(loop)
	l.Next = l
	return l
}

// grown is a type that got a field.
type grown struct {
	W     int
	Later []int `key:"omitzero"`
}

func TestEncode(t *testing.T) {
	one := 1
	for _, tt := range []struct {
		v    any
		want string
	}{
		{nil, "nil"}, {true, "true"}, {-3, "-3"}, {uint8(200), "200"}, {0.1, "0.1"}, {float32(0.1), "0.1"},
		{math.NaN(), "NaN"}, {math.Inf(-1), "-Inf"}, {math.Copysign(0, -1), "-0"}, {complex(1, 2), "(1+2i)"},
		{"a\n\"b", `"a\n\"b"`}, {[]string{"a b", "c"}, `["a b" "c"]`}, {[]byte{1, 255}, "0x01ff"}, {[2]bool{true},
			"[true false]"},
		{&one, "&1"}, {(*int)(nil), "nil"}, {map[string]int{"b": 2, "a": 1}, `map["a":1 "b":2]`},
		{geometry{1, 2, 3}, "{W:1 H:2 hidden:3}"}, {[]any{1, "1", nil}, `[int1 string"1" nil]`},
		{time.Date(2026, 5, 1, 12, 0, 0, 0, time.UTC), `"2026-05-01T12:00:00Z"`}, {time.Second, "1000000000"},
		{ID{1}, `"01` + strings.Repeat("0", 62) + `"`},
		// A field that came later is no part of the key while it is empty.
		{grown{W: 1}, "{W:1}"}, {grown{W: 1, Later: []int{}}, "{W:1}"},
		{grown{W: 1, Later: []int{2}}, "{W:1 Later:[2]}"},
	} {
		if got, err := encode(tt.v); err != nil || got != tt.want {
			t.Errorf("%#v: %s, %v; want %s", tt.v, got, err, tt.want)
		}
	}
	long, err := encode(make([]byte, 65))
	if err != nil || !strings.HasPrefix(long,
		"65 bytes, sha256 98ce42deef51d40269d542f5314bef2c7468d401ad5d85168bfab4c0108f75f7") {
		t.Errorf("long bytes: %s, %v", long, err) // sha256sum of 65 zero bytes
	}
}

// TestEncodeInjective: random values of one type have one text only when they
// are equal.
func TestEncodeInjective(t *testing.T) {
	type deep struct {
		S []string
		M map[string][]int
		P *string
		f float64
	}
	r := rand.New(rand.NewPCG(1, 2))
	word := func() string { return strings.Repeat(string(`" [}:\`[r.IntN(6)]), r.IntN(3)) }
	random := func() deep {
		d := deep{M: map[string][]int{}, f: float64(r.IntN(3))}
		for range r.IntN(3) {
			d.S = append(d.S, word())
		}
		for range r.IntN(3) {
			d.M[word()] = []int{r.IntN(2)}
		}
		if r.IntN(2) == 0 {
			s := word()
			d.P = &s
		}
		return d
	}
	seen := map[string]deep{}
	for range 20000 {
		d := random()
		text, err := encode(d)
		if err != nil {
			t.Fatal(err)
		}
		if old, ok := seen[text]; ok && !reflect.DeepEqual(old, d) {
			t.Fatalf("%+v and %+v both give %s", old, d, text)
		}
		seen[text] = d
	}
	if len(seen) < 1000 {
		t.Errorf("only %d different values", len(seen))
	}
}

func TestParseID(t *testing.T) {
	id := HashBytes([]byte("x"))
	for _, bad := range []string{"", "abc", strings.Repeat("g", 64), id.String() + "0"} {
		if _, err := ParseID(bad); err == nil {
			t.Errorf("%q was accepted", bad)
		}
	}
	var got ID
	text, _ := id.MarshalText()
	if err := got.UnmarshalText(text); err != nil || got != id || got.Short() != id.String()[:12] {
		t.Errorf("%v, %v", got, err)
	}
	if err := got.UnmarshalText([]byte("no")); err == nil || got != id {
		t.Errorf("a bad text was taken: %v", got)
	}
}
