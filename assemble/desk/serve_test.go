package desk

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net"
	"net/http"
	"net/http/cookiejar"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"ripieno/assemble/desk/audition"
	"ripieno/assemble/fault"
	"ripieno/assemble/progress"
)

// text is a manifest as a person writes it.
const text = `version: 1
title: The Lamplighter's Round   # a round
tempo: {changes: [{measure: 1, meter: 2/4, bpm: 120}], measures: 8}
sections: [{name: winds, gain: 0}]
takes:
  # the one with the window
  - name: oboe
    player: Mara Voss
    section: winds
    expected: true    # on Monday
  - {name: horn, player: Ilse Brandt, section: winds, expected: true, gain: 1} # loud
`

// nobody is the work of a desk that is asked for none.
type nobody struct {
	place func(ctx context.Context, report progress.Reporter) (*audition.Placing, error)
}

func (n nobody) Place(ctx context.Context, r progress.Reporter) (*audition.Placing, error) {
	if n.place == nil {
		return nil, errors.New("nothing can be placed here")
	}
	return n.place(ctx, r)
}
func (nobody) Strip(context.Context, *audition.Placing, string, float64) ([]byte, error) {
	return nil, audition.NoPicture{Take: "oboe"}
}
func (nobody) Mix(context.Context, progress.Reporter) (*audition.Mixing, error) {
	return nil, errors.New("nothing can be mixed here")
}
func (nobody) Look(context.Context, progress.Reporter) (*audition.Looking, error) {
	return nil, errors.New("nothing can be seen here")
}
func (nobody) Judge(context.Context, progress.Reporter) (*audition.Judging, error) {
	return nil, errors.New("nothing can be judged here")
}
func (nobody) Make(_ context.Context, what string, _ progress.Reporter) (string, error) {
	return "", errors.New("no " + what + " can be made here")
}
func (nobody) Measure(context.Context, progress.Reporter) (Measured, error) {
	return Measured{}, errors.New("nothing can be measured here")
}

// served is a desk that is being served, with a browser's part of the protocol.
type served struct {
	t       *testing.T
	address string // with the token
	base    string
	path    string // of the manifest
	tick    chan time.Time
	client  *http.Client
}

