//go:build unix

package ffmpeg

import (
	"bufio"
	"bytes"
	"context"
	"errors"
	"io"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"strings"
	"testing"
	"time"

	"ripieno/assemble/fault"
)

func parentContext() context.Context { return context.Background() }

func play(t *testing.T, role string) *Tool {
	t.Helper()
	t.Setenv(fakeVar, role)
	return fakeTool()
}

func TestExitErrorCarriesStatusAndTail(t *testing.T) {
	err := play(t, "fail").Run(context.Background(), Command{})
	exit, ok := errors.AsType[*ExitError](err)
	if !ok {
		t.Fatalf("got %v, want an ExitError", err)
	}
	if exit.Code != 3 || exit.Signal != "" || len(exit.Tail) != 2 || !exit.Says("Conversion failed") ||
		exit.Says("nothing like it") {
		t.Errorf("got %+v", exit)
	}
	if k := fault.KindOf(err); k != fault.FFmpeg {
		t.Errorf("kind %v, want FFmpeg", k)
	}
	if got, want := fault.Format(err), "ffmpeg: the program failed: exit status 3: [error] Conversion "+
		"failed!"; got != want {
		t.Errorf("got  %s\nwant %s", got, want)
	}
}

func TestTailIsBounded(t *testing.T) {
	err := play(t, "spam").Run(context.Background(), Command{})
	exit, ok := errors.AsType[*ExitError](err)
	if !ok {
		t.Fatal(err)
	}
	if len(exit.Tail) != tailLines {
		t.Errorf("%d lines kept, want %d", len(exit.Tail), tailLines)
	}
	for _, l := range exit.Tail {
		if len(l) > tailLine {
			t.Errorf("a line of %d bytes was kept", len(l))
		}
	}
}

func TestDiskFullIsNeverSuccess(t *testing.T) {
	err := play(t, "disk full").Run(context.Background(), Command{})
	f, ok := errors.AsType[*fault.Fault](err)
	if !ok || f.Kind != fault.Failed || f.What != "the disk is full" || f.Hint == "" {
		t.Errorf("got %v", err)
	}
}

func TestForeignSignalIsNamed(t *testing.T) {
	err := play(t, "killed").Run(context.Background(), Command{})
	exit, ok := errors.AsType[*ExitError](err)
	if !ok || exit.Signal != "killed" || exit.Code != -1 {
		t.Errorf("got %v", err)
	}
}

// onFirstWrite calls do when something is written, which is how a test knows
// that the child is up without waiting for a guessed time.
type onFirstWrite struct{ do func() }

func (w *onFirstWrite) Write(p []byte) (int, error) {
	if w.do != nil {
		w.do()
		w.do = nil
	}
	return len(p), nil
}

func TestCancelInterruptsThenKills(t *testing.T) {
	for _, role := range []string{"polite", "stubborn"} {
		t.Run(role, func(t *testing.T) {
			tool := play(t, role)
			tool.wait = 100 * time.Millisecond
			if role == "polite" {
				tool.wait = time.Minute // would hang the test if the kill were needed
			}
			reason := errors.New("the user has had enough")
			ctx, cancel := context.WithCancelCause(context.Background())
			log := &bytes.Buffer{}
			err := tool.Run(ctx, Command{Stdout: &onFirstWrite{do: func() { cancel(reason) }}, Log: log})
			// The polite one exits with 0, and still it is no success.
			if !errors.Is(err, context.Canceled) || !errors.Is(err, reason) {
				t.Errorf("got %v", err)
			}
			if polite := strings.Contains(log.String(), "Exiting normally"); polite != (role == "polite") {
				t.Errorf("the log reads %q", log.String())
			}
		})
	}
}

func TestCancelledContextStartsNothing(t *testing.T) {
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	tool := &Tool{FFmpeg: "/nonexistent/ffmpeg"}
	if err := tool.Run(ctx, Command{}); !errors.Is(err, context.Canceled) {
		t.Errorf("got %v", err)
	}
}

func TestMissingProgram(t *testing.T) {
	err := (&Tool{FFmpeg: filepath.Join(t.TempDir(), "ffmpeg")}).Run(context.Background(), Command{})
	f, ok := errors.AsType[*fault.Fault](err)
	if !ok || f.Kind != fault.FFmpeg || !strings.Contains(f.What, "was not found at") || f.Hint == "" {
		t.Errorf("got %v", err)
	}
}

