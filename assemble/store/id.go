package store

import (
	"crypto/sha256"
	"encoding/binary"
	"encoding/hex"
	"fmt"
	"hash"
	"io"
)

// ID is a SHA-256: of a description when it comes from [Action.ID], of bytes
// when it comes from [HashBytes] or [Store.HashFile]. The zero ID names
// nothing and is refused as an input.
type ID [sha256.Size]byte

// String returns the ID as 64 lower-case hexadecimal digits.
func (id ID) String() string { return hex.EncodeToString(id[:]) }

// Short returns the first 12 digits, for people.
func (id ID) Short() string { return id.String()[:12] }

// IsZero reports whether id names nothing.
func (id ID) IsZero() bool { return id == ID{} }

// MarshalText returns the form of [ID.String].
func (id ID) MarshalText() ([]byte, error) { return []byte(id.String()), nil }

// UnmarshalText accepts what [ParseID] accepts.
func (id *ID) UnmarshalText(text []byte) error {
	got, err := ParseID(string(text))
	if err == nil {
		*id = got
	}
	return err
}

// ParseID reads 64 hexadecimal digits. Anything else fails.
func ParseID(s string) (ID, error) {
	var id ID
	if len(s) != 2*len(id) {
		return ID{}, fmt.Errorf("store: %q is not a key: want %d hexadecimal digits", s, 2*len(id))
	}
	if _, err := hex.Decode(id[:], []byte(s)); err != nil {
		return ID{}, fmt.Errorf("store: %q is not a key: %w", s, err)
	}
	return id, nil
}

// HashBytes returns the ID of content held in memory, for inputs that are not
// files. The parts are framed: ("ab", "c") and ("a", "bc") differ.
func HashBytes(parts ...[]byte) ID {
	f := newFramer()
	for _, p := range parts {
		f.bytes(p)
	}
	return f.sum()
}

// framer hashes a sequence of strings so that their borders count: each is
// preceded by its length as 8 bytes, little endian. Plain concatenation would
// give ("ab", "c") and ("a", "bc") one key.
type framer struct{ h hash.Hash }

// newFramer returns a hash of fields that begins empty.
func newFramer() framer { return framer{sha256.New()} }

// bytes adds a field with its length before it, so that no two lists of fields run
// together alike.
func (f framer) bytes(b []byte) {
	var n [8]byte
	binary.LittleEndian.PutUint64(n[:], uint64(len(b)))
	f.h.Write(n[:])
	f.h.Write(b)
}

// string adds a text as a field, its length first: so no two lists of fields have the same
// bytes, wherever one text ends and the next begins.
func (f framer) string(s string) {
	var n [8]byte
	binary.LittleEndian.PutUint64(n[:], uint64(len(s)))
	f.h.Write(n[:])
	_, _ = io.WriteString(f.h, s) // a hash never fails to take bytes
}

// sum returns the hash of all fields.
func (f framer) sum() ID { return ID(f.h.Sum(nil)) }
