package desk

import (
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"ripieno/assemble/remark"
)

// film puts a film among the outputs and returns its hash.
func (s *served) film(name, data string) string {
	s.t.Helper()
	out := filepath.Join(filepath.Dir(s.path), "out")
	if err := os.MkdirAll(out, 0o777); err != nil {
		s.t.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(out, name), []byte(data), 0o666); err != nil {
		s.t.Fatal(err)
	}
	sum := sha256.Sum256([]byte(data))
	return hex.EncodeToString(sum[:])
}

// say sends what is said and returns the room of the review.
func (s *served) say(body any) reviewed {
	s.t.Helper()
	data, err := json.Marshal(body)
	if err != nil {
		s.t.Fatal(err)
	}
	if status, raw := s.do(s.request("POST", "/api/said", string(data), nil)); status != http.StatusOK {
		s.t.Fatalf("%s was answered with %d %s", data, status, raw)
	}
	var r reviewed
	status, raw := s.do(s.request("GET", "/api/review", "", nil))
	if err := json.Unmarshal([]byte(raw), &r); err != nil || status != http.StatusOK {
		s.t.Fatalf("the review is %d %q: %v", status, raw, err)
	}
	return r
}

// object is a value of JSON.
type object = map[string]any

// TestTheFilmInParts: any part of a film is served, of the film that the page knows, and
// nothing of another one.
func TestTheFilmInParts(t *testing.T) {
	s := serve(t, nobody{}).enter()
	hash := s.film("rough.mp4", "0123456789")
	for _, c := range []struct {
		ask, want string
		status    int
	}{{"", "0123456789", 200}, {"bytes=2-4", "234", 206}, {"bytes=7-", "789", 206}, {"bytes=-2", "89", 206},
		{"bytes=20-", "", 416}} {
		status, body := s.do(s.request("GET", "/api/film/rough?v="+hash, "", func(r *http.Request) {
			if c.ask != "" {
				r.Header.Set("Range", c.ask)
			}
		}))
		if status != c.status || c.status < 400 && body != c.want {
			t.Errorf("%q: %d %q", c.ask, status, body)
		}
	}
	s.film("rough.mp4", "9876543210x")
	if status, body := s.do(s.request("GET", "/api/film/rough?v="+hash, "", nil)); status != http.StatusGone {
		t.Errorf("of another film: %d %q", status, body)
	}
	out := filepath.Join(filepath.Dir(s.path), "out")
	if err := os.Symlink(s.path, filepath.Join(out, "final.mp4")); err == nil {
		if status, body := s.do(s.request("GET", "/api/film/final", "", nil)); status != http.StatusNotFound {
			t.Errorf("through a link: %d %q", status, body)
		}
	}
}

// TestSaying: what is said is kept beside the manifest and never in it, settles and goes
// by its ID, and an approval is of the film's bytes.
func TestSaying(t *testing.T) {
	s := serve(t, nobody{}).enter()
	hash := s.film("rough.mp4", "a film")
	first := s.state()
	r := s.say(object{"add": object{"at": 1.5, "for": "horn", "by": " Cora\nLind", "text": "late <i>?</i>",
		"of": hash}})
	if len(r.Remarks) != 1 || r.Remarks[0].By != "Cora Lind" || r.Remarks[0].Text != "late <i>?</i>" ||
		r.Remarks[0].Older ||
		len(r.Films) != 1 || r.Films[0].Hash != hash || len(r.People) != 2 {
		t.Fatalf("the room shows %+v", r)
	}
	if now := s.state(); now.Remarks == first.Remarks || now.Version != first.Version || now.Serial <= first.Serial {
		t.Errorf("the versions were %+v and are %+v", first, now)
	}
	id := r.Remarks[0].ID
	if r = s.say(object{"settle": id}); !r.Remarks[0].Settled {
		t.Error("it is not settled")
	}
	if r = s.say(object{"reopen": id}); r.Remarks[0].Settled {
		t.Error("it is not open again")
	}
	approval := object{"by": "Cora Lind", "film": "rough", "sha256": hash}
	if r = s.say(object{"approve": approval}); len(r.Approvals) != 1 || !r.Approvals[0].Current {
		t.Errorf("approvals are %+v", r.Approvals)
	}
	s.film("rough.mp4", "another film")
	back := fmt.Sprintf(
		`{"ripieno_remarks":1,"film":"rough","sha256":%q,"by":"Ada Holm","remarks":[{"at":2,"text":"all"}]}`, hash)
	r = s.say(object{"take": back})
	if len(r.Remarks) != 2 || !r.Remarks[0].Older || !r.Remarks[1].Older || r.Approvals[0].Current {
		t.Errorf("with another film the room shows %+v", r)
	}
	if r = s.say(object{"remove": id}); len(r.Remarks) != 1 || r.Remarks[0].By != "Ada Holm" {
		t.Errorf("after removing there is %+v", r.Remarks)
	}
	if r = s.say(object{"withdraw": approval}); len(r.Approvals) != 0 {
		t.Errorf("after withdrawing there is %+v", r.Approvals)
	}
	if got := s.manifest(); got != text {
		t.Errorf("the manifest became\n%s", got)
	}
}

