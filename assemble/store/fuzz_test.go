package store

import (
	"bytes"
	"testing"
)

// FuzzDecodeEntry: whatever stands in an index file, reading it gives either
// an error or an entry that belongs to the key.
func FuzzDecodeEntry(f *testing.F) {
	a := NewAction("conform").Version(3).For("oboe-1").Arg("size", 960).Input("take", HashBytes([]byte("take")))
	for _, a := range []Action{a.Ext(".mkv"), a.Files("a", "b")} {
		e := &entry{Format: format, ID: a.ID(), Rule: a.rule, Version: a.version, Subject: a.subject, Fields: a.fields,
			Ext: a.ext, Names: a.names, Files: []output{{}}}
		if a.names != nil {
			e.Files = []output{{Name: "a"}, {Name: "b"}}
		}
		data, err := encodeEntry(e)
		if err != nil {
			f.Fatal(err)
		}
		id := a.ID()
		f.Add(data, id[:])
		f.Add(data[:len(data)-1], id[:])
		f.Add(bytes.ToUpper(data), id[:])
	}
	f.Add([]byte("\n\n"), []byte{})
	// sum of "{}"
	f.Add([]byte("44136fa355b3678a1146ad16f7e8649e94fb4fc21fe77e8310c060f61caaff8a\n{}\n"), make([]byte, 32))
	f.Fuzz(func(t *testing.T, data, key []byte) {
		var id ID
		copy(id[:], key)
		e, err := decodeEntry(data, id)
		if err != nil {
			return
		}
		if e.ID != id || e.action().ID() != id {
			t.Errorf("an entry of %s for %s", e.action().ID(), id)
		}
		again, err := encodeEntry(e)
		if err != nil {
			t.Fatal(err)
		}
		if back, err := decodeEntry(again, id); err != nil || back.action().ID() != id {
			t.Errorf("does not survive writing: %v", err)
		}
	})
}

// FuzzRemembered: a line is either what was written or nothing.
func FuzzRemembered(f *testing.F) {
	f.Add("/takes/oboe.mov", int64(1), int64(2), int64(3), uint64(4), []byte("x"), -1)
	f.Add("a\nb \xff", int64(-1), int64(0), int64(1<<62), uint64(1<<63), []byte{}, 9)
	f.Fuzz(func(t *testing.T, path string, size, mtime, ctime int64, inode uint64, content []byte, flip int) {
		r := remembered{Path: path, Mark: mark{size, mtime, ctime, inode}, Hash: HashBytes(content)}
		line := encodeRemembered(r)
		if bytes.Count(line, []byte("\n")) != 1 {
			t.Fatalf("%q is not one line", line)
		}
		if flip >= 0 && flip < len(line)-1 {
			line[flip] ^= 1
			if got, ok := decodeRemembered(line); ok {
				t.Errorf("a flipped bit went unseen: %+v", got)
			}
			return
		}
		got, ok := decodeRemembered(line)
		if ok != (path != "") {
			t.Fatalf("%q: %v", line, ok)
		}
		if got.Mark != r.Mark && ok || got.Hash != r.Hash && ok {
			t.Errorf("%+v became %+v", r, got)
		}
	})
}
