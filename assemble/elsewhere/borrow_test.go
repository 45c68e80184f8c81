package elsewhere

import (
	"errors"
	"regexp"
	"runtime"
	"strings"
	"testing"

	"github.com/nats-io/nkeys"

	"ripieno/assemble/farm"
	"ripieno/assemble/fault"
	"ripieno/assemble/ffmpeg"
	"ripieno/assemble/progress"
	"ripieno/assemble/session"
)

// hearing is a reporter that keeps what it is told.
type hearing struct {
	progress.Reporter
	told []string
}

func (h *hearing) Message(text string) { h.told = append(h.told, text) }

// deaf returns an ffmpeg that makes nothing.
func deaf() *ffmpeg.Tool {
	return ffmpeg.Recorded(ffmpeg.ParseVersion("ffmpeg version 7.1"), nil, func(ffmpeg.Command) error {
		return errors.New("nothing is made")
	})
}

// invitation returns a well-formed one to a hub that is not there.
func invitation(t *testing.T) string {
	t.Helper()
	pair, err := nkeys.CreateUser()
	if err != nil {
		t.Fatal(err)
	}
	seed, err := pair.Seed()
	if err != nil {
		t.Fatal(err)
	}
	return "127.0.0.1:1/" + strings.Repeat("ab", 32) + "/" + string(seed)
}

// Names of machines are plain letters, figures and dashes, whatever people or hosts are
// called, never empty, and no two are the same.
func TestNamesOfMachines(t *testing.T) {
	plain := regexp.MustCompile(`^[a-z0-9]([a-z0-9-]*[a-z0-9])?$`)
	for name, prefix := range map[string]string{"Anna's Laptop": "anna-s-laptop-", "studio": "studio-", "": "",
		"../../etc": "etc-", "Åse": "se-", "楽": "", strings.Repeat("x", 90): strings.Repeat("x", 40) + "-",
		"a.b*c>d": "a-b-c-d-", "--": "",
		strings.Repeat("é", 45) + "z": ""} {
		one, other := machineName(name), machineName(name)
		if !plain.MatchString(one) || !strings.HasPrefix(one, prefix) || one == other || len(one) > 46 || len(one) < 5 {
			t.Errorf("%q gives %q and %q", name, one, other)
		}
	}
}

// An invitation that is none is the person's to mend: the flag is named, and a key is
// never repeated.
func TestInvitationsThatAreNone(t *testing.T) {
	good := invitation(t)
	parts := strings.Split(good, "/")
	ctx, tool := t.Context(), deaf()
	for text, what := range map[string]string{
		"":                                    "three parts",
		"host:1":                              "three parts",
		parts[0] + "/" + parts[1]:             "three parts",
		"host/" + parts[1] + "/" + parts[2]:   "is not HOST:PORT",
		parts[0] + "/12/" + parts[2]:          "64 hexadecimal digits",
		parts[0] + "/" + parts[1] + "/SECRET": "the invitation's key is damaged",
	} {
		for flag, do := range map[string]func() error{
			"--with": func() error { _, err := Join(ctx, tool, text, farm.Places{}, nil); return err },
			"--join": func() error { return Work(ctx, tool, Help{Invitation: text}) },
		} {
			err := do()
			var f *fault.Fault
			if !errors.As(err, &f) || f.Kind != fault.Manifest || !strings.HasPrefix(f.What, "invalid "+flag) ||
				!strings.Contains(f.What, what) || !strings.Contains(f.Hint, "ripieno serve") ||
				strings.Contains(f.Error(), "SECRET") {
				t.Errorf("%s %q: %v", flag, text, err)
			}
		}
		if _, err := Present(ctx, tool, text); fault.KindOf(err) != fault.Manifest {
			t.Errorf("%q: %v", text, err)
		}
	}
}

// Without an invitation the session stays what it is, and one that cannot be read is an
// error. later_test.go has what becomes of machines that cannot be had.
func TestBorrowingFromNobody(t *testing.T) {
	heard := &hearing{}
	open := func(with string) *session.Session {
		return session.New(session.Settings{With: with, Report: heard}, nil, deaf())
	}
	s := open("")
	if got, free, err := Borrow(t.Context(), s); got != s || err != nil || len(heard.told) != 0 {
		t.Errorf("nobody is invited: %v, %q", err, heard.told)
	} else {
		free()
	}
	if _, _, err := Borrow(t.Context(), open("no invitation")); fault.KindOf(err) != fault.Manifest {
		t.Errorf("no invitation: %v", err)
	}
	if _, err := Forecast(t.Context(), open("no invitation"), nil); fault.KindOf(err) != fault.Manifest {
		t.Errorf("a plan with no invitation: %v", err)
	}
	if len(heard.told) != 0 {
		t.Errorf("told %q", heard.told)
	}
}

// Of what class a machine is needs a film that it can make, and its processor is that of
// the program.
func TestClassesNeedATrial(t *testing.T) {
	if _, err := Class(t.Context(), deaf()); err == nil || !strings.Contains(err.Error(), "makes no trial film") {
		t.Errorf("%v", err)
	}
	if err := Work(t.Context(), deaf(), Help{Invitation: invitation(t)}); err == nil ||
		!strings.Contains(err.Error(), "trial film") {
		t.Errorf("%v", err)
	}
	if name := arch(); !strings.HasPrefix(name, runtime.GOARCH) {
		t.Errorf("the processor is %q", name)
	}
}
