// Package elsewhere joins the rules by which pictures are made to the farm on which
// other machines make them: it says what class of machine this is, works for somebody
// else's production, and finds workers for one's own.
//
// [Class] tries this machine out, [Work] lends it, [Join] borrows others.
package elsewhere

import (
	"context"
	"crypto/rand"
	"fmt"
	"os"
	"path/filepath"
	"runtime"
	"runtime/debug"
	"strconv"
	"strings"
	"time"

	"ripieno/assemble/farm"
	"ripieno/assemble/fault"
	"ripieno/assemble/ffmpeg"
	"ripieno/assemble/graph"
	"ripieno/assemble/picture"
)

// checked is the share of results that are made again at home.
const checked = 0.01

// Class returns what kind of machine this is: it makes a trial film, which takes about a
// second. It fails when ctx ends, or when this ffmpeg makes no film at all.
func Class(ctx context.Context, tool *ffmpeg.Tool) (farm.Class, error) {
	trial, err := picture.Trial(ctx, tool)
	if err != nil {
		return farm.Class{}, err
	}
	return farm.Class{
		Rules: "graph " + strconv.Itoa(graph.Rule), FFmpeg: tool.Version.Text, Arch: arch(), Trial: trial,
	}, nil
}

// arch returns the processor that the program was built for. Floats of Go differ
// between levels of one architecture.
func arch() string {
	name := runtime.GOARCH
	if info, ok := debug.ReadBuildInfo(); ok {
		for _, s := range info.Settings {
			if s.Key == "GO"+strings.ToUpper(runtime.GOARCH) {
				name += " " + s.Value
			}
		}
	}
	return name
}

// parse reads an invitation that a flag has.
func parse(flag, text string) (farm.Invitation, error) {
	in, err := farm.ParseInvitation(text)
	if err != nil {
		return in, fault.New(fault.Manifest, "", "invalid "+flag+": "+err.Error(),
			"copy the whole line that `ripieno serve` prints")
	}
	return in, nil
}

// Present returns the machines that work for the hub of an invitation, each with why it
// cannot help this one, "" when it can.
func Present(ctx context.Context, tool *ffmpeg.Tool, invitation string) ([]Helper, error) {
	home, class, err := join(ctx, tool, invitation)
	if err != nil {
		return nil, err
	}
	defer home.Close()
	list := []Helper{}
	for _, m := range home.Machines() {
		list = append(list, Helper{m.Name, m.Guest, m.Cores, m.Doing, m.Class.Differs(class)})
	}
	return list, nil
}

// Invite returns an invitation to help in a name of its own, from the hub of a home's
// invitation, and Revoke makes that void.
func Invite(ctx context.Context, invitation, name string) (string, error) {
	in, err := parse("--with", invitation)
	if err != nil {
		return "", err
	}
	guest, err := farm.Invite(ctx, in, name)
	if err != nil {
		return "", err
	}
	return guest.String(), nil
}

// Revoke makes the invitation in a name void.
func Revoke(ctx context.Context, invitation, name string) error {
	in, err := parse("--with", invitation)
	if err != nil {
		return err
	}
	return farm.Revoke(ctx, in, name)
}

// Helper is a machine at a hub.
type Helper struct {
	Name    string   `json:"name"`
	Guest   string   `json:"invited_as"` // the name of its invitation; "all" for the one for everybody
	Cores   int      `json:"cores"`
	Doing   []string `json:"doing,omitempty"`
	Refused string   `json:"refused,omitempty"` // why it gets nothing to do
}

// Join returns the machines that work for the hub of an invitation. tell is called with
// what a person should know. An invitation that is none is a fault of the person's; it
// also fails when the hub is not reached or ctx ends.
func Join(ctx context.Context, tool *ffmpeg.Tool, invitation string, tell func(text string)) (*farm.Fleet, error) {
	home, class, err := join(ctx, tool, invitation)
	if err != nil {
		return nil, err
	}
	for _, m := range home.Machines() {
		if why := m.Class.Differs(class); why != "" {
			tell(fmt.Sprintf("%s cannot help: %s", m.Name, why))
		}
	}
	return farm.NewFleet(home, checked, tell), nil
}

// answer is how long machines get to say that they are there.
const answer = time.Second

// join connects to the hub of an invitation, and says of what class this machine is.
func join(ctx context.Context, tool *ffmpeg.Tool, invitation string) (*farm.Home, farm.Class, error) {
	in, err := parse("--with", invitation)
	if err != nil {
		return nil, farm.Class{}, err
	}
	class, err := Class(ctx, tool)
	if err != nil {
		return nil, class, err
	}
	home, err := farm.Join(ctx, in, class)
	if err != nil {
		return nil, class, err
	}
	select {
	case <-time.After(answer):
		return home, class, nil
	case <-ctx.Done():
		home.Close()
		return nil, class, ctx.Err()
	}
}

// Help says how this machine helps.
type Help struct {
	Invitation string
	Name       string // of this machine for people; "" is its host's
	Cores      int    // tasks at once; 0 is all of them
	Space      int64  // bytes of files kept meanwhile; 0 is 10 GB
	Tell       func(text string)
}

// defaultSpace is how many bytes of files a worker keeps.
const defaultSpace = 10e9

// Work lends this machine to the production of a hub until ctx ends. Files of the
// production are in a folder of their own meanwhile, which is removed at the end. It
// returns ctx's error then. An invitation that is none is a fault of the person's; it
// also fails when the hub is not reached or has made the invitation void.
func Work(ctx context.Context, tool *ffmpeg.Tool, h Help) error {
	in, err := parse("--join", h.Invitation)
	if err != nil {
		return err
	}
	class, err := Class(ctx, tool)
	if err != nil {
		return err
	}
	dir, err := workFolder()
	if err != nil {
		return err
	}
	defer os.RemoveAll(dir)
	o := farm.WorkerOptions{Name: machineName(h.Name), Cores: h.Cores, Space: h.Space, Dir: filepath.Join(dir, "w"),
		Class: class, Rules: map[string]farm.Rule{}, Tell: h.Tell}
	if o.Cores <= 0 {
		o.Cores = runtime.NumCPU()
	}
	if o.Space <= 0 {
		o.Space = defaultSpace
	}
	for name, rule := range picture.Rules(tool) {
		o.Rules[name] = rule
	}
	return farm.Work(ctx, in, o)
}

// machineName returns a name that no other machine at the hub has: what people call it,
// and some letters by chance.
func machineName(name string) string {
	if name == "" {
		name, _ = os.Hostname()
	}
	return strings.Trim(plainName(name)+"-"+strings.ToLower(rand.Text()[:5]), "-")
}

// plainName returns a name in small letters, digits and hyphens, of 40 at the most.
func plainName(name string) string {
	plain := strings.Map(func(r rune) rune {
		if r >= 'a' && r <= 'z' || r >= '0' && r <= '9' {
			return r
		}
		return '-'
	}, strings.ToLower(name))
	return strings.Trim(plain[:min(len(plain), 40)], "-")
}
