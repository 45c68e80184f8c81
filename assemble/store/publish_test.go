package store

import (
	"context"
	"crypto/sha256"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"testing"

	"ripieno/assemble/fault"
)

func names(t *testing.T, dir string) string {
	t.Helper()
	list, err := os.ReadDir(dir)
	if err != nil {
		t.Fatal(err)
	}
	var all []string
	for _, d := range list {
		all = append(all, d.Name())
	}
	return strings.Join(all, " ")
}

// A store works in a folder whose path is longer than the 260 letters that Windows was
// once made for, and delivers into such a one.
func TestLongPaths(t *testing.T) {
	deep := t.TempDir()
	for range 6 {
		deep = filepath.Join(deep, strings.Repeat("a long name ", 4)+"x")
	}
	if len(deep) < 300 {
		t.Fatalf("%d letters are not long", len(deep))
	}
	s := locked(t, filepath.Join(deep, "store"))
	a := NewAction("rule").Ext(".bin")
	wantText(t, mustPut(t, s, a, "deep"), "deep")
	out := filepath.Join(deep, "out", "film.bin")
	for range 2 { // the second replaces it
		if _, err := s.Deliver(t.Context(), a, out); err != nil {
			t.Fatal(err)
		}
		wantText(t, out, "deep")
		if err := os.WriteFile(out, []byte("other"), 0o666); err != nil {
			t.Fatal(err)
		}
	}
	if id, err := s.HashFile(t.Context(), out); err != nil || id == (ID{}) {
		t.Errorf("hash %v, %v", id, err)
	}
	wantSwept(t, s)
}

func TestPublish(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "films")
	path := filepath.Join(dir, "final.mp4")
	for _, text := range []string{"first", "second"} {
		err := Publish(t.Context(), path, func(tmp string) error {
			if filepath.Ext(tmp) != ".mp4" || filepath.Dir(tmp) != dir {
				t.Errorf("temporary %s", tmp)
			}
			return os.WriteFile(tmp, []byte(text), 0o666)
		})
		if err != nil {
			t.Fatal(err)
		}
		wantText(t, path, text)
	}
	ctx, cancel := context.WithCancel(t.Context())
	ctx2, cancel2 := context.WithCancel(t.Context())
	boom := errors.New("boom")
	for _, tt := range []struct {
		name string
		ctx  context.Context
		make func(tmp string) error
		want string
	}{
		{"fails", t.Context(), func(tmp string) error { os.WriteFile(tmp, []byte("half"), 0o666); return boom },
			"boom"},
		{"writes nothing", t.Context(), func(string) error { return nil }, "was not written"},
		{"is cancelled", ctx, func(tmp string) error { cancel(); return os.WriteFile(tmp, []byte("x"), 0o666) },
			"context canceled"},
		{"was cancelled", ctx, func(string) error { t.Error("ran"); return nil }, "context canceled"},
		{"is cancelled and fails", ctx2, func(string) error { cancel2(); return boom }, "context canceled"},
	} {
		if err := Publish(tt.ctx, path, tt.make); err == nil || !strings.Contains(err.Error(), tt.want) {
			t.Errorf("%s: %v", tt.name, err)
		}
		wantText(t, path, "second")
		if got := names(t, dir); got != "final.mp4" {
			t.Errorf("%s: left %s", tt.name, got)
		}
	}
}

