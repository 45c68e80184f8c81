package assemble

import (
	"context"
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"sync"
	"testing"

	"ripieno/assemble/elsewhere"
	"ripieno/assemble/farm"
	"ripieno/assemble/store"
	"ripieno/assemble/task"
)

// stranger makes tasks as another machine does: by the rule's name, arguments that have
// been text in between, and copies of the files under names that say nothing.
type stranger struct {
	t     *testing.T
	rules map[string]farm.Rule
	temp  string

	mu    sync.Mutex
	made  map[string]int  // by rule
	given map[string]bool // hashes of files that it got from elsewhere than the store
	all   string          // all arguments
}

func (s *stranger) Room() int                           { return 8 }
func (s *stranger) Cores() int                          { return 8 }
func (s *stranger) Space() int64                        { return 0 }
func (s *stranger) Doubts(task.Parcel) bool             { return false }
func (s *stranger) Differs(task.Parcel, []byte, []byte) {}

func (s *stranger) Make(ctx context.Context, p task.Parcel, dst string) error {
	args, err := json.Marshal(p.Args)
	if err != nil {
		return err
	}
	dir, err := os.MkdirTemp(s.temp, "order-")
	if err != nil {
		return err
	}
	var in []string
	for k, path := range p.Paths {
		data, err := os.ReadFile(path)
		if err != nil {
			return err
		}
		in = append(in, filepath.Join(dir, "in-"+strconv.Itoa(k)+p.Inputs[k].Ext))
		if err := os.WriteFile(in[k], data, 0o600); err != nil {
			return err
		}
		s.mu.Lock()
		s.given[store.HashBytes(data).String()] = true
		s.mu.Unlock()
	}
	s.mu.Lock()
	s.made[p.Rule]++
	s.all += string(args) + "\n"
	s.mu.Unlock()
	return s.rules[p.Rule](ctx, args, in, dst)
}

// TestOthersMakeTheSameOfWhatTheyMayHave makes a rough cut alone, and one of which a
// stranger makes what can be made elsewhere: the same film and the same store. Files whose
// pictures are not released stay here, and what the stranger is told names neither a
// player nor a folder.
func TestOthersMakeTheSameOfWhatTheyMayHave(t *testing.T) {
	t.Parallel()
	tool, dir := findTool(t), t.TempDir()
	lines := ""
	for id, release := range []string{"yes", "no", "audio-only", "yes"} {
		name := fmt.Sprintf("take%d.mp4", id)
		smallTake(name, id+1).write(t, tool, dir)
		lines += fmt.Sprintf("  - {name: take%d, player: Mara Voss, video: {file: intake/%s, offset: %g}, release: %s}\n", id,
			name, 0.1*float64(id), release)
	}
	text := fmt.Sprintf(watchManifest, lines) + "shots: [{from: start, show: tutti}, {from: m2, show: solo, take: take0}]\n"
	if err := os.WriteFile(filepath.Join(dir, "production.yaml"), []byte(text), 0o666); err != nil {
		t.Fatal(err)
	}
	render := func(dir string, s *stranger) string {
		p := openWith(t, Settings{Dir: dir, Workers: 1})
		defer p.Close()
		if s != nil {
			p = &Production{p.Session.Borrowing(s)}
		}
		r, err := p.Render(t.Context(), RenderOptions{Rough: true})
		if err != nil {
			t.Fatal(err)
		}
		data, err := os.ReadFile(r.Output)
		if err != nil {
			t.Fatal(err)
		}
		return string(data)
	}
	helped := copyProduction(t, dir)
	s := &stranger{t: t, rules: elsewhere.Rules(tool), temp: t.TempDir(), made: map[string]int{}, given: map[string]bool{}}
	if render(dir, nil) != render(helped, s) {
		t.Error("the films differ")
	}
	for _, d := range storedDifferences(t, dir, helped) {
		if !strings.HasPrefix(d, "probe ") { // which tells when its file was copied
			t.Error(d)
		}
	}
	for _, rule := range []string{"see", "features", "conform", "segment"} {
		if s.made[rule] == 0 {
			t.Errorf("no %s was made elsewhere: %v", rule, s.made)
		}
	}
	for id, want := range []bool{true, false, false, true} {
		data, err := os.ReadFile(filepath.Join(dir, "intake", fmt.Sprintf("take%d.mp4", id)))
		if err != nil {
			t.Fatal(err)
		}
		if got := s.given[store.HashBytes(data).String()]; got != want {
			t.Errorf("take%d was given away: %v", id, got)
		}
	}
	for _, word := range []string{"Mara", "Voss", "intake", "production", dir, helped, os.TempDir()} {
		if at := strings.Index(s.all, word); at >= 0 {
			t.Errorf("the stranger is told %q: …%.200s", word, s.all[max(0, at-80):])
		}
	}
}
