// Package desk serves one page on this computer, by which a person hears, sees and
// decides what the program can only ask: where a take lies, how loud it is. The page
// writes nothing but what one would write into production.yaml by hand.
//
// [Serve] is the whole of it: it listens on the loopback interface alone, lets in
// whoever has the token that it prints, and ends with its context. What is to be
// heard and seen comes from [Work], which package assemble does; every change goes
// through [manifest.Apply] and [manifest.Pin] under the lock that all changes of a
// manifest take. README.md says who is kept out and how.
//
// This is the only package that opens a connection.
package desk

import (
	"context"
	"crypto/rand"
	"encoding/hex"
	"errors"
	"net"
	"net/http"
	"time"

	"ripieno/assemble/desk/audition"
	"ripieno/assemble/fault"
	"ripieno/assemble/progress"
)

// Work is what the desk has the program do. One call runs at a time, and each ends
// soon after its context does.
type Work interface {
	// Place finds out where all takes lie.
	Place(ctx context.Context, report progress.Reporter) (*audition.Placing, error)
	// Strip returns a JPEG of stills of a take round a time of its picture's file.
	Strip(ctx context.Context, p *audition.Placing, take string, at float64) ([]byte, error)
	// Look plans the picture and takes a still of everybody.
	Look(ctx context.Context, report progress.Reporter) (*audition.Looking, error)
	// Mix makes what the mix is added up from.
	Mix(ctx context.Context, report progress.Reporter) (*audition.Mixing, error)
	// Judge looks at and listens to every take.
	Judge(ctx context.Context, report progress.Reporter) (*audition.Judging, error)
	// Make makes one of [Rough], [Render] and [Handout], and returns the file. An error
	// beside a file tells what is missing from it.
	Make(ctx context.Context, what string, report progress.Reporter) (file string, err error)
	// Measure makes the finished sound and measures it.
	Measure(ctx context.Context, report progress.Reporter) (Measured, error)
}

// What the desk can have made.
const (
	Rough   = "rough"  // the rough cut
	Render  = "render" // the finished films
	Handout = "review" // the page for a conductor
)

// Measured is what the finished sound measures.
type Measured struct {
	Loudness *float64 `json:"integrated_lufs"` // null for silence
	TruePeak *float64 `json:"true_peak_dbtp"`
	Gain     float64  `json:"gain_db"` // that mastering gave the sum
}

// Options set up a desk.
type Options struct {
	Dir    string // the production's folder
	Out    string // that of its outputs; "" is the usual one
	Listen string // "" is any free port of 127.0.0.1
	Work   Work
	// Tick tells when to see whether the manifest was changed by somebody else.
	Tick <-chan time.Time
	// Ready is told the address that lets one browser in.
	Ready func(address string)
}

// Serve serves the desk until the context ends, which is no error.
func Serve(ctx context.Context, o Options) error {
	listener, err := listen(ctx, o.Listen)
	if err != nil {
		return err
	}
	host := listener.Addr().String()
	g, token, err := newGate(host)
	if err != nil {
		return err
	}
	ctx, stop := context.WithCancel(ctx)
	defer stop()
	d, err := newDesk(ctx, o)
	if err != nil {
		listener.Close()
		return err
	}
	server := &http.Server{
		Handler: g.guard(d.routes()), ReadHeaderTimeout: 10 * time.Second, MaxHeaderBytes: 16 << 10,
		BaseContext: func(net.Listener) context.Context { return ctx },
	}
	ended := make(chan struct{})
	go func() {
		defer close(ended)
		d.watch(ctx, o.Tick)
		server.Close()
	}()
	o.Ready("http://" + host + "/?token=" + token)
	err = server.Serve(listener)
	stop()
	<-ended
	d.jobs.wait()
	if errors.Is(err, http.ErrServerClosed) {
		return nil
	}
	return err
}

// listen opens the port; an address that others could reach is refused.
func listen(ctx context.Context, address string) (net.Listener, error) {
	if address == "" {
		address = "127.0.0.1:0"
	}
	host, _, err := net.SplitHostPort(address)
	if ip := net.ParseIP(host); err != nil || ip == nil || !ip.IsLoopback() {
		return nil, fault.New(fault.Manifest, "--listen", "the desk is for this computer alone, not for "+
			quoted(address), "use --listen 127.0.0.1:0, or another port of 127.0.0.1")
	}
	var config net.ListenConfig
	listener, err := config.Listen(ctx, "tcp", address)
	if err != nil {
		return nil, fault.New(fault.Failed, address, "nothing can be served there",
			"choose another port with --listen").
			Because(err)
	}
	return listener, nil
}

// newSecret returns a number that nobody can guess, as text.
func newSecret() (string, error) {
	b := make([]byte, 32)
	if _, err := rand.Read(b); err != nil {
		return "", err
	}
	return hex.EncodeToString(b), nil
}