// serve serves a desk for a production of its own until the test ends.
func serve(t *testing.T, work Work) *served {
	t.Helper()
	dir := t.TempDir()
	s := &served{t: t, path: filepath.Join(dir, "production.yaml"), tick: make(chan time.Time)}
	if err := os.WriteFile(s.path, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	s.serveIn(dir, work)
	return s
}

// serveIn serves a desk for the production in dir.
func (s *served) serveIn(dir string, work Work) {
	s.t.Helper()
	ctx, stop := context.WithCancel(s.t.Context())
	ready, ended := make(chan string, 1), make(chan error, 1)
	go func() {
		ended <- Serve(ctx, Options{Dir: dir, Work: work, Tick: s.tick, Ready: func(a string) { ready <- a }})
	}()
	s.t.Cleanup(func() {
		stop()
		if err := <-ended; err != nil {
			s.t.Errorf("the desk ended with %v", err)
		}
	})
	select {
	case s.address = <-ready:
	case err := <-ended:
		s.t.Fatal(err)
	}
	s.base, _, _ = strings.Cut(s.address, "/?")
	jar, err := cookiejar.New(nil)
	if err != nil {
		s.t.Fatal(err)
	}
	s.client = &http.Client{Jar: jar}
}

// enter opens the address as a browser does.
func (s *served) enter() *served {
	s.t.Helper()
	resp, err := s.client.Get(s.address)
	if err != nil {
		s.t.Fatal(err)
	}
	resp.Body.Close()
	if resp.StatusCode != http.StatusOK || strings.Contains(resp.Request.URL.String(), "token") {
		s.t.Fatalf("entering gave %s at %s", resp.Status, resp.Request.URL)
	}
	return s
}

// request builds a request as the page makes it; change makes it another one.
func (s *served) request(method, path, body string, change func(*http.Request)) *http.Request {
	s.t.Helper()
	r, err := http.NewRequestWithContext(s.t.Context(), method, s.base+path, strings.NewReader(body))
	if err != nil {
		s.t.Fatal(err)
	}
	r.Header.Set("Sec-Fetch-Site", "same-origin")
	if method == http.MethodPost {
		r.Header.Set("Origin", s.base)
		r.Header.Set("Content-Type", "application/json")
	}
	if change != nil {
		change(r)
	}
	return r
}

// do sends a request and returns what comes back.
func (s *served) do(r *http.Request) (status int, body string) {
	s.t.Helper()
	resp, err := s.client.Do(r)
	if err != nil {
		s.t.Fatal(err)
	}
	defer resp.Body.Close()
	data, err := io.ReadAll(resp.Body)
	if err != nil {
		s.t.Fatal(err)
	}
	if csp := resp.Header.Get("Content-Security-Policy"); csp != policy {
		s.t.Errorf("%s %s has the policy %q", r.Method, r.URL.Path, csp)
	}
	return resp.StatusCode, string(data)
}

// post sends JSON as the page does.
func (s *served) post(path string, body any) (status int, answer state, raw string) {
	s.t.Helper()
	data, err := json.Marshal(body)
	if err != nil {
		s.t.Fatal(err)
	}
	status, raw = s.do(s.request(http.MethodPost, path, string(data), nil))
	if status < 300 {
		if err := json.Unmarshal([]byte(raw), &answer); err != nil {
			s.t.Fatal(err)
		}
	}
	return status, answer, raw
}

// state asks for the state.
func (s *served) state() (now state) {
	s.t.Helper()
	status, body := s.do(s.request(http.MethodGet, "/api/state", "", nil))
	if err := json.Unmarshal([]byte(body), &now); err != nil || status != http.StatusOK {
		s.t.Fatalf("the state is %d %q: %v", status, body, err)
	}
	return now
}

// manifest returns the file as it is.
func (s *served) manifest() string {
	s.t.Helper()
	data, err := os.ReadFile(s.path)
	if err != nil {
		s.t.Fatal(err)
	}
	return string(data)
}

// gain is a change as the page sends it.
func gain(of, take string, db any) map[string]any {
	return map[string]any{"version": of, "what": "gain of " + take,
		"changes": []any{map[string]any{"take": take, "keys": []string{"gain"}, "value": db}}}
}

// remarkText is what the page sends for a remark.
const remarkText = `{"add":{"at":1,"for":"horn","by":"Cora Lind","text":"softer"}}`

// TestOnlyTheOwnPageIsLetIn: what comes from other pages, by other names, without the
// cookie, as a form, or is too large, is refused and changes nothing.
func TestOnlyTheOwnPageIsLetIn(t *testing.T) {
	s := serve(t, nobody{}).enter()
	version := s.state().Version
	data, err := json.Marshal(gain(version, "horn", -3))
	if err != nil {
		t.Fatal(err)
	}
	good := string(data)
	set := func(key, value string) func(*http.Request) { return func(r *http.Request) { r.Header.Set(key, value) } }
	for _, c := range []struct {
		name, method, path, body string
		change                   func(*http.Request)
		want                     int
	}{
		{"another origin", "POST", "/api/change", good, set("Origin", "http://example.org"), 403},
		{"another port of this computer", "POST", "/api/change", good, set("Origin", "http://127.0.0.1:1"), 403},
		{"an origin that hides", "POST", "/api/change", good, set("Origin", "null"), 403},
		{"no origin", "POST", "/api/change", good, func(r *http.Request) { r.Header.Del("Origin") }, 403},
		{"another site by the browser's word", "POST", "/api/change", good, set("Sec-Fetch-Site", "cross-site"), 403},
		{"another port by the browser's word", "POST", "/api/change", good, set("Sec-Fetch-Site", "same-site"), 403},
		{"another page reads", "GET", "/api/state", "", set("Sec-Fetch-Site", "cross-site"), 403},
		{"another page's origin reads", "GET", "/api/state", "", set("Origin", "http://example.org"), 403},
		{"a picture in another page", "GET", "/api/strip/oboe?at=1", "", set("Sec-Fetch-Site", "cross-site"), 403},
		{"typed by hand", "GET", "/api/state", "", set("Sec-Fetch-Site", "none"), 403},
		{"a name that leads here", "GET", "/api/state", "", func(r *http.Request) { r.Host = "desk.example.org" }, 421},
		{"a name of this computer", "GET", "/", "", func(r *http.Request) { r.Host = "localhost" }, 421},
		{"another port as the host", "POST", "/api/change", good, func(r *http.Request) { r.Host = "127.0.0.1:1" },
			421},
		{"a form", "POST", "/api/change", good, set("Content-Type", "application/x-www-form-urlencoded"), 415},
		{"a form of text", "POST", "/api/change", good, set("Content-Type", "text/plain"), 415},
		{"a form with a file", "POST", "/api/change", good, set("Content-Type", "multipart/form-data; boundary=x"),
			415},
		{"nothing said of the body", "POST", "/api/change", good,
			func(r *http.Request) { r.Header.Del("Content-Type") }, 415},
		{"a large body", "POST", "/api/change", strings.Repeat(" ", mostBody+1), nil, 413},
		{"a large body of unknown length", "POST", "/api/change", strings.Repeat(" ", mostBody+1),
			func(r *http.Request) { r.ContentLength = -1 }, 413},
		{"no JSON", "POST", "/api/change", "gain=3", nil, 422},
		{"a field that is none", "POST", "/api/change", `{"version":"x","file":"/etc/passwd"}`, nil, 422},
		{"another method", "PUT", "/api/change", good, nil, 405},
		{"options", "OPTIONS", "/api/change", "", nil, 405},
		{"delete", "DELETE", "/api/state", "", nil, 405},
		{"no such verb", "POST", "/api/run", `{"verb":"clean"}`, nil, 422},
		{"no such sound", "GET", "/api/sound/..%2f..%2fproduction.yaml?from=0&frames=1", "", nil, 404},
		{"a sound by its path", "GET", "/api/sound/%2fetc%2fpasswd?from=0&frames=1", "", nil, 404},
		{"no frames", "GET", "/api/sound/abc", "", nil, 400},
		{"voices of no mix", "GET", "/api/voices/abc?from=0&frames=1", "", nil, 410},
		{"voices by a path", "GET", "/api/voices/..%2f..%2fproduction.yaml?from=0&frames=1", "", nil, 410},
		{"voices at no place", "GET", "/api/voices/abc?from=x&frames=1", "", nil, 400},
		{"another page asks for voices", "GET", "/api/voices/abc?from=0&frames=1", "",
			set("Sec-Fetch-Site", "cross-site"),
			403},
		{"a file of the page that is none", "GET", "/page/production.yaml", "", nil, 404},
		{"up from the page", "GET", "/page/..%2fgate.go", "", nil, 404},
		{"up from the page, twice", "GET", "/page/..%2f..%2fdesk.go", "", nil, 404},
		{"the manifest itself", "GET", "/production.yaml", "", nil, 404},
		{"the store", "GET", "/.ripieno/lock", "", nil, 404},
		{"a time that is none", "GET", "/api/strip/oboe?at=NaN", "", nil, 400},
		{"another page plays the film", "GET", "/api/film/rough", "", set("Sec-Fetch-Site", "cross-site"), 403},
		{"the film by another name", "GET", "/api/film/rough", "", func(r *http.Request) { r.Host = "localhost" }, 421},
		{"a film that is not delivered", "GET", "/api/film/secret", "", nil, 404},
		{"up from the films", "GET", "/api/film/..%2f..%2fproduction", "", nil, 404},
		{"a film by its path", "GET", "/api/film/%2fetc%2fpasswd", "", nil, 404},
		{"a film that is not made", "GET", "/api/film/rough", "", nil, 404},
		{"another origin says something", "POST", "/api/said", remarkText, set("Origin", "http://example.org"), 403},
		{"a form says something", "POST", "/api/said", "add=softer", set("Content-Type", "text/plain"), 415},
		{"too much is said", "POST", "/api/said", strings.Repeat(" ", mostBody+1), nil, 413},
		{"nothing is said", "POST", "/api/said", `{}`, nil, 422},
		{"a remark without words", "POST", "/api/said", `{"add":{"at":1,"text":" \u200b "}}`, nil, 422},
		{"a remark for nobody", "POST", "/api/said", `{"add":{"at":1,"for":"tuba","text":"x"}}`, nil, 422},
		{"a remark at no moment", "POST", "/api/said", `{"add":{"at":1e9,"text":"x"}}`, nil, 422},
		{"a remark with a file", "POST", "/api/said", `{"add":{"at":1,"text":"x"},"file":"/etc/passwd"}`, nil, 422},
		{"a remark that is none", "POST", "/api/said", `{"settle":"none"}`, nil, 409},
		{"an approval of no film", "POST", "/api/said", `{"approve":{"by":"x","film":"rough","sha256":"y"}}`, nil, 422},
		{"an approval of a path", "POST", "/api/said", `{"approve":{"by":"x","film":"../a","sha256":"` +
			strings.Repeat("0", 64) + `"}}`, nil, 422},
		{"a file of no remarks", "POST", "/api/said", `{"take":"<html>"}`, nil, 422},
		{"another page has films made", "POST", "/api/run", `{"verb":"render"}`, set("Sec-Fetch-Site", "cross-site"),
			403},
		{"a verb with words more", "POST", "/api/run", `{"verb":"render --out /"}`, nil, 422},
		{"takes that are not checked", "GET", "/api/judge", "", nil, 404},
	} {
		t.Run(c.name, func(t *testing.T) {
			status, body := s.do(s.request(c.method, c.path, c.body, c.change))
			if status != c.want {
				t.Errorf("it was answered with %d %q, want %d", status, body, c.want)
			}
			for _, secret := range []string{"root:", "version: 1", "package desk"} {
				if strings.Contains(body, secret) {
					t.Errorf("it was answered with %q", body)
				}
			}
		})
	}
	if got := s.manifest(); got != text {
		t.Errorf("the manifest became\n%s", got)
	}
	if _, err := os.Stat(filepath.Join(filepath.Dir(s.path), "remarks.yaml")); err == nil {
		t.Error("something was said after all")
	}
	if status, raw := s.do(s.request("POST", "/api/said", remarkText, nil)); status != http.StatusOK {
		t.Errorf("the page itself may say nothing: %d %s", status, raw) // or the table would prove nothing
	}
	if status, _, raw := s.post("/api/change", gain(version, "horn", -3)); status != http.StatusOK {
		t.Errorf("the page itself was refused: %d %s", status, raw) // or the table would prove nothing
	}
}

// TestTheTokenWorksOnce: without the cookie nothing is served, the token gives it to
// one browser, and an old one to nobody.
func TestTheTokenWorksOnce(t *testing.T) {
	s := serve(t, nobody{})
	for _, path := range []string{"/", "/api/state", "/page/desk.css", "/api/events", "/?token=", "/?token=00"} {
		r := s.request(http.MethodGet, path, "", nil)
		if status, body := s.do(r); status != http.StatusUnauthorized && status != http.StatusForbidden {
			t.Errorf("%s without the cookie: %d %q", path, status, body)
		}
	}
	s.enter()
	if s.state().Title != "The Lamplighter's Round" {
		t.Error("the browser that came in does not see the production")
	}
	for name, key := range map[string]string{"a cookie of another desk": strings.Repeat("0", 64), "an empty one": ""} {
		r := s.request(http.MethodGet, "/api/state", "", nil)
		_, port, _ := net.SplitHostPort(r.Host)
		r.AddCookie(&http.Cookie{Name: "ripieno-desk-" + port, Value: key})
		other := &served{t: t, base: s.base, client: &http.Client{}}
		if status, body := other.do(r); status != http.StatusUnauthorized {
			t.Errorf("%s: %d %q", name, status, body)
		}
	}
	// The address again: the browser that is in stays in, and no other comes in.
	s.enter()
	other := &http.Client{}
	resp, err := other.Get(s.address)
	if err != nil {
		t.Fatal(err)
	}
	resp.Body.Close()
	if resp.StatusCode != http.StatusForbidden || len(resp.Cookies()) > 0 {
		t.Errorf("the token worked again: %s, %v", resp.Status, resp.Cookies())
	}
}

// TestTheCookieIsTheBrowsersOwn: no script reads it and no other site sends it.
func TestTheCookieIsTheBrowsersOwn(t *testing.T) {
	s := serve(t, nobody{})
	client := &http.Client{CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }}
	resp, err := client.Get(s.address)
	if err != nil {
		t.Fatal(err)
	}
	resp.Body.Close()
	cookies := resp.Cookies()
	if len(cookies) != 1 || !cookies[0].HttpOnly || cookies[0].SameSite != http.SameSiteStrictMode ||
		cookies[0].Domain != "" || resp.Header.Get("Location") != "/" {
		t.Errorf("got %v and a way to %q", cookies, resp.Header.Get("Location"))
	}
}

// TestTheDeskIsForThisComputer: no address is listened on that others reach.
func TestTheDeskIsForThisComputer(t *testing.T) {
	for _, address := range []string{"0.0.0.0:0", ":0", "192.168.0.1:0", "[::]:0", "localhost:0", "example.org:80",
		"127.0.0.1", "unix:/tmp/x"} {
		err := Serve(t.Context(), Options{Dir: t.TempDir(), Listen: address})
		if fault.KindOf(err) != fault.Manifest || !strings.Contains(fmt.Sprint(err), "this computer alone") {
			t.Errorf("%s: %v", address, err)
		}
	}
}
