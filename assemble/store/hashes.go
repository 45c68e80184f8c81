package store

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"hash/crc32"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"time"

	"ripieno/assemble/fault"
)

const hashesName = "hashes"

// settle is how long a file must have been at rest before its hash is
// remembered. A file changed twice within one tick of the file system's clock
// looks the same both times; ticks reach 2 s (FAT, exFAT).
const settle = 2 * time.Second

// memory is the file of remembered content hashes: one line a file, each with
// its checksum, the last line of a path wins. It is only ever appended to, so
// a kill costs at most the last line, which then fails its checksum.
type memory struct {
	mu     sync.Mutex
	path   string
	lines  int  // in the file, also dead ones
	torn   bool // the file does not end with a line end
	known  map[string]remembered
	flight flight[string, ID]
}

// remembered is a line of the file: the hash that a path had when its file looked like
// this. Another look makes it worthless.
type remembered struct {
	Path string `json:"path"`
	Mark mark   `json:"mark"`
	Hash ID     `json:"hash"`
}

// HashFile returns the SHA-256 of a regular file's bytes. It reads the file once and
// remembers the hash by size, times and inode number; a file that changed in
// the last two seconds is read again next time. A file that changes while it
// is read is a fault. Links are followed.
func (s *Store) HashFile(ctx context.Context, path string) (ID, error) {
	abs, err := filepath.Abs(path)
	if err != nil {
		return ID{}, err
	}
	return s.hashes.flight.do(ctx, abs, func() (ID, error) {
		before, err := statFile(abs)
		if err != nil {
			return ID{}, err
		}
		if id, ok := s.hashes.recall(abs, before); ok {
			return id, nil
		}
		id, err := hashPath(ctx, abs)
		if err != nil {
			return ID{}, fmt.Errorf("store: hash %s: %w", path, err)
		}
		// The same look before and after: the hash belongs to one state of
		// the file and not to a mixture of two.
		after, err := statFile(abs)
		if err != nil {
			return ID{}, err
		}
		if after != before {
			return ID{}, fault.New(fault.Media, path, "the file changed while it was read",
				"wait until it is copied completely, then run again")
		}
		if s.sys.now().Sub(time.Unix(0, before.newest())) >= settle {
			s.hashes.remember(s.sys, remembered{abs, before, id}, s.mustHold() == nil)
		}
		return id, nil
	})
}

// Remembered returns the hash and the size that the file at a path had when it was last
// hashed, whether it is still there or not; ok is false for one that nothing is known of.
func (s *Store) Remembered(path string) (hash ID, size int64, ok bool) {
	abs, err := filepath.Abs(path)
	if err != nil {
		return ID{}, 0, false
	}
	s.hashes.mu.Lock()
	defer s.hashes.mu.Unlock()
	r, ok := s.hashes.known[abs]
	return r.Hash, r.Mark.Size, ok
}

// recall returns the hash of a file that has not been touched since it was
// remembered.
func (m *memory) recall(path string, now mark) (ID, bool) {
	m.mu.Lock()
	defer m.mu.Unlock()
	r, ok := m.known[path]
	return r.Hash, ok && r.Mark == now
}

// remember keeps r in memory and, when the process may write, on disk. Failing
// to write costs reading the file again in the next run, so it is no error.
func (m *memory) remember(sys system, r remembered, write bool) {
	m.mu.Lock()
	defer m.mu.Unlock()
	m.known[r.Path] = r
	if !write {
		return
	}
	line := encodeRemembered(r)
	if m.torn {
		line = append([]byte("\n"), line...)
	}
	if err := sys.appendTo(m.path, line); err != nil {
		m.torn = true // part of the line may be there
		return
	}
	m.torn = false
	m.lines++
}

// load reads the file; lines that do not fit their checksum are forgotten.
func (m *memory) load(path string) {
	m.mu.Lock()
	defer m.mu.Unlock()
	m.path, m.known, m.lines = path, map[string]remembered{}, 0
	data, err := os.ReadFile(path)
	if err != nil {
		return // nothing remembered
	}
	m.torn = len(data) > 0 && data[len(data)-1] != '\n'
	for line := range bytes.Lines(data) {
		m.lines++
		if r, ok := decodeRemembered(line); ok {
			m.known[r.Path] = r
		}
	}
}

// compact rewrites a file that is mostly dead lines.
func (m *memory) compact(sys system) {
	m.mu.Lock()
	defer m.mu.Unlock()
	if m.lines <= 2*len(m.known)+64 {
		return
	}
	var all []byte
	for _, path := range slices.Sorted(maps.Keys(m.known)) {
		all = append(all, encodeRemembered(m.known[path])...)
	}
	if sys.replace(m.path, m.path+".tmp", all) == nil {
		m.lines, m.torn = len(m.known), false
	}
}

// forget empties the memory and its file.
func (m *memory) forget(sys system) error {
	m.mu.Lock()
	defer m.mu.Unlock()
	m.known, m.lines, m.torn = map[string]remembered{}, 0, false
	return sys.remove(m.path)
}

// encodeRemembered returns a line with its own checksum: one that was cut off is
// not taken for whole.
func encodeRemembered(r remembered) []byte {
	body, _ := json.Marshal(r) // strings and numbers: cannot fail
	return fmt.Appendf(nil, "%08x %s\n", crc32.ChecksumIEEE(body), body)
}

// decodeRemembered reads such a line; ok is false for one that is damaged.
func decodeRemembered(line []byte) (remembered, bool) {
	var r remembered
	sum, body, ok := strings.Cut(strings.TrimSuffix(string(line), "\n"), " ")
	if !ok || sum != fmt.Sprintf("%08x", crc32.ChecksumIEEE([]byte(body))) {
		return r, false
	}
	if json.Unmarshal([]byte(body), &r) != nil || r.Path == "" || r.Hash.IsZero() {
		return r, false
	}
	return r, true
}
