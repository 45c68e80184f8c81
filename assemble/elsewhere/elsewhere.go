// Package elsewhere joins the rules by which pictures are made to the farm on which
// other machines make them: it says what class of machine this is, works for somebody
// else's production, and finds workers for one's own.
//
// [Class] tries this machine out, [Work] lends it, [Join] borrows others.
package elsewhere

import (
	"context"
	"crypto/rand"
	"crypto/sha256"
	"encoding/binary"
	"encoding/hex"
	"fmt"
	"maps"
	"math"
	"os"
	"path/filepath"
	"runtime"
	"runtime/debug"
	"strings"
	"time"

	"ripieno/assemble/farm"
	"ripieno/assemble/fault"
	"ripieno/assemble/ffmpeg"
	"ripieno/assemble/graph"
	"ripieno/assemble/picture"
	"ripieno/assemble/soundtrack"
	"ripieno/assemble/takes"
)

// Class returns what kind of machine this is: it makes a trial film, which takes about a
// second. It fails when ctx ends, or when this ffmpeg makes no film at all.
func Class(ctx context.Context, tool *ffmpeg.Tool) (farm.Class, error) {
	trial, err := picture.Trial(ctx, tool)
	if err != nil {
		return farm.Class{}, err
	}
	rules := fmt.Sprint("graph ", graph.Rule, " ", takes.Versions(), " ", soundtrack.Versions(),
		" farm ", farm.Protocol)
	return farm.Class{Rules: rules, FFmpeg: tool.Version.Text, Arch: arch(), Trial: trial + " " + floats()}, nil
}

// floats returns a hash of what functions of the standard library give that compute in
// another way on processors with other instructions: on amd64 the exponential uses fused
// multiplication where there is such. 4,096 arguments between −4 and 4 of five
// functions: where one differs in its last bit, so may a mix.
func floats() string {
	h := sha256.New()
	for k := range 4096 {
		x := float64(k)/512 - 4
		for _, y := range []float64{math.Exp(x), math.Log(x + 5), math.Sin(x), math.Sqrt(x + 4), math.Hypot(x, 1)} {
			_ = binary.Write(h, binary.LittleEndian, y) // a hash takes everything
		}
	}
	return hex.EncodeToString(h.Sum(nil))
}

// arch returns the processor that the program was built for, and the compiler. Floats of
// Go differ between levels of one architecture, and its library may from one to the next.
func arch() string {
	name := runtime.GOARCH + " " + runtime.Version()
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
	found, err := connect(ctx, tool, invitation, farm.Places{}, 0, func(string) {})
	if err != nil {
		return nil, err
	}
	defer found.Close()
	if err := found.Hear(ctx); err != nil {
		return nil, err
	}
	list := []Helper{}
	for _, m := range found.Machines() {
		list = append(list, Helper{m.Name, m.Guest, m.Cores, m.Doing, m.Class.Differs(found.class)})
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

// Join returns the machines that work for the hub of an invitation, for a forecast: of what
// they made nothing would be made again here. tell is called with what a person should know.
// An invitation that is none is a fault of the person's; it also fails when the hub is not
// reached or ctx ends.
func Join(ctx context.Context, tool *ffmpeg.Tool, invitation string, at farm.Places,
	tell func(text string)) (*Found, error) {
	found, err := connect(ctx, tool, invitation, at, 0, tell)
	if err == nil {
		if err = found.Hear(ctx); err != nil {
			found.Close()
		}
	}
	return found, err
}

// Found is the machines at a hub.
type Found struct {
	*farm.Fleet
	class farm.Class // of this machine
}

// answer is how long machines get to say that they are there. They answer as soon as
// they are asked; a second is for slow lines.
const answer = time.Second

// Hear waits until machines had time to say that they are there, and tells why one cannot
// help. It fails when ctx ends.
func (f *Found) Hear(ctx context.Context) error {
	select {
	case <-time.After(answer):
	case <-ctx.Done():
		return ctx.Err()
	}
	for _, m := range f.Machines() {
		if why := m.Class.Differs(f.class); why != "" {
			f.Tell(fmt.Sprintf("%s cannot help: %s", m.Name, why))
		}
	}
	return nil
}

// connect connects to the hub of an invitation, and finds out of what class this machine
// is. Who is there is not known yet. recheck is the share of results that are made again
// here, from 0 to 1.
func connect(ctx context.Context, tool *ffmpeg.Tool, invitation string, at farm.Places, recheck float64,
	tell func(text string)) (*Found, error) {
	in, err := parse("--with", invitation)
	if err != nil {
		return nil, err
	}
	class, err := Class(ctx, tool)
	if err != nil {
		return nil, err
	}
	home, err := farm.Join(ctx, in, class, at)
	if err != nil {
		return nil, err
	}
	return &Found{farm.NewFleet(home, recheck, tell), class}, nil
}

// Help says how this machine helps.
type Help struct {
	Invitation string
	farm.Places
	Name  string // of this machine for people; "" is its host's
	Cores int    // tasks at once; 0 is all of them
	Space int64  // bytes of files kept meanwhile; 0 is 10 GB
	Tell  func(text string)
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
		Class: class, Rules: map[string]farm.Rule{}, Places: h.Places, Tell: h.Tell}
	if o.Cores <= 0 {
		o.Cores = runtime.NumCPU()
	}
	if o.Space <= 0 {
		o.Space = defaultSpace
	}
	maps.Copy(o.Rules, Rules(tool))
	return farm.Work(ctx, in, o)
}

// Rules returns everything that a machine can be asked for, by the names of orders: what
// the rooms' own rules are.
func Rules(tool *ffmpeg.Tool) map[string]farm.Rule {
	all := map[string]farm.Rule{}
	for _, room := range []map[string]func(context.Context, []byte, []string, string) error{
		picture.Rules(tool), takes.Rules(tool), soundtrack.Rules(),
	} {
		for name, rule := range room {
			all[name] = rule
		}
	}
	return all
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
