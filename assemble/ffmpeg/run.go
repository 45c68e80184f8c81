package ffmpeg

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"sync"
	"syscall"
	"time"

	"ripieno/assemble/fault"
)

// Command is one run of ffmpeg.
type Command struct {
	// Args are everything after the options that [Tool.Run] adds itself:
	// inputs, filters, outputs.
	Args []string
	// Stdin feeds "pipe:0"; nil is the null device. An error of the reader
	// other than io.EOF makes the run fail with that error.
	Stdin io.Reader
	// Stdout takes what is written to "pipe:1"; nil throws it away.
	Stdout io.Writer
	// Log takes a copy of what ffmpeg says, warnings included; nil: nobody.
	// The writer must bound what it keeps.
	Log io.Writer
	// Progress is called about twice a second from one goroutine, and never
	// after Run has returned; nil: nobody listens.
	Progress func(Progress)
	// About is the file or film that the run works on, for messages and for what
	// the file is allowed, see [Tool.Allow].
	About string
	// Several says that About is only one of the files that are read. What the
	// run takes is then counted for none of them.
	Several bool
	// Accepted says that the file has been looked at and accepted. What the run takes
	// has its own limit and is not counted for the file.
	Accepted bool
	// Beside is what another run about the file may take at the same time. It is kept
	// for that one.
	Beside time.Duration
	// Patience is added to the tool's own: for how long beyond it nothing may be
	// heard of the run, because of what it has to do before there is anything.
	Patience time.Duration
	Limits   Limits
}

// Limits are what a process may take, beyond which the system ends it or refuses
// what it asks for. They exist on Linux; elsewhere a process goes without. Zero
// is no limit.
type Limits struct {
	Memory int64         // bytes of data, thread stacks included
	File   int64         // bytes of any file that it writes
	CPU    time.Duration // of all its threads
}

// ExitError is a run that ended by itself and not well, or by a signal that
// this program did not send.
type ExitError struct {
	Program string   // "ffmpeg" or "ffprobe"
	Code    int      // exit status; -1 when a signal ended it
	Signal  string   // name of the signal, such as "killed"; "" when there was none
	Tail    []string // the last lines it wrote to its log
}

// Error returns the exit status and the last line of the log.
func (e *ExitError) Error() string {
	s := "exit status " + strconv.Itoa(e.Code)
	if e.Signal != "" {
		s = "signal: " + e.Signal
	}
	if n := len(e.Tail); n > 0 {
		s += ": " + e.Tail[n-1]
	}
	return s
}

// Says reports whether a line of the log's tail contains text.
func (e *ExitError) Says(text string) bool {
	for _, l := range e.Tail {
		if strings.Contains(l, text) {
			return true
		}
	}
	return false
}

// Run runs ffmpeg with c and waits for its end. It adds the options that every
// run needs: no banner, no reading of the terminal, warnings with their level
// in front, no statistics line.
//
// The error is the context's when ctx ended, whatever the program made of it;
// a fault of kind FFmpeg over an [*ExitError] when the program failed; a fault
// of kind Failed when the disk is full, even if the program ended with 0; and
// the reader's or writer's own error when c.Stdin or c.Stdout failed.
func (t *Tool) Run(ctx context.Context, c Command) error {
	c.Args = t.spell(c.Args)
	if t.recorded != nil {
		return t.recorded(c)
	}
	args := []string{"-hide_banner", "-nostdin", "-nostats", "-loglevel", "level+warning"}
	p := process{tool: t, program: t.FFmpeg, stdin: c.Stdin, stdout: c.Stdout, log: c.Log,
		about: c.About, several: c.Several, accepted: c.Accepted, beside: c.Beside, patience: c.Patience,
		limits: c.Limits}
	// Without a reader of its output, its reports are the only sign of life.
	if c.Progress != nil || c.Stdout == nil {
		p.progress = &ProgressParser{Report: p.watch.reports(c.Progress)}
		if c.Stdout == nil {
			args = append(args, "-progress", "pipe:1")
			p.stdout = p.progress
		} else {
			args = append(args, "-progress", "pipe:3")
			p.third = true
		}
	}
	p.args = append(args, c.Args...)
	return p.run(ctx)
}

