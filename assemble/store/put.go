package store

import (
	"context"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
)

// Put returns the output of a, making it first when [Store.Get] misses. The
// function writes to tmp, a path that does not exist yet: a file with the
// action's extension, or an empty folder for [Action.Files]. Its folder is
// scratch: anything beside tmp is thrown away. The lock must be held.
//
// Nothing is stored when make returns an error or leaves an output that is
// missing, empty or not a regular file, or when ctx has ended by then.
// Concurrent calls for one key make it once. A full disk is a fault.
func (s *Store) Put(ctx context.Context, a Action, make func(tmp string) error) (string, error) {
	if err := a.Err(); err != nil {
		return "", err
	}
	if err := s.mustHold(); err != nil {
		return "", err
	}
	return s.puts.do(ctx, a.ID(), func() (string, error) {
		if err := s.Lost(); err != nil {
			return "", err
		}
		if path, err := s.Get(ctx, a); err == nil {
			return path, nil
		}
		path, err := s.build(ctx, a, make)
		return path, DiskFault(s.dir, err)
	})
}

// Difference is what [Store.Compare] found: the same key gave other bytes, so
// an ingredient is missing from the key or the work is not reproducible.
type Difference struct {
	Action          Action
	File            string // which of several files; empty for a single one
	Stored, Rebuilt ID
}

// Error names the action and both contents.
func (d *Difference) Error() string {
	what := d.Action.rule
	if d.Action.subject != "" {
		what += " of " + d.Action.subject
	}
	if d.File != "" {
		what += ", file " + d.File
	}
	return fmt.Sprintf("store: %s: rebuilt to other bytes: stored %s, rebuilt %s; its key lacks an ingredient",
		what, d.Stored.Short(), d.Rebuilt.Short())
}

// Compare makes the output of a again and compares it with what is stored,
// which stays as it is. It returns a *[Difference] when they differ, and an
// error when nothing sound is stored.
func (s *Store) Compare(ctx context.Context, a Action, make func(tmp string) error) error {
	if _, why := s.Get(ctx, a); why != nil {
		return fmt.Errorf("store: nothing to compare: %w", why)
	}
	if err := s.mustHold(); err != nil {
		return err
	}
	e, err := s.load(a.ID())
	if err != nil {
		return err
	}
	dir, _, files, err := s.construct(ctx, a, make)
	if dir != "" {
		defer s.sys.remove(dir)
	}
	if err != nil {
		return DiskFault(s.dir, err)
	}
	for i, f := range files {
		if f.Hash != e.Files[i].Hash && !slices.Contains(a.varies, f.Name) {
			return &Difference{Action: a, File: f.Name, Stored: e.Files[i].Hash, Rebuilt: f.Hash}
		}
	}
	return nil
}

// build makes the output and moves it into place: content first, index last.
func (s *Store) build(ctx context.Context, a Action, make func(tmp string) error) (string, error) {
	began := s.sys.now()
	dir, tmp, files, err := s.construct(ctx, a, make)
	if dir != "" {
		defer s.sys.remove(dir)
	}
	if err != nil {
		return "", err
	}
	id := a.ID()
	path := s.outputPath(id, a.ext, a.names)
	// A damaged entry goes first: while its index stands it must never
	// describe the new content.
	for _, old := range []string{s.indexPath(id), path} {
		if err := s.sys.remove(old); err != nil {
			return "", err
		}
	}
	// No sync of the folder here: a kill or a power cut before the index is
	// written leaves an orphan, which is swept; after it, save syncs both.
	if err := s.sys.rename(tmp, path); err != nil {
		return "", err
	}
	now := s.sys.now()
	e := &entry{Format: format, ID: id, Rule: a.rule, Version: a.version, Subject: a.subject,
		Fields: a.fields, Ext: a.ext, Names: a.names, Files: files,
		Made: now.UnixNano(), Seconds: max(0, now.Sub(began).Seconds()) / float64(max(1, a.among)),
		Cost: usableCost(a.cost)}
	for i, f := range e.Files {
		// Renaming changed the change time, so the marks are taken now.
		if e.Files[i].Mark, err = markOf(filePath(path, f)); err != nil {
			return "", err
		}
	}
	s.mu.Lock()
	s.pinned[id] = true // before it can be seen, and trimmed by another
	s.mu.Unlock()
	if err := s.save(e); err != nil {
		_ = s.drop(id) // a content without an index is only a waste of space
		return "", err
	}
	s.noteUse(e, nil)
	s.grow(ctx, e.bytes())
	return path, nil
}

