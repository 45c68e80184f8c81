package desk

import (
	"crypto/sha256"
	"crypto/subtle"
	"fmt"
	"mime"
	"net"
	"net/http"
	"strconv"
	"sync"
)

// gate lets one browser in and keeps everything else out: other pages in the same
// browser, names that were made to lead here, programs that do not know the token.
type gate struct {
	host   string // address and port, as the browser has to write them
	cookie string // its name; ports share cookies, so the port is in it
	secret [sha256.Size]byte

	mu    sync.Mutex
	token [sha256.Size]byte
	spent bool   // the token has let somebody in
	key   string // what the cookie holds
}

// newGate returns a gate and the token that opens it once.
func newGate(host string) (*gate, string, error) {
	_, port, err := net.SplitHostPort(host)
	if err != nil {
		return nil, "", err
	}
	token, err := newSecret()
	if err != nil {
		return nil, "", err
	}
	key, err := newSecret()
	if err != nil {
		return nil, "", err
	}
	return &gate{host: host, cookie: "ripieno-desk-" + port, key: key, secret: sha256.Sum256([]byte(key)),
		token: sha256.Sum256([]byte(token))}, token, nil
}

// mostBody is the largest body of a request, in bytes: a change is a few hundred.
const mostBody = 64 << 10

// policy is what the page may do: nothing but use its own files and ask this desk.
const policy = "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self'; connect-src 'self'; " +
	"media-src 'self'; " +
	"base-uri 'none'; form-action 'none'; frame-ancestors 'none'"

// guard wraps the desk. Whatever is refused is refused before the desk sees it.
func (g *gate) guard(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		h := w.Header()
		h.Set("Content-Security-Policy", policy)
		h.Set("X-Content-Type-Options", "nosniff")
		h.Set("X-Frame-Options", "DENY")
		h.Set("Referrer-Policy", "no-referrer")
		h.Set("Cross-Origin-Opener-Policy", "same-origin")
		h.Set("Cross-Origin-Resource-Policy", "same-origin")
		h.Set("Cache-Control", "no-store")
		if status, why := g.refuse(r); status != 0 {
			http.Error(w, why, status)
			return
		}
		if token := r.URL.Query().Get("token"); token != "" && r.URL.Path == "/" && r.Method == http.MethodGet {
			g.exchange(w, r, token)
			return
		}
		if !g.knows(r) {
			http.Error(w, "Open the address that ripieno desk has printed. It works once; the browser "+
				"that has used it "+
				"stays in until the desk is closed.", http.StatusUnauthorized)
			return
		}
		r.Body = http.MaxBytesReader(w, r.Body, mostBody)
		next.ServeHTTP(w, r)
	})
}

// refuse says what is wrong with a request whoever sends it; 0 for nothing.
func (g *gate) refuse(r *http.Request) (status int, why string) {
	own := "http://" + g.host
	write := r.Method == http.MethodPost
	switch site := r.Header.Get("Sec-Fetch-Site"); {
	case r.Host != g.host: // a name that leads here is somebody else's (rebinding)
		return http.StatusMisdirectedRequest, "this desk has another address"
	case !write && r.Method != http.MethodGet:
		return http.StatusMethodNotAllowed, "only GET and POST are understood"
	case site != "" && site != "same-origin" && !(site == "none" && r.URL.Path == "/" && !write):
		return http.StatusForbidden, "another page may not ask the desk"
	case r.Header.Get("Origin") != own && (write || r.Header.Get("Origin") != ""):
		return http.StatusForbidden, "another page may not ask the desk"
	case write && !isJSON(r):
		return http.StatusUnsupportedMediaType, "a form may not ask the desk"
	case r.ContentLength > mostBody:
		return http.StatusRequestEntityTooLarge, "the request is too large"
	}
	return 0, ""
}

// isJSON reports whether a request says that it holds JSON, which no form of another
// page can say without asking first.
func isJSON(r *http.Request) bool {
	kind, _, err := mime.ParseMediaType(r.Header.Get("Content-Type"))
	return err == nil && kind == "application/json"
}

// exchange gives a browser its cookie for the token, once, and takes the token out
// of its address.
func (g *gate) exchange(w http.ResponseWriter, r *http.Request, token string) {
	sum := sha256.Sum256([]byte(token))
	g.mu.Lock()
	ok := !g.spent && subtle.ConstantTimeCompare(sum[:], g.token[:]) == 1
	g.spent = g.spent || ok
	g.mu.Unlock()
	if !ok && !g.knows(r) {
		http.Error(w, "This address has been used, or is of a desk that is closed. Run ripieno desk again.",
			http.StatusForbidden)
		return
	}
	if ok {
		http.SetCookie(w, &http.Cookie{Name: g.cookie, Value: g.key, Path: "/", HttpOnly: true,
			SameSite: http.SameSiteStrictMode})
	}
	http.Redirect(w, r, "/", http.StatusSeeOther)
}

// knows reports whether a request has the cookie.
func (g *gate) knows(r *http.Request) bool {
	c, err := r.Cookie(g.cookie)
	if err != nil {
		return false
	}
	sum := sha256.Sum256([]byte(c.Value))
	return subtle.ConstantTimeCompare(sum[:], g.secret[:]) == 1
}

// quoted returns a text of the person's in quotes.
func quoted(s string) string { return strconv.Quote(s) }

// String says where the desk is, without its secrets.
func (g *gate) String() string { return fmt.Sprintf("the desk at %s", g.host) }
