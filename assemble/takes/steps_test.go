package takes

import (
	"context"
	"errors"
	"fmt"
	"math"
	"path/filepath"
	"reflect"
	"slices"
	"testing"

	"ripieno/assemble/media"
	"ripieno/assemble/store"
	"ripieno/assemble/task"
	"ripieno/mix/align"
	"ripieno/mix/audio"
)

// Of two devices between which a break shows, the one whose playing it explains the
// better has it, and where neither leads by two nats none is sure.
func TestWhichDeviceIsBroken(t *testing.T) {
	partner := map[string]string{"v": "a", "a": "v"}
	for _, c := range []struct {
		what  string
		found []align.Break
		want  string // names, with ! for sure ones
	}{
		{"one leads", []align.Break{{Name: "v", By: "device", Gain: 9}, {Name: "a", By: "device", Gain: 3}}, "[v!]"},
		{"in the other order", []align.Break{{Name: "a", By: "device", Gain: 3}, {Name: "v", By: "device", Gain: 9}},
			"[v!]"},
		{"by just enough", []align.Break{{Name: "v", By: "device", Gain: 5}, {Name: "a", By: "device", Gain: 3}},
			"[v!]"},
		{"by too little", []align.Break{{Name: "v", By: "device", Gain: 4.9}, {Name: "a", By: "device", Gain: 3}},
			"[v]"},
		{"neither", []align.Break{{Name: "v", By: "device", Gain: 3}, {Name: "a", By: "device", Gain: 3}}, "[v a]"},
		{"only one shows it", []align.Break{{Name: "a", By: "device", Gain: 0.1}}, "[a!]"},
		{"others are left alone", []align.Break{{Name: "v", By: "silence", Sure: true}, {Name: "a", Gain: 1}},
			"[v! a]"},
		{"and count for nothing", []align.Break{{Name: "v", By: "silence", Gain: 99}, {Name: "a", By: "device",
			Gain: 1}}, "[v a!]"},
		{"somebody without another device", []align.Break{{Name: "x", By: "device", Gain: 1}}, "[x!]"},
		{"none", nil, "[]"},
	} {
		before := slices.Clone(c.found)
		var got []string
		for _, b := range whichDevice(c.found, partner) {
			name := b.Name
			if b.Sure {
				name += "!"
			}
			got = append(got, name)
		}
		if fmt.Sprint(got) != c.want {
			t.Errorf("%s: %v, want %s", c.what, got, c.want)
		}
		if !reflect.DeepEqual(before, c.found) {
			t.Errorf("%s: what was given was changed", c.what)
		}
	}
}

// Two sounds are compared open at the same time and closed after it; what cannot be
// opened is told.
func TestOpeningBoth(t *testing.T) {
	dir := t.TempDir()
	one, other := filepath.Join(dir, "a.wav"), filepath.Join(dir, "b.wav")
	for path, rate := range map[string]int{one: 8000, other: 16000} {
		if _, err := media.CreateWAV(t.Context(), path, audio.NewMemory(noise(0.1, 0, 0), rate),
			media.Float32); err != nil {
			t.Fatal(err)
		}
	}
	rates := func(a, b audio.Source) (string, error) { return fmt.Sprint(a.Rate(), " ", b.Rate()), nil }
	if got, err := openBoth(one, other, rates); err != nil || got != "8000 16000" {
		t.Errorf("%q, %v", got, err)
	}
	bad := errors.New("nothing alike")
	if _, err := openBoth(one, one, func(a, b audio.Source) (int, error) { return 0, bad }); !errors.Is(err, bad) {
		t.Errorf("a comparison that fails: %v", err)
	}
	for _, paths := range [][2]string{{one, dir + "/gone"}, {dir + "/gone", other}} {
		if got, err := openBoth(paths[0], paths[1], rates); err == nil || got != "" {
			t.Errorf("%q: %q, %v", paths, got, err)
		}
	}
}

// Files that are read together are each held against what they were before: one that
// changed is told, and does not keep the others from being read.
func TestReadingTogether(t *testing.T) {
	recs := map[string]*Recording{}
	var members []task.Member
	for _, name := range []string{"a", "b", "c"} {
		recs[name] = &Recording{Path: name}
		members = append(members, task.Member{ID: name})
	}
	changed := errors.New("changed meanwhile")
	for _, c := range []struct {
		what   string
		steady func(path string, read func() error) error
		reads  int
		wrong  string
	}{
		{"nothing changes", func(_ string, read func() error) error { return read() }, 1, "[]"},
		{"one changed after", func(p string, read func() error) error {
			if err := read(); p == "b" {
				return changed
			} else {
				return err
			}
		}, 1, "[b]"},
		{"one changed before", func(p string, read func() error) error {
			if p == "b" {
				return changed
			}
			return read()
		}, 1, "[b]"},
		{"all changed before", func(string, func() error) error { return changed }, 1, "[a b c]"},
	} {
		read := 0
		wrong := steadyAll(t.Context(), func(ctx context.Context, path string, _ store.ID,
			do func(context.Context) error) error {
			return c.steady(path, func() error { return do(ctx) })
		}, members, recs, func(context.Context) { read++ })
		var names []string
		for i, err := range wrong {
			if err != nil {
				names = append(names, members[i].ID)
			}
		}
		if read != c.reads || fmt.Sprint(names) != c.wrong {
			t.Errorf("%s: read %d times, wrong are %v", c.what, read, names)
		}
	}
	read := 0
	if wrong := steadyAll(t.Context(), nil, members, recs, func(context.Context) { read++ }); read != 1 ||
		len(wrong) != 3 || errors.Join(wrong...) != nil {
		t.Errorf("without a watch: read %d times, %v", read, wrong)
	}
}

// The mean light of pixels is that of light and not of signals: half black and half
// white is half the light, whatever the signal says.
func TestMeanLight(t *testing.T) {
	black, white := []byte{0, 0, 0}, []byte{255, 255, 255}
	for _, c := range []struct {
		what    string
		pixels  []byte
		r, g, b float64
	}{
		{"nothing", nil, 0, 0, 0},
		{"less than a pixel", []byte{255, 255}, 0, 0, 0},
		{"black", black, 0, 0, 0},
		{"white", white, 1, 1, 1},
		{"half of each", slices.Concat(black, white), 0.5, 0.5, 0.5},
		{"one colour each", []byte{255, 0, 0, 0, 255, 0, 0, 0, 255, 0, 0, 0}, 0.25, 0.25, 0.25},
		{"bytes of no pixel at the end", slices.Concat(white, []byte{9}), 1, 1, 1},
	} {
		got := meanLight(c.pixels)
		if math.Abs(got.R-c.r) > 1e-12 || math.Abs(got.G-c.g) > 1e-12 || math.Abs(got.B-c.b) > 1e-12 {
			t.Errorf("%s: %+v", c.what, got)
		}
	}
	// A signal of one half is far less than half the light on every screen.
	if got := meanLight([]byte{128, 128, 128}); got.R < 0.18 || got.R > 0.24 {
		t.Errorf("a signal of one half is %v of the light", got.R)
	}
}