// construct runs make in a new scratch folder dir and returns the finished,
// synced and hashed files at tmp. The caller removes dir, also on an error.
func (s *Store) construct(ctx context.Context, a Action, make func(tmp string) error) (dir, tmp string, files []output,
	err error) {
	if err := ctx.Err(); err != nil {
		return "", "", nil, err
	}
	shard := s.shard(a.ID())
	if err := s.sys.mkdir(shard); err != nil {
		return "", "", nil, err
	}
	if dir, err = s.sys.scratch(shard, s.tempPattern()); err != nil {
		return "", "", nil, err
	}
	defer func() {
		if p := recover(); p != nil {
			_ = s.sys.remove(dir)
			panic(p)
		}
	}()
	tmp = filepath.Join(dir, "out"+a.ext)
	if len(a.names) > 0 {
		if err := s.sys.mkdir(tmp); err != nil {
			return dir, tmp, nil, err
		}
	}
	if err := make(tmp); err != nil {
		// A tool that was interrupted says so in its own words; the run must
		// see that it was cancelled.
		if ctx.Err() != nil {
			return dir, tmp, nil, ctx.Err()
		}
		if lost := s.Lost(dir); lost != nil {
			return dir, tmp, nil, lost
		}
		return dir, tmp, nil, s.suspectFullDisk(err)
	}
	files, err = s.finish(ctx, a, tmp)
	if err != nil && ctx.Err() == nil {
		err = s.suspectFullDisk(err)
	}
	return dir, tmp, files, err
}

// finish checks what make left at tmp, brings it to the disk and hashes it.
func (s *Store) finish(ctx context.Context, a Action, tmp string) ([]output, error) {
	files := []output{{}}
	if len(a.names) > 0 {
		if err := refuseUndeclared(tmp, a.names); err != nil {
			return nil, fmt.Errorf("store: action %q: %w", a.rule, err)
		}
		files = files[:0]
		for _, n := range a.names {
			files = append(files, output{Name: n})
		}
	}
	for i, f := range files {
		path := filePath(tmp, f)
		m, err := markOf(path)
		if err != nil {
			return nil, fmt.Errorf("store: action %q left no output: %w", a.rule, err)
		}
		// No format is valid with no bytes, and tools leave such files behind
		// while they report success.
		if m.Size == 0 {
			return nil, fmt.Errorf("store: action %q left an empty output", a.rule)
		}
		// No wider than the recording it may be a copy of.
		if err := s.sys.private(path, 0o600); err != nil {
			return nil, err
		}
		if err := s.sys.sync(path); err != nil {
			return nil, err
		}
		if files[i].Hash, err = hashPath(ctx, path); err != nil {
			return nil, err
		}
	}
	if len(a.names) > 0 {
		if err := s.sys.sync(tmp); err != nil {
			return nil, err
		}
	}
	// A cancelled run's output may look whole and must never be kept.
	return files, ctx.Err()
}

// refuseUndeclared refuses files that the action does not name: they would be
// stored without being checked, or lost.
func refuseUndeclared(dir string, names []string) error {
	list, err := os.ReadDir(dir)
	if err != nil {
		return err
	}
	for _, x := range list {
		if !slices.Contains(names, x.Name()) {
			return fmt.Errorf("left %q, which is none of %s", x.Name(), strings.Join(names, ", "))
		}
	}
	return nil
}
