package assemble

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"ripieno/assemble/fault"
	"ripieno/assemble/progress"
	"ripieno/assemble/session"
	"ripieno/assemble/store"
)

// stageWatcher is a reporter that does something when the first work of a stage
// starts.
type stageWatcher struct {
	progress.Reporter
	stage string
	do    func()
	seen  map[string]bool
}

type watchedStage struct {
	progress.Work
	stage string
	w     *stageWatcher
}

// Add implements [progress.Reporter].
func (w *stageWatcher) Add(stage, name string, cost float64) progress.Work {
	return watchedStage{w.Reporter.Add(stage, name, cost), stage, w}
}

// Start implements [progress.Work]. One loop calls it, so nothing is locked.
func (x watchedStage) Start() {
	x.Work.Start()
	if !x.w.seen[x.stage] {
		x.w.seen[x.stage] = true
		if x.stage == x.w.stage {
			x.w.do()
		}
	}
}

// TestADeletedStoreIsNoTakesFault deletes the store, and in another run what is
// in it, at the beginning of a stage: the run ends with a fault of its own and
// blames no take, and the next gives the film that it would have been.
func TestADeletedStoreIsNoTakesFault(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	if err := os.Mkdir(filepath.Join(dir, "intake"), 0o777); err != nil {
		t.Fatal(err)
	}
	smallProduction(t, dir)
	quiet := progress.New(nil, progress.Quiet)
	whole := t.TempDir()
	want, _ := smallRendered(t, whole) // without faults
	for _, c := range []struct {
		stage   string
		emptied bool
	}{{"decode", false}, {"conform", false}, {"compose", true}} {
		at := copyProduction(t, dir)
		room := filepath.Join(at, session.StoreFolder)
		w := &stageWatcher{Reporter: quiet, seen: map[string]bool{}, stage: c.stage, do: func() {
			list, err := []string{room}, error(nil)
			if c.emptied {
				list, err = filepath.Glob(filepath.Join(room, "??"))
			}
			for _, dir := range list {
				err = errors.Join(err, os.RemoveAll(dir))
			}
			if err != nil {
				t.Error(err)
			}
		}}
		p := openWith(t, Settings{Dir: at, Report: w, Workers: 1})
		r, err := p.Render(t.Context(), RenderOptions{})
		p.Close()
		if !store.IsLost(err) || fault.KindOf(err) != fault.Failed {
			t.Errorf("%+v: %v, faults %+v", c, err, r.Faults)
		}
		if c.stage == "decode" {
			continue
		}
		if got, r := renderIn(t, at, Settings{}); string(got) != string(want) || len(r.Faults) > 0 {
			t.Errorf("%+v: the next run makes another film, with faults %+v; it stored\n%s", c, r.Faults,
				strings.Join(storedDifferences(t, whole, at), "\n"))
		}
	}
}

// storedDifferences lists what the stores of two productions hold differently, so
// that two films that should be equal tell which task made them differ.
func storedDifferences(t *testing.T, a, b string) []string {
	t.Helper()
	in := [2]map[string]string{{}, {}} // rule, subject and key -> hashes of the files
	for side, dir := range []string{a, b} {
		paths, err := filepath.Glob(filepath.Join(dir, session.StoreFolder, "??", "*.entry"))
		if err != nil {
			t.Fatal(err)
		}
		for _, path := range paths {
			data, err := os.ReadFile(path)
			if err != nil {
				t.Fatal(err)
			}
			_, body, _ := bytes.Cut(data, []byte("\n")) // after the line with the checksum
			var e struct {
				ID, Rule, Subject string
				Files             []struct{ Hash string }
			}
			if err := json.Unmarshal(body, &e); err != nil {
				t.Fatal(path, err)
			}
			in[side][e.Rule+" "+e.Subject+" "+e.ID] = fmt.Sprint(e.Files)
		}
	}
	var out []string
	for key, files := range in[0] {
		if other, ok := in[1][key]; !ok {
			out = append(out, key+": in the first only")
		} else if other != files {
			out = append(out, key+": of other bytes")
		}
	}
	for key := range in[1] {
		if _, ok := in[0][key]; !ok {
			out = append(out, key+": in the second only")
		}
	}
	slices.Sort(out)
	return out
}