func TestPublishFaults(t *testing.T) {
	for step := 1; step <= 4; step++ { // mkdir, sync, rename, sync of the folder
		dir := t.TempDir()
		path := filepath.Join(dir, "final.mp4")
		sys, count := realSystem(), 0
		onEach(&sys, func(op, _ string) error {
			if op == "remove" {
				return nil
			}
			if count++; count == step {
				return syscall.ENOSPC
			}
			return nil
		})
		err := publish(t.Context(), sys, path,
			func(tmp string) error { return os.WriteFile(tmp, []byte("film"), 0o666) })
		var f *fault.Fault
		if !errors.As(err, &f) || f.Where != path || !IsNoSpace(err) {
			t.Errorf("step %d: %v", step, err)
		}
		if got := names(t, dir); step < 4 && got != "" {
			t.Errorf("step %d: left %s", step, got)
		}
	}
	file := filepath.Join(t.TempDir(), "file")
	if err := os.WriteFile(file, nil, 0o666); err != nil {
		t.Fatal(err)
	}
	if err := Publish(t.Context(), filepath.Join(file, "below.mp4"), func(string) error { return nil }); err == nil {
		t.Error("published below a file")
	}
}

func TestPublishSweepsTheDead(t *testing.T) {
	dir := t.TempDir()
	path := filepath.Join(dir, "final.mp4")
	dead := 1 << 30 // above the largest process number of Linux, 2^22
	keep := fmt.Sprintf(".final.%d-1.part.mp4", os.Getppid())
	for _, name := range []string{fmt.Sprintf(".final.%d-7.part.mp4", dead), keep, ".final.x-1.part.mp4",
		".other.1-1.part.mp4"} {
		if err := os.WriteFile(filepath.Join(dir, name), nil, 0o666); err != nil {
			t.Fatal(err)
		}
	}
	if err := Publish(t.Context(), path,
		func(tmp string) error { return os.WriteFile(tmp, []byte("x"), 0o666) }); err != nil {
		t.Fatal(err)
	}
	if got, want := names(t, dir), keep+" .final.x-1.part.mp4 .other.1-1.part.mp4 final.mp4"; got != want {
		t.Errorf("left %s, want %s", got, want)
	}
}

func TestDeliver(t *testing.T) {
	c := newClock()
	s := locked(t, t.TempDir(), func(sys *system) { sys.now = c.now })
	a := NewAction("film").Ext(".mp4")
	path := filepath.Join(t.TempDir(), "out", "final.mp4")
	if _, err := s.Deliver(t.Context(), a, path); err == nil || !strings.Contains(err.Error(), NotMade.Reason) {
		t.Errorf("nothing stored: %v", err)
	}
	if _, err := s.Hash(a); err == nil {
		t.Error("nothing stored has a hash")
	}
	mustPut(t, s, a, "film")
	if got, err := s.Hash(a); err != nil || got != ID(sha256.Sum256([]byte("film"))) {
		t.Errorf("the film's hash is %v, %v", got, err)
	}
	deliver := func(want bool) {
		t.Helper()
		if got, err := s.Deliver(t.Context(), a, path); err != nil || got != want {
			t.Errorf("written %v, %v", got, err)
		}
		wantText(t, path, "film")
	}
	deliver(true)
	deliver(false)
	for _, other := range []string{"flim", "longer film"} { // an edit is replaced, and reaches nothing but the copy
		if err := os.WriteFile(path, []byte(other), 0o666); err != nil {
			t.Fatal(err)
		}
		deliver(true)
	}
	if err := errors.Join(os.Remove(path), os.Mkdir(path, 0o777)); err != nil {
		t.Fatal(err)
	}
	if _, err := s.Deliver(t.Context(), a, path); err == nil {
		t.Error("delivered over a folder")
	}
	b := NewAction("strips").Files("a")
	if _, err := s.Put(t.Context(), b, func(tmp string) error {
		return os.WriteFile(filepath.Join(tmp, "a"),
			[]byte("x"), 0o666)
	}); err != nil {
		t.Fatal(err)
	}
	if _, err := s.Hash(b); err == nil || !strings.Contains(err.Error(), "several outputs") {
		t.Errorf("several outputs have one hash: %v", err)
	}
	if _, err := s.Deliver(t.Context(), b, path+"2"); err == nil || !strings.Contains(err.Error(), "several outputs") {
		t.Errorf("several outputs: %v", err)
	}
}
