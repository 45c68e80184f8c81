package farm

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"os"

	"ripieno/assemble/order"
)

// depot is where files lie between machines, by the hash of their bytes: the hub itself,
// or a place that its administrator keeps.
//
// A file is there whole or not at all. Putting one that is there does nothing, and a
// worker cannot replace one. Every method ends soon after ctx does.
type depot interface {
	// put sends the file at path. It fails when the depot takes nothing, or when the
	// file has another size than f.
	put(ctx context.Context, s shelf, f order.File, path string) error
	// get writes a file to path. It fails with errMissing when it is not there and with
	// errDamaged when what came is another file; nothing is at path then.
	get(ctx context.Context, s shelf, f order.File, path string) error
	// has reports whether a file is there whole.
	has(ctx context.Context, s shelf, f order.File) bool
	// drop removes a file, or what there is of it. A worker may not.
	drop(ctx context.Context, s shelf, hash string) error
	// space returns how many bytes a shelf may hold, 0 for no bound.
	space(ctx context.Context, s shelf) int64
}

// shelf is a part of a depot.
type shelf string

const (
	readShelf shelf = "read" // what orders read: homes write it, workers read it
	madeShelf shelf = "made" // what workers made: both read it, workers write it
)

var (
	// errDamaged is what arrived as another file than was asked for.
	errDamaged = errors.New("farm: what arrived is not the file that was asked for")
	// errMissing is what is asked for and not there.
	errMissing = errors.New("farm: a file is not there any more")
)

// hashed describes a file by its content.
func hashed(name, path string) (order.File, error) {
	f, err := os.Open(path)
	if err != nil {
		return order.File{}, err
	}
	defer f.Close()
	h := sha256.New()
	n, err := io.Copy(h, f)
	return order.File{Name: name, Hash: hex.EncodeToString(h.Sum(nil)), Size: n}, err
}

// receive writes to path what fill writes, and fails with errDamaged when that is not f.
// What is not whole is removed again. The hash is taken of what was written, so a
// file that is at path is f. Whether it reached the disk is not asked: it is fetched
// again after a crash.
func receive(f order.File, path string, fill func(w io.Writer) error) (err error) {
	w, err := os.OpenFile(path, os.O_CREATE|os.O_WRONLY|os.O_TRUNC, 0o600)
	if err != nil {
		return err
	}
	defer func() {
		if err = errors.Join(err, w.Close()); err != nil {
			os.Remove(path)
		}
	}()
	h := sha256.New()
	if err := fill(io.MultiWriter(w, h)); err != nil {
		return err
	}
	if hex.EncodeToString(h.Sum(nil)) != f.Hash {
		return fmt.Errorf("%w: %.12s", errDamaged, f.Hash)
	}
	return nil
}
