// Package session holds what every verb works with while a production's folder
// is open: the manifest, ffmpeg, the store, the workers and the reporter. A
// [Session] does not change once it is open; what a verb finds out is in values
// of its own. The package reads no take and decides nothing about a film.
//
// [Open] takes the folder and waits for another run that has it. [Session.Run]
// makes what is missing of a graph of tasks, [Session.Out] names an output and
// [Session.Publish] writes one whole.
package session

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"syscall"
	"time"

	"ripieno/assemble/beats"
	"ripieno/assemble/fault"
	"ripieno/assemble/ffmpeg"
	"ripieno/assemble/manifest"
	"ripieno/assemble/production"
	"ripieno/assemble/store"
	"ripieno/assemble/task"
)

// Session is an open production folder.
type Session struct {
	set  Settings
	man  *production.Production
	tool *ffmpeg.Tool
	kept *store.Store
	// differ, when there is one, makes every run make again what is stored,
	// and takes down what came out different.
	differ *Differences
	ran    *profile  // nil: nobody wants to know
	away   task.Away // nil: everything is made here
}

// Find returns ffmpeg, or says what is missing: the program, or parts of it without
// which nothing can be made. The fault has a command that installs it.
func (set Settings) Find(ctx context.Context) (*ffmpeg.Tool, error) {
	tool, err := set.Programs.Find(ctx)
	if err != nil {
		return nil, err
	}
	return tool, tool.RequireAll()
}

// Open reads the manifest, finds ffmpeg and takes the production's store, waiting while
// another run has it. [Session.Close] gives it back. Faults of the manifest come first,
// all of them, then those of settings, ffmpeg, open files and the disk. It fails with
// ctx's error when that ends while it waits.
func Open(ctx context.Context, set Settings) (*Session, error) {
	note, err := beats.Find(ctx, set.Dir, set.Find)
	if err != nil {
		return nil, err
	}
	man, err := manifest.Load(set.Dir)
	if err != nil {
		return nil, err
	}
	s := &Session{man: man}
	if s.set, err = set.complete(man.Dir); err != nil {
		return nil, err
	}
	for _, a := range append(man.Advice, note) {
		if a != "" {
			s.Message(a)
		}
	}
	if s.tool, err = set.Find(ctx); err != nil {
		return nil, err
	}
	if err := s.allowFiles(); err != nil {
		return nil, err
	}
	if s.kept, err = store.Open(filepath.Join(man.Dir, StoreFolder)); err != nil {
		return nil, err
	}
	s.kept.SetBound(s.set.Store)
	if s.set.Profile != "" {
		s.ran = &profile{}
	}
	err = s.kept.LockWait(ctx, func(pid int) {
		s.Message(fmt.Sprintf("another run (process %d) has this production; waiting until it has finished", pid))
	})
	if err != nil {
		s.kept.Close()
		return nil, err
	}
	return s, nil
}

// New returns a session without a store, for what only asks the manifest and
// ffmpeg: nothing can be made in it.
func New(set Settings, man *production.Production, tool *ffmpeg.Tool) *Session {
	return &Session{set: set, man: man, tool: tool}
}

// allowFiles makes room for as many open files as a shot of all takes needs:
// ffmpeg opens every conformed picture of a segment at once. spareFiles is for
// what every process has open besides.
func (s *Session) allowFiles() error {
	const spareFiles = 64
	n := len(s.man.Takes)
	need := uint64(n + spareFiles)
	if have, err := ffmpeg.RaiseFileLimit(); err == nil && have < need {
		return fault.New(fault.Failed, s.man.Path,
			fmt.Sprintf("%d takes need %d open files, and this system allows %d", n, need, have),
			fmt.Sprintf("allow more with `ulimit -n %d`, or use shots that show one section at a time", need))
	}
	return nil
}

// Close lets the next run in. It fails when the lock cannot be given back; closing twice
// is fine.
func (s *Session) Close() error { return s.kept.Close() }

// Manifest returns what the production asks for.
func (s *Session) Manifest() *production.Production { return s.man }

// Tool returns the ffmpeg that is used.
func (s *Session) Tool() *ffmpeg.Tool { return s.tool }

// Store returns what has been made so far.
func (s *Session) Store() *store.Store { return s.kept }

// Workers returns how many tasks may run at once.
func (s *Session) Workers() int { return s.set.Workers }

// Encoder returns what is to encode finished films; see [Settings].
func (s *Session) Encoder() string { return s.set.Encoder }

// Now returns the time for durations and days told to people.
func (s *Session) Now() time.Time { return s.set.Now() }

// Settings returns what the session was opened with, completed.
func (s *Session) Settings() Settings { return s.set }

// Message tells the person something that is no result.
func (s *Session) Message(text string) { s.set.Report.Message(text) }

// Out returns the path of an output. It makes the folder and finds out that it
// cannot be written before any work is done.
func (s *Session) Out(name string) (string, error) { return Out(s.set.Out, name) }

// Out returns the path of an output in dir; see [Session.Out].
func Out(dir, name string) (string, error) {
	if err := os.MkdirAll(dir, 0o777); err != nil {
		return "", Unwritable(dir, err)
	}
	probe, err := os.CreateTemp(dir, ".writable-*")
	if err != nil {
		return "", Unwritable(dir, err)
	}
	probe.Close()
	os.Remove(probe.Name())
	return filepath.Join(dir, name), nil
}

// Unwritable returns the fault of a folder of outputs that cannot be written.
func Unwritable(dir string, err error) error {
	if errors.Is(err, syscall.ENAMETOOLONG) {
		return tooLong(dir)
	}
	return fault.New(fault.Failed, dir, "the output folder cannot be written",
		"make it writable, or choose another with --out").Because(err)
}

// Trim keeps the store within its bound after a run. The run has done its work
// by then, so a failure is only told.
func (s *Session) Trim(ctx context.Context) {
	freed, err := s.kept.Trim(ctx, s.set.Store)
	switch {
	case err != nil && ctx.Err() == nil:
		s.Message("the store could not be trimmed: " + err.Error())
	case freed.Entries > 0:
		what := fmt.Sprintf("%d results that were", freed.Entries)
		if freed.Entries == 1 {
			what = "1 result that was"
		}
		s.Message(fmt.Sprintf("removed %s not used for longest (%.1f MB)", what, float64(freed.Bytes)/1e6))
	}
}

// Publish writes a small file whole, and not at all when it is the same. It fails with
// the disk's fault, or when ctx ends; the file is then as it was.
func Publish(ctx context.Context, path string, data []byte) error {
	if old, err := os.ReadFile(path); err == nil && string(old) == string(data) {
		return nil
	}
	return store.Publish(ctx, path, func(tmp string) error { return os.WriteFile(tmp, data, 0o666) })
}