// maxProbe bounds the answer of ffprobe: the packet times of four hours of
// video and sound at 25 bytes a packet are 30 MB.
const maxProbe = 64 << 20

// Probe runs ffprobe with args and returns what it printed. Errors are as for
// [Tool.Run], and a fault of kind Media when the answer is longer than 64 MiB.
func (t *Tool) Probe(ctx context.Context, args []string) ([]byte, error) {
	return t.Ask(ctx, Command{Args: args})
}

// Ask is [Tool.Probe] for a question of which more is known. Only Args, Log,
// About, Patience and Limits of the command count.
func (t *Tool) Ask(ctx context.Context, c Command) ([]byte, error) {
	all := append([]string{"-hide_banner", "-loglevel", "level+warning"}, t.spellEntries(c.Args)...)
	return t.output(ctx, process{program: t.FFprobe, args: all, log: c.Log,
		about: c.About, several: c.Several, patience: c.Patience, limits: c.Limits}, maxProbe)
}

// output runs p and returns its standard output, at most limit bytes.
func (t *Tool) output(ctx context.Context, p process, limit int) ([]byte, error) {
	out := bounded{limit: limit}
	p.tool, p.stdout = t, &out
	if err := p.run(ctx); err != nil {
		if out.over {
			return nil, fault.New(fault.Media, "", "the file's description is absurdly long", "").Because(errTooLong)
		}
		return nil, err
	}
	return out.buf.Bytes(), nil
}

var errTooLong = errors.New("the answer is too long")

// bounded is a buffer that refuses more than limit bytes.
type bounded struct {
	buf   bytes.Buffer
	limit int
	over  bool
}

// Write takes bytes up to the bound; what goes beyond it is refused and ends the
// run.
func (b *bounded) Write(p []byte) (int, error) {
	if b.buf.Len()+len(p) > b.limit {
		b.over = true
		return 0, errTooLong
	}
	return b.buf.Write(p)
}

// process is one run of either program.
type process struct {
	tool     *Tool
	program  string
	args     []string
	stdin    io.Reader
	stdout   io.Writer
	log      io.Writer
	progress *ProgressParser
	third    bool // progress comes on a pipe of its own, descriptor 3
	about    string
	several  bool
	accepted bool
	beside   time.Duration
	patience time.Duration
	limits   Limits
	watch    watchdog
}

// run starts the program and waits for its end; the error says how it ended.
func (p *process) run(ctx context.Context) error {
	if err := ctx.Err(); err != nil {
		return contextError(ctx)
	}
	limits, err := p.bounds()
	if err != nil {
		return err
	}
	p.watch.signs()
	caller := ctx
	ctx, end := context.WithCancelCause(ctx)
	defer end(nil)
	var said tail
	cmd := p.command(ctx, &said)
	in, out := p.attach(cmd)
	finish, err := p.attachThird(cmd)
	if err != nil {
		return fmt.Errorf("ffmpeg: %w", err)
	}
	var links names
	defer links.remove()
	if err := links.hold(ctx, cmd); err != nil {
		finish(false)
		return fmt.Errorf("ffmpeg: a link for a file that is held: %w", err)
	}
	if err := cmd.Start(); err != nil {
		finish(false)
		return p.notStarted(ctx, err)
	}
	limit(cmd.Process.Pid, limits)
	finish(true)
	unwatch := p.watch.begin(p.tool, p.patience, func(stuck error) { end(stuck) })
	waitErr := cmd.Wait()
	unwatch()
	finish(false)
	p.tellUsage(cmd.ProcessState)
	lines, full := said.end()
	lines = links.real(lines)
	stuck, _ := errors.AsType[*StuckError](context.Cause(ctx))
	switch {
	case caller.Err() != nil:
		return contextError(caller)
	case stuck != nil:
		stuck.Program, stuck.Tail = p.name(), lines
		return p.stuck(stuck)
	case full:
		return fault.New(fault.Failed, "", "the disk is full", "make room, or choose another folder, and run again").
			Because(fmt.Errorf("%s: %w", p.name(), syscall.ENOSPC))
	case in.failure() != nil:
		return fmt.Errorf("feeding %s: %w", p.name(), in.failure())
	case out.failure() != nil:
		return fmt.Errorf("reading from %s: %w", p.name(), out.failure())
	}
	return p.failure(waitErr, lines)
}

