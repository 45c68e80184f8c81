// Package ffmpeg finds and runs the ffmpeg and ffprobe programs. It is the
// only package that starts processes.
//
// It knows how a run begins, ends and is cancelled, and how progress and
// errors are read back. It does not know what the arguments mean: building
// them belongs to the packages that know media files, and those pass every
// path as "file:" followed by an absolute path and never place text that came
// from a person inside a filter graph.
//
// # How a run ends
//
// ffmpeg leaves an unreadable file behind when it is killed outright and exits
// with 0 in many cases that are no success. So a cancelled context sends one
// interrupt, waits, and only then kills; and a nil error means no more than
// that the program ended by itself without complaint: the output has still to
// be checked by the caller. After a cancelled run the error is always the
// context's, and whatever file there is must be thrown away even if it plays.
//
// Children run in their own process group, so an interrupt typed at the
// terminal reaches them once, through the context; on Linux the kernel ends
// them when this process dies.
package ffmpeg

import (
	"context"
	"fmt"
	"sync"
	"time"

	"ripieno/assemble/fault"
)

// Tool is a usable pair of ffmpeg and ffprobe.
type Tool struct {
	FFmpeg  string // path of the program
	FFprobe string
	Version Version

	// Codecs are decoders that files from outside may be decoded with beside
	// those that are always allowed.
	Codecs []string

	encoders map[string]bool
	filters  map[string]bool

	// patience is how long a process may go without a sign of progress, see
	// [Command.Patience]; 0 means defaultPatience.
	patience time.Duration
	clock    clock // nil: the system's

	allowed allowances // what files may take

	ended func(Usage) // told of every process that ended; nil: nobody
	// recorded takes every command instead of a process; see [Recorded].
	recorded func(Command) error

	// wait is how long an interrupted process may take to finish its file
	// before it is killed; 0 means defaultWait.
	wait time.Duration
}

// defaultWait is long enough to write the index of an hour of video on a slow
// disk, and short enough not to look like a program that hangs.
const defaultWait = 5 * time.Second

// Options says where to look. Empty fields mean the search path.
type Options struct {
	FFmpeg  string // program name or path
	FFprobe string
	// Codecs are ffmpeg's names of decoders that files from outside may be
	// decoded with, beside those that are always allowed.
	Codecs []string
	// Patience is how long a process may go without a sign of progress before it
	// is ended; 0 is a minute. What takes its time by its nature has more.
	Patience time.Duration
	// Ended is told what every process cost when it has ended, from any
	// goroutine; nil: nobody listens. It is for finding out where time goes.
	Ended func(Usage)
	// Found is what an earlier Find returned, or nil. When the programs are the
	// same they are not asked again, which costs a third of a second of a
	// processor. Whoever runs for days must not use it: programs are renewed.
	Found *Tool
}

// Usage is what one process cost.
type Usage struct {
	Args  []string // the program's name and its arguments
	About string   // the file that it was about, with Several one of them
	CPU   time.Duration
	// Memory is the largest resident size in bytes; 0 where the system does not
	// tell. Linux counts what this process had when it started the other.
	Memory int64
}

// Find looks for both programs beside this one, on the search path and where the
// system's package manager puts them, and asks them what they are.
// The error is a fault of kind FFmpeg when one is missing, does not run, or is
// too old.
func Find(ctx context.Context) (*Tool, error) { return Options{}.Find(ctx) }

// Find is like the function [Find], with programs other than those on the
// search path.
func (o Options) Find(ctx context.Context) (*Tool, error) { return o.find(ctx, nil) }

func (o Options) find(ctx context.Context, c clock) (*Tool, error) {
	t := &Tool{ended: o.Ended, Codecs: o.Codecs, patience: o.Patience, clock: c}
	at := here()
	var err error
	if t.FFmpeg, err = at.locate(o.FFmpeg, "ffmpeg"); err != nil {
		return nil, err
	}
	if t.FFprobe, err = at.locate(o.FFprobe, "ffprobe"); err != nil {
		return nil, err
	}
	if f := o.Found; f != nil && f.FFmpeg == t.FFmpeg && f.FFprobe == t.FFprobe {
		t.Version, t.encoders, t.filters = f.Version, f.encoders, f.filters
		return t, nil
	}
	if err := t.askPrograms(ctx); err != nil {
		return nil, err
	}
	return t, nil
}

// askPrograms asks both programs what they are and what they can do.
func (t *Tool) askPrograms(ctx context.Context) error {
	// Four questions to two programs cost a tenth of a second one after the
	// other, which a run with nothing to do would feel.
	questions := [4]struct {
		program string
		args    []string
		answer  []byte
		err     error
	}{
		{program: t.FFmpeg, args: []string{"-version"}},
		{program: t.FFprobe, args: []string{"-version"}},
		{program: t.FFmpeg, args: []string{"-hide_banner", "-encoders"}},
		{program: t.FFmpeg, args: []string{"-hide_banner", "-filters"}},
	}
	var wg sync.WaitGroup
	for i := range questions {
		q := &questions[i]
		wg.Go(func() { q.answer, q.err = t.output(ctx, process{program: q.program, args: q.args}, maxAnswer) })
	}
	wg.Wait()
	for _, q := range questions {
		if err := ctx.Err(); err != nil {
			return err
		}
		if q.err != nil {
			return fault.New(fault.FFmpeg, q.program, "the program does not run", installHint()).Because(q.err)
		}
	}
	t.Version = ParseVersion(string(questions[0].answer))
	t.encoders = parseList(string(questions[2].answer))
	t.filters = parseList(string(questions[3].answer))
	if t.Version.Text == "" {
		return fault.New(fault.FFmpeg, t.FFmpeg, "the program is not ffmpeg", installHint())
	}
	if ParseVersion(string(questions[1].answer)).Text == "" {
		return fault.New(fault.FFmpeg, t.FFprobe, "the program is not ffprobe", installHint())
	}
	if !t.Version.AtLeast(minMajor, minMinor) {
		return fault.New(fault.FFmpeg, t.FFmpeg,
			fmt.Sprintf("ffmpeg %s is too old, %d.%d or later is needed", t.Version.Text, minMajor, minMinor),
			installHint())
	}
	return nil
}

// maxAnswer bounds what -encoders and -filters may print; they print 30 KB.
const maxAnswer = 1 << 20

// minMajor and minMinor are the oldest release that is taken: the first with the
// bitstream filter setts, which puts every frame of a joined film on its time.
const minMajor, minMinor = 4, 4

// Encoder reports whether this ffmpeg can encode with name, such as "libx264",
// "aac" or "libmp3lame".
func (t *Tool) Encoder(name string) bool { return t.encoders[name] }

// Filter reports whether this ffmpeg has the filter name, such as "zscale".
func (t *Tool) Filter(name string) bool { return t.filters[name] }

// QueuesInputs reports whether this ffmpeg starts a thread for each of several
// inputs, which -thread_queue_size 0 forbids.
func (t *Tool) QueuesInputs() bool { return !t.Version.AtLeast(6, 0) }
