package farm

import (
	"crypto/aes"
	"crypto/cipher"
	"crypto/hmac"
	"crypto/sha256"
	"encoding/binary"
	"encoding/hex"
	"fmt"
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

// number is what makes pieces of one file differ. A key is for one content alone, so the
// same number never locks up two.
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