// attach gives cmd its input and output, and returns them as they are watched: they
// are the caller's, and a failure of either says more than the broken pipe it becomes
// inside ffmpeg.
func (p *process) attach(cmd *exec.Cmd) (in, out *watched) {
	in, out = &watched{r: p.stdin, seen: p.watch.alive}, &watched{w: p.stdout, seen: p.watch.alive}
	if p.progress != nil && !p.third {
		out.seen = nil // its reports come whether it gets on or not
	}
	if p.stdin != nil {
		cmd.Stdin = in
	}
	if p.stdout != nil {
		cmd.Stdout = out
	}
	return in, out
}

// command returns the process that run starts, which ends with ctx: interrupted
// first, killed when that does not help. What it complains of goes to said too.
func (p *process) command(ctx context.Context, said io.Writer) *exec.Cmd {
	cmd := exec.CommandContext(ctx, p.program, p.args...)
	cmd.Cancel = func() error { return interrupt(cmd.Process) }
	cmd.WaitDelay = p.tool.wait
	if cmd.WaitDelay == 0 {
		cmd.WaitDelay = defaultWait
	}
	cmd.Stderr = said
	if p.log != nil {
		cmd.Stderr = io.MultiWriter(said, p.log)
	}
	cmd.SysProcAttr = attributes()
	return cmd
}

// failure returns the error of a program that ended by itself, nil when it ended well.
// lines are the end of its log.
func (p *process) failure(waitErr error, lines []string) error {
	if waitErr == nil {
		return nil
	}
	exit, ok := errors.AsType[*exec.ExitError](waitErr)
	if !ok {
		return fmt.Errorf("%s: %w", p.name(), waitErr)
	}
	e := &ExitError{Program: p.name(), Code: exit.ExitCode(), Signal: signalOf(exit.ProcessState), Tail: lines}
	if p.isSpent(e) {
		return p.tooDear()
	}
	return fault.New(fault.FFmpeg, p.name(), "the program failed", "").Because(e)
}

// name returns the program's name for messages, whatever its path is.
func (p *process) name() string {
	if p.program == p.tool.FFmpeg {
		return "ffmpeg"
	}
	return "ffprobe"
}

// notStarted returns the error of a program that could not be started.
func (p *process) notStarted(ctx context.Context, err error) error {
	switch {
	case ctx.Err() != nil:
		return contextError(ctx)
	case errors.Is(err, os.ErrNotExist):
		return fault.New(fault.FFmpeg, "", fmt.Sprintf("%s was not found at %q", p.name(), p.program),
			installHint()).Because(err)
	case errors.Is(err, os.ErrPermission):
		return fault.New(fault.FFmpeg, filepath.ToSlash(p.program), "the program may not be run",
			installHint()).Because(err)
	}
	return fmt.Errorf("starting %s: %w", p.name(), err)
}

// attachThird gives cmd the progress pipe when p wants one. The function it
// returns is called with true once the child has its end, and with false when
// there is no child any more; it then waits for the last report.
func (p *process) attachThird(cmd *exec.Cmd) (func(started bool), error) {
	if !p.third {
		return func(bool) {}, nil
	}
	r, w, err := os.Pipe()
	if err != nil {
		return nil, err
	}
	cmd.ExtraFiles = []*os.File{w} // becomes descriptor 3
	var reader sync.WaitGroup
	return func(started bool) {
		w.Close() // a second close does no harm
		if started {
			reader.Go(func() { io.Copy(p.progress, r) })
			return
		}
		reader.Wait()
		r.Close()
	}, nil
}

// contextError returns the error of a run whose context is over: it satisfies errors.Is
// for the context's error and for its cause.
func contextError(ctx context.Context) error {
	err := ctx.Err()
	if cause := context.Cause(ctx); cause != nil && cause != err {
		return fmt.Errorf("%w: %w", err, cause)
	}
	return err
}
