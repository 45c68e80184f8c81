package assemble

import (
	"context"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"ripieno/assemble/elsewhere"
	"ripieno/assemble/farm"
	"ripieno/assemble/progress"
)

// TestOtherMachinesMakeTheSameFilm renders a production alone and with two workers of
// a hub, one of which leaves in mid-run: the films and all that is stored are equal to
// the byte.
func TestOtherMachinesMakeTheSameFilm(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	if err := os.Mkdir(filepath.Join(dir, "intake"), 0o777); err != nil {
		t.Fatal(err)
	}
	smallProduction(t, dir)
	alone := copyProduction(t, dir)
	want, _ := renderIn(t, alone, Settings{Workers: 1})
	hub, err := farm.Serve(t.Context(), farm.HubOptions{Dir: t.TempDir(), Listen: "127.0.0.1:0", Space: 500e6})
	if err != nil {
		t.Fatal(err)
	}
	defer hub.Close()
	set := Settings{Report: progress.New(nil, progress.Quiet)}
	tool, err := set.Find(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	ctx, stop := context.WithCancel(t.Context())
	var workers sync.WaitGroup
	defer workers.Wait()
	defer stop()
	leaving, leave := context.WithCancel(ctx)
	defer leave()
	for _, c := range []context.Context{ctx, leaving} {
		workers.Go(func() {
			help := elsewhere.Help{Invitation: hub.Workers.String(), Cores: 1, Space: 100e6, Tell: func(string) { leave() }}
			if err := elsewhere.Work(c, tool, help); c.Err() == nil {
				t.Errorf("a worker ended: %v", err)
			}
		})
	}
	for n := 0; n < 2; {
		list, err := elsewhere.Present(t.Context(), tool, hub.Home.String())
		if err != nil {
			t.Fatal(err)
		}
		for _, h := range list {
			if h.Refused != "" {
				t.Fatalf("%s is refused: %s", h.Name, h.Refused)
			}
		}
		if n = len(list); n < 2 {
			time.Sleep(100 * time.Millisecond) // until both have made their trial films
		}
	}
	helped := copyProduction(t, dir)
	got, r := renderIn(t, helped, Settings{Workers: 1, With: hub.Home.String()})
	if string(got) != string(want) || r.Tasks.Away == 0 {
		t.Errorf("with %d of %d tasks made by others the film has %d bytes, alone %d", r.Tasks.Away, r.Tasks.Run, len(got),
			len(want))
	}
	for _, d := range storedDifferences(t, alone, helped) {
		if !strings.HasPrefix(d, "probe ") { // which tells when its file was copied
			t.Error(d)
		}
	}
}