// TestPagesHearOfRemarks: what another program writes into the remarks, and another film,
// are seen in the state that pages are told.
func TestPagesHearOfRemarks(t *testing.T) {
	s := serve(t, nobody{}).enter()
	s.tick <- time.Now() // the first look
	for what, change := range map[string]func(){
		"remarks": func() {
			line := "version: 1\nremarks:\n  - {\"at\": 1, \"text\": \"by hand\"}\n"
			if err := os.WriteFile(filepath.Join(filepath.Dir(s.path), remark.FileName), []byte(line),
				0o666); err != nil {
				t.Error(err)
			}
		},
		"a film": func() { s.film("rough.mp4", "a film") },
	} {
		before := s.state()
		change()
		s.tick <- time.Now()
		s.tick <- time.Now() // the look before has ended
		now := s.state()
		if before.Remarks == now.Remarks && before.Films == now.Films {
			t.Errorf("%s: the page sees nothing", what)
		}
	}
}

// TestTwoDesksAndAHand: two desks and somebody at the command line, who all say
// something at once, lose nothing.
func TestTwoDesksAndAHand(t *testing.T) {
	one := serve(t, nobody{}).enter()
	two := &served{t: t, path: one.path, tick: make(chan time.Time)}
	two.serveIn(filepath.Dir(one.path), nobody{})
	two.enter()
	var all sync.WaitGroup
	for i, s := range []*served{one, two, one, two} {
		all.Go(func() {
			for k := range 5 {
				body := fmt.Sprintf(`{"add":{"at":%d,"text":"%d of %d"}}`, k, k, i)
				if status, raw := s.do(s.request("POST", "/api/said", body, nil)); status != http.StatusOK {
					t.Errorf("%d %s", status, raw)
				}
			}
		})
	}
	all.Wait()
	data, err := os.ReadFile(filepath.Join(filepath.Dir(one.path), remark.FileName))
	if n := strings.Count(string(data), `"text"`); err != nil || n != 20 {
		t.Errorf("%d remarks of 20, %v", n, err)
	}
}

// TestTheWayOfVerbs: only verbs of a list run, what one made is told, and one that was
// cancelled says so.
func TestTheWayOfVerbs(t *testing.T) {
	w := &maker{began: make(chan string, 1), asked: make(chan bool)}
	s := serve(t, w).enter()
	for _, what := range []string{Rough, Render, Handout} {
		if status, _, raw := s.post("/api/run", object{"verb": what}); status != http.StatusAccepted {
			t.Fatalf("%s: %d %s", what, status, raw)
		}
		if got := <-w.began; got != what {
			t.Errorf("%s ran %s", what, got)
		}
		if status, _, _ := s.post("/api/run", object{"verb": "place"}); status != http.StatusConflict {
			t.Errorf("a second verb ran beside %s: %d", what, status)
		}
		w.asked <- true
		s.ended(what, func(j *jobState) bool { return j.Problem == nil && j.Message == "made "+what+".mp4" })
	}
	s.post("/api/run", object{"verb": Rough})
	<-w.began
	s.post("/api/cancel", object{})
	s.ended("a cancelled one", func(j *jobState) bool { return strings.HasPrefix(j.Message, "cancelled") })
}

// ended waits until no verb runs, and checks how the last one ended.
func (s *served) ended(what string, is func(*jobState) bool) {
	s.t.Helper()
	for range 1000 {
		if j := s.state().Job; j != nil && !j.Running {
			if !is(j) {
				s.t.Errorf("%s ended as %+v", what, j)
			}
			return
		}
		time.Sleep(5 * time.Millisecond)
	}
	s.t.Fatalf("%s never ended", what)
}
