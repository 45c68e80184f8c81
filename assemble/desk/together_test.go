package desk

import (
	"fmt"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"ripieno/assemble/manifest"
	"ripieno/assemble/production"
	"ripieno/assemble/remark"
	"ripieno/assemble/remark/kept"
	"ripieno/assemble/session"
)

// TestDesksAWatchAndRemarksAtOnce: two desks give gains and say something, a watch takes
// late takes in, and what a conductor has sent is brought in by the command line, all at
// once and as fast as they can; of none of it is anything lost, and no other byte of the
// manifest changes.
func TestDesksAWatchAndRemarksAtOnce(t *testing.T) {
	const times = 6
	late := ""
	for i := range times {
		late += fmt.Sprintf("  - {name: late-%d, expected: true} # %d\n", i, i)
	}
	one := serve(t, nobody{}).enter()
	dir := filepath.Dir(one.path)
	if err := os.WriteFile(one.path, []byte(text+late), 0o600); err != nil {
		t.Fatal(err)
	}
	two := &served{t: t, path: one.path, tick: make(chan time.Time)}
	two.serveIn(dir, nobody{})
	two.enter()

	var all sync.WaitGroup
	for take, s := range map[string]*served{"oboe": one, "horn": two} {
		all.Go(func() {
			for i := 1; i <= times; {
				switch status, _, raw := s.post("/api/change", gain(s.state().Version, take, -float64(i))); status {
				case http.StatusOK:
					i++
				case http.StatusConflict: // somebody else was quicker
				default:
					t.Errorf("%s: %d %s", take, status, raw)
					return
				}
			}
		})
		all.Go(func() {
			for i := range times {
				body := fmt.Sprintf(`{"add":{"at":%d,"for":%q,"text":"%d"}}`, i, take, i)
				if status, raw := s.do(s.request("POST", "/api/said", body, nil)); status != http.StatusOK {
					t.Errorf("%s says: %d %s", take, status, raw)
				}
			}
		})
	}
	man := &production.Production{Dir: dir, Path: one.path}
	all.Go(func() { // as watch --adopt does
		for i := range times {
			a := manifest.Arrival{Take: fmt.Sprintf("late-%d", i), Role: production.Audio,
				Path: fmt.Sprintf("intake/late-%d.wav", i)}
			err := session.ChangeManifest(t.Context(), man, func(data []byte) ([]byte, error) {
				adopted, err := manifest.Adopt(data, man, a)
				return adopted.Data, err
			})
			if err != nil {
				t.Error(err)
			}
		}
	})
	all.Go(func() { // as remarks --take does
		for i := range times {
			err := kept.Change(t.Context(), dir, func(b *remark.Book) error {
				b.Add(remark.Remark{At: float64(i), By: "Cora Lind", Text: "from afar"}.Named())
				return nil
			})
			if err != nil {
				t.Error(err)
			}
		}
	})
	all.Wait()

	want := strings.Replace(replaced(t, "gain: 1}", "gain: -6}"), "true    # on Monday\n",
		"true    # on Monday\n    gain: -6\n", 1)
	for i := range times {
		want += fmt.Sprintf("  - {name: late-%d, audio: {file: intake/late-%d.wav}} # %d\n", i, i, i)
	}
	if got := one.manifest(); got != want {
		t.Errorf("the manifest became\n%s\nwant\n%s", got, want)
	}
	book, err := kept.Load(dir)
	if err != nil {
		t.Fatal(err)
	}
	if list := book.Beside(mustParse(t, one.path).Tempo, remark.All); len(list) != 3*times {
		t.Errorf("%d remarks of %d are kept", len(list), 3*times)
	}
}

// mustParse reads a manifest.
func mustParse(t *testing.T, path string) *production.Production {
	t.Helper()
	man, err := manifest.Load(filepath.Dir(path))
	if err != nil {
		t.Fatal(err)
	}
	return man
}