func TestRunAddsItsOptions(t *testing.T) {
	tool := play(t, "who")
	var out bytes.Buffer
	if err := tool.Run(context.Background(), Command{Args: []string{"-i", "file:/a b"}, Stdout: &out}); err != nil {
		t.Fatal(err)
	}
	want := "group of its own: true\n-hide_banner -nostdin -nostats -loglevel level+warning -i file:/a b\n"
	if out.String() != want {
		t.Errorf("got  %q\nwant %q", out.String(), want)
	}
}

func TestStdinToStdout(t *testing.T) {
	tool := play(t, "copy")
	data := bytes.Repeat([]byte("0123456789abcdef"), 1<<14)
	var out bytes.Buffer
	if err := tool.Run(context.Background(), Command{Stdin: bytes.NewReader(data), Stdout: &out}); err != nil {
		t.Fatal(err)
	}
	if !bytes.Equal(out.Bytes(), data) {
		t.Errorf("%d bytes came back of %d", out.Len(), len(data))
	}
	// Without a reader the child sees the null device, not this terminal.
	out.Reset()
	if err := tool.Run(context.Background(), Command{Stdout: &out}); err != nil || out.Len() != 0 {
		t.Errorf("got %d bytes, %v", out.Len(), err)
	}
}

type brokenPipe struct{ err error }

func (b brokenPipe) Read([]byte) (int, error)  { return 0, b.err }
func (b brokenPipe) Write([]byte) (int, error) { return 0, b.err }

func TestReaderAndWriterErrorsComeBack(t *testing.T) {
	tool := play(t, "copy")
	broken := brokenPipe{errors.New("the mix broke")}
	// The child ends well: it only sees the end of its input.
	err := tool.Run(context.Background(), Command{Stdin: io.MultiReader(strings.NewReader("some"), broken)})
	if !errors.Is(err, broken.err) {
		t.Errorf("reader: got %v", err)
	}
	err = tool.Run(context.Background(), Command{Stdin: strings.NewReader("some"), Stdout: broken})
	if !errors.Is(err, broken.err) {
		t.Errorf("writer: got %v", err)
	}
}

func TestProbeBoundsTheAnswer(t *testing.T) {
	_, err := play(t, "flood").Probe(context.Background(), nil)
	if !errors.Is(err, errTooLong) || fault.KindOf(err) != fault.Media {
		t.Errorf("got %v", err)
	}
}

func TestFindRefuses(t *testing.T) {
	self := fakeTool().FFmpeg
	for _, c := range []struct{ name, role, program, what string }{
		{"old", "old", self, "ffmpeg 4.2.7-0ubuntu0.1 is too old, 4.4 or later is needed"},
		{"another program", "other program", self, "the program is not ffmpeg"},
		{"failing", "fail", self, "the program does not run"},
		{"missing", "old", "/nonexistent/ffmpeg", `ffmpeg was not found at "/nonexistent/ffmpeg"`},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Setenv(fakeVar, c.role)
			_, err := Options{FFmpeg: c.program, FFprobe: self}.Find(context.Background())
			f, ok := errors.AsType[*fault.Fault](err)
			if !ok || f.Kind != fault.FFmpeg || f.What != c.what || f.Hint == "" {
				t.Errorf("got %v, want %q", err, c.what)
			}
		})
	}
}

func TestFindOnAnEmptyPath(t *testing.T) {
	t.Setenv("PATH", t.TempDir())
	_, err := Find(context.Background())
	want := "ffmpeg was not found\n  hint: " + installHint()
	if err == nil || fault.Format(err) != want {
		t.Errorf("got  %v\nwant %s", err, want)
	}
}

// A child must not outlive a killed parent. The child holds a connection to
// the test, which ends with it.
func TestNoOrphans(t *testing.T) {
	if runtime.GOOS != "linux" {
		t.Skip("only Linux ends the children of a killed process")
	}
	socket := filepath.Join(t.TempDir(), "s")
	listener, err := net.Listen("unix", socket)
	if err != nil {
		t.Fatal(err)
	}
	defer listener.Close()
	parent := exec.Command(fakeTool().FFmpeg)
	parent.Env = append(os.Environ(), fakeVar+"=parent", "RIPIENO_FAKE_SOCKET="+socket)
	if err := parent.Start(); err != nil {
		t.Fatal(err)
	}
	conn, err := listener.Accept()
	if err != nil {
		t.Fatal(err)
	}
	defer conn.Close()
	// A bound for the failing case only; the passing one does not wait.
	conn.SetDeadline(time.Now().Add(20 * time.Second))
	r := bufio.NewReader(conn)
	if _, err := r.ReadString('\n'); err != nil {
		t.Fatal(err)
	}
	parent.Process.Kill()
	parent.Wait()
	if _, err := r.ReadByte(); err != io.EOF {
		t.Errorf("the child lives on: %v", err)
	}
}
