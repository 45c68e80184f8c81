package farm

import (
	"crypto/aes"
	"crypto/cipher"
	"crypto/hmac"
	"crypto/sha256"
	"encoding/binary"
	"encoding/hex"
	"fmt"
	"io"
)

// seal locks a file up on its way, by a key that is made of the hash of its bytes, which
// orders tell to those who may read it. Who keeps the files, or looks through what lies at
// a hub, sees neither what is in them nor their hashes. The same bytes are locked up to the
// same bytes by whoever does it, so a file is there once. (Convergent encryption, Douceur
// and others, 2002: who has a file already can tell that it is there.)
type seal struct {
	name string // of the file in a depot: 64 hexadecimal digits
	box  cipher.AEAD
}

// sealOf returns the seal of the file with a hash. It fails when the hash is none.
func sealOf(hash string) (seal, error) {
	secret, err := hex.DecodeString(hash)
	if err != nil || len(secret) != sha256.Size {
		return seal{}, fmt.Errorf("farm: %q is no hash of a file", hash)
	}
	derive := func(what string) []byte {
		m := hmac.New(sha256.New, secret)
		m.Write([]byte("ripieno " + what))
		return m.Sum(nil)
	}
	block, err := aes.NewCipher(derive("key"))
	if err != nil {
		return seal{}, err
	}
	box, err := cipher.NewGCM(block)
	return seal{hex.EncodeToString(derive("name")), box}, err
}

// number returns the number by which piece k of a file is locked up. A key is for one content
// alone, so the same number never locks up two pieces.
func (s seal) number(k int) []byte {
	n := make([]byte, s.box.NonceSize())
	binary.BigEndian.PutUint64(n[len(n)-8:], uint64(k))
	return n
}

// lock returns piece k of the file, locked up.
func (s seal) lock(k int, data []byte) []byte { return s.box.Seal(nil, s.number(k), data, nil) }

// open returns what lock was given, in the place of data. It fails with errDamaged for anything else.
func (s seal) open(k int, data []byte) ([]byte, error) {
	plain, err := s.box.Open(data[:0], s.number(k), data, nil)
	if err != nil {
		return nil, errDamaged
	}
	return plain, nil
}

// overhead is how many bytes longer a sealed piece is.
const overhead = 16

// sealedSize returns how long a file is when its pieces are sealed one after the other.
func sealedSize(bytes int64) int64 { return bytes + overhead*int64(count(bytes)) }

// sealing reads a file as its sealed pieces, one after the other.
type sealing struct {
	lock seal
	from io.Reader
	k    int
	rest []byte // of the piece that is read
}

// Read implements [io.Reader].
func (s *sealing) Read(b []byte) (int, error) {
	if len(s.rest) == 0 {
		data := make([]byte, piece)
		n, err := io.ReadFull(s.from, data)
		if n == 0 {
			return 0, err // the end, or why it comes too early
		}
		s.rest = s.lock.lock(s.k, data[:n])
		s.k++
	}
	n := copy(b, s.rest)
	s.rest = s.rest[n:]
	return n, nil
}

// unseal writes a file of so many bytes whose sealed pieces come one after the other. It
// fails with errDamaged when they are not those, or fewer or more.
func (s seal) unseal(from io.Reader, bytes int64, to io.Writer) error {
	data := make([]byte, piece+overhead)
	for k := range count(bytes) {
		part := data[:min(piece, bytes-int64(k)*piece)+overhead]
		if _, err := io.ReadFull(from, part); err == io.EOF || err == io.ErrUnexpectedEOF {
			return errDamaged
		} else if err != nil {
			return err
		}
		plain, err := s.open(k, part)
		if err != nil {
			return err
		}
		if _, err := to.Write(plain); err != nil {
			return err
		}
	}
	switch n, err := io.ReadFull(from, data[:1]); {
	case n > 0:
		return errDamaged
	case err != io.EOF:
		return err
	}
	return nil
}
