package store

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"slices"
	"time"
)

const (
	entryExt   = ".entry"
	folderExt  = ".d"
	tempPrefix = "tmp-"
)

// entry is what an index file says about one stored output.
type entry struct {
	Format  string   `json:"format"`
	ID      ID       `json:"id"`
	Rule    string   `json:"rule"`
	Version int      `json:"version"`
	Subject string   `json:"subject,omitempty"`
	Fields  []Field  `json:"fields"`
	Ext     string   `json:"ext,omitempty"`
	Names   []string `json:"names,omitempty"`
	Files   []output `json:"files"`
	// Racy: the file was changed in the same tick of the file system's clock
	// in which it was looked at, so a later change could leave the same mark.
	Racy    bool    `json:"racy,omitempty"`
	Made    int64   `json:"made"`           // nanoseconds since 1970
	Seconds float64 `json:"seconds"`        // what making it took
	Cost    float64 `json:"cost,omitempty"` // what it was expected to take
}

// output is one stored file.
type output struct {
	Name string `json:"name,omitempty"` // empty for a single file
	Hash ID     `json:"hash"`
	Mark mark   `json:"mark"`
}

// action returns the description that e was stored under.
func (e *entry) action() Action {
	return Action{rule: e.Rule, version: e.Version, subject: e.Subject, fields: e.Fields, ext: e.Ext, names: e.Names}
}

// bytes returns the size of all files of e.
func (e *entry) bytes() int64 {
	var n int64
	for _, f := range e.Files {
		n += f.Mark.Size
	}
	return n
}

// encodeEntry writes the SHA-256 of the JSON and then the JSON, so that any
// damage shows.
func encodeEntry(e *entry) ([]byte, error) {
	body, err := json.Marshal(e)
	if err != nil {
		return nil, err
	}
	sum := sha256.Sum256(body)
	return slices.Concat([]byte(hex.EncodeToString(sum[:])), []byte("\n"), body, []byte("\n")), nil
}

// decodeEntry reads what encodeEntry wrote and checks that the description
// gives the key the entry is stored under. It never panics, whatever the bytes.
func decodeEntry(data []byte, want ID) (*entry, error) {
	head, body, ok := bytes.Cut(data, []byte("\n"))
	body, whole := bytes.CutSuffix(body, []byte("\n"))
	if !ok || !whole {
		return nil, errors.New("its index is cut short")
	}
	if sum := sha256.Sum256(body); hex.EncodeToString(sum[:]) != string(head) {
		return nil, errors.New("its index is damaged")
	}
	e := new(entry)
	if err := json.Unmarshal(body, e); err != nil {
		return nil, fmt.Errorf("its index cannot be read: %w", err)
	}
	switch {
	case e.Format != format:
		return nil, fmt.Errorf("it was stored as %q", e.Format)
	case e.ID != want || e.action().ID() != want:
		return nil, errors.New("its index describes something else")
	case len(e.Files) != max(1, len(e.Names)):
		return nil, errors.New("its index lists the wrong number of files")
	}
	for i, f := range e.Files {
		if len(e.Names) > 0 && f.Name != e.Names[i] || len(e.Names) == 0 && f.Name != "" {
			return nil, errors.New("its index lists other files")
		}
	}
	return e, nil
}

// shard returns the folder of id, base the beginning of all its names.
func (s *Store) shard(id ID) string { return filepath.Join(s.dir, id.String()[:2]) }
func (s *Store) base(id ID) string  { return filepath.Join(s.shard(id), id.String()) }

func (s *Store) indexPath(id ID) string { return s.base(id) + entryExt }

// outputPath returns where the output of a stands: a file, or a folder when a has
// several files.
func (s *Store) outputPath(id ID, ext string, names []string) string {
	if len(names) > 0 {
		return s.base(id) + folderExt
	}
	return s.base(id) + ext
}

// filePath returns one file of the output at path.
func filePath(path string, f output) string {
	if f.Name == "" {
		return path
	}
	return filepath.Join(path, f.Name)
}

// load reads the index of id. A missing one is fs.ErrNotExist.
func (s *Store) load(id ID) (*entry, error) {
	data, err := os.ReadFile(s.indexPath(id))
	if err != nil {
		return nil, err
	}
	return decodeEntry(data, id)
}

// save writes the index of e, durably and last.
func (s *Store) save(e *entry) error {
	dir, err := s.sys.scratch(s.shard(e.ID), s.tempPattern())
	if err != nil {
		return err
	}
	defer s.sys.remove(dir)
	temp := filepath.Join(dir, "entry")
	if e.Racy, err = s.racy(e, temp); err != nil {
		return err
	}
	data, err := encodeEntry(e)
	if err != nil {
		return err
	}
	return s.sys.replace(s.indexPath(e.ID), temp, data)
}

// racy reports whether the marks of e could still survive a change of the
// files. The file system's own clock decides: a file written now, at temp, must
// be later than every mark. It waits a few ticks of an ordinary kernel (4 ms
// at 250 Hz) before it gives up, because an entry that stays racy is compared
// byte by byte in the next run.
func (s *Store) racy(e *entry, temp string) (bool, error) {
	for try := 0; ; try++ {
		if err := s.sys.write(temp, []byte{byte(try)}); err != nil {
			return true, err
		}
		now, err := markOf(temp)
		if err != nil {
			return true, err
		}
		if !slices.ContainsFunc(e.Files, func(f output) bool { return f.Mark.newest() >= now.Ctime }) {
			return false, nil
		}
		if try == 12 {
			return true, nil
		}
		s.sys.pause(time.Millisecond)
	}
}

// verify compares the files of e with the disk. Sizes always; bytes when the
// marks changed or full is set. fresh holds the marks as they are now and is
// nil when they are as recorded.
func (s *Store) verify(ctx context.Context, e *entry, full bool) (fresh []output, err error) {
	path := s.outputPath(e.ID, e.Ext, e.Names)
	changed := e.Racy
	fresh = slices.Clone(e.Files)
	// All looks come before all reading: the marks in fresh are then older
	// than the bytes that were compared, so a change in between shows later.
	for i, f := range e.Files {
		m, err := markOf(filePath(path, f))
		if err != nil {
			return nil, fmt.Errorf("its output cannot be used: %w", err)
		}
		if m.Size != f.Mark.Size {
			return nil, fmt.Errorf("its output has %d bytes instead of %d", m.Size, f.Mark.Size)
		}
		changed = changed || m != f.Mark
		fresh[i].Mark = m
	}
	if !changed && !full {
		return nil, nil
	}
	for _, f := range e.Files {
		got, err := hashPath(ctx, filePath(path, f))
		if err != nil {
			return nil, fmt.Errorf("its output cannot be read: %w", err)
		}
		if got != f.Hash {
			return nil, errors.New("its output is not what was stored")
		}
	}
	return fresh, nil
}

// hashPath returns the SHA-256 of a file's bytes.
func hashPath(ctx context.Context, path string) (ID, error) {
	f, err := os.Open(path)
	if err != nil {
		return ID{}, err
	}
	defer f.Close()
	h := sha256.New()
	if _, err := io.CopyBuffer(h, contextReader{ctx, f}, make([]byte, 1<<18)); err != nil {
		return ID{}, err
	}
	return ID(h.Sum(nil)), nil
}

// contextReader ends a long read when ctx ends.
type contextReader struct {
	ctx context.Context
	r   io.Reader
}

func (c contextReader) Read(p []byte) (int, error) {
	if err := c.ctx.Err(); err != nil {
		return 0, err
	}
	return c.r.Read(p)
}
