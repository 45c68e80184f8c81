// Package kept keeps the remarks of a production in the file beside its manifest. Every
// change is made under a lock and appears whole, so that a desk, another desk and a file
// that is taken in lose nothing of each other. What a person writes into the file by
// hand counts as well.
package kept

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"

	"ripieno/assemble/fault"
	"ripieno/assemble/production"
	"ripieno/assemble/remark"
	"ripieno/assemble/session"
	"ripieno/assemble/store"
)

// lockName is the file in the store's folder by which changes wait for each other.
const lockName = "remarks.lock"

// path returns where the remarks of a production lie.
func path(dir string) string { return filepath.Join(dir, remark.FileName) }

// read returns the file's bytes; none when there is no file. A link leads out of the
// production and is refused.
func read(dir string) ([]byte, error) {
	refuse := func(what string, err error) error {
		return fault.New(fault.Manifest, remark.FileName, what,
			"move it away, or make it an ordinary file").Because(err)
	}
	st, err := os.Lstat(path(dir))
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return nil, nil
	case err != nil:
		return nil, refuse("the remarks cannot be read", err)
	case !st.Mode().IsRegular():
		return nil, refuse("the remarks are no ordinary file", nil)
	}
	f, err := os.Open(path(dir))
	if err != nil {
		return nil, refuse("the remarks cannot be read", err)
	}
	defer f.Close()
	data, err := io.ReadAll(io.LimitReader(f, remark.MostBytes+1))
	if err != nil {
		return nil, refuse("the remarks cannot be read", err)
	}
	return data, nil
}

// Load returns what was said of the production in dir.
func Load(dir string) (*remark.Book, error) {
	data, err := read(dir)
	if err != nil {
		return nil, err
	}
	return remark.Parse(remark.FileName, data)
}

// Version names the file as it is, so that a page sees that it was changed.
func Version(dir string) string {
	data, err := read(dir)
	if err != nil {
		return err.Error()
	}
	sum := sha256.Sum256(data)
	return hex.EncodeToString(sum[:8])
}

// errChanged says that somebody who takes no lock has written the file meanwhile.
var errChanged = errors.New("the remarks were changed meanwhile")

// Change has change make another book of that in dir, and writes it whole. It is asked
// again with what somebody else has written meanwhile.
func Change(ctx context.Context, dir string, change func(*remark.Book) error) error {
	release, err := store.Guard(ctx, filepath.Join(dir, session.StoreFolder, lockName))
	if err != nil {
		return err
	}
	defer release()
	for {
		switch err := changeOnce(ctx, dir, change); {
		case !errors.Is(err, errChanged):
			return err
		case ctx.Err() != nil:
			return ctx.Err()
		}
	}
}

// changeOnce makes one change of the file as it is now.
func changeOnce(ctx context.Context, dir string, change func(*remark.Book) error) error {
	old, err := read(dir)
	if err != nil {
		return err
	}
	book, err := remark.Parse(remark.FileName, old)
	if err != nil {
		return err
	}
	if err := change(book); err != nil {
		return err
	}
	if len(book.Remarks) > remark.MostRemarks || len(book.Approvals) > remark.MostApprovals {
		return remark.TooMany()
	}
	next := book.Format()
	if bytes.Equal(next, old) || len(old) == 0 && len(book.Remarks)+len(book.Approvals) == 0 {
		return nil
	}
	return store.Publish(ctx, path(dir), func(tmp string) error {
		if err := os.WriteFile(tmp, next, 0o666); err != nil {
			return err
		}
		if now, err := read(dir); err != nil || !bytes.Equal(now, old) {
			return errors.Join(errChanged, err)
		}
		return nil
	})
}

// HashFilm returns the hash of a film among the outputs; "" when there is none.
func HashFilm(out, name string) (string, error) {
	f, _, err := OpenFilm(out, name)
	if err != nil || f == nil {
		return "", err
	}
	defer f.Close()
	sum := sha256.New()
	if _, err := io.Copy(sum, f); err != nil {
		return "", fmt.Errorf("reading %s: %w", f.Name(), err)
	}
	return hex.EncodeToString(sum.Sum(nil)), nil
}

// OpenFilm opens a film among the outputs; nil when there is none. A link is none.
func OpenFilm(out, name string) (*os.File, os.FileInfo, error) {
	at := filepath.Join(out, name+".mp4")
	st, err := os.Lstat(at)
	if errors.Is(err, fs.ErrNotExist) || err == nil && !st.Mode().IsRegular() {
		return nil, nil, nil
	}
	if err != nil {
		return nil, nil, err
	}
	f, err := os.Open(at)
	if err != nil {
		return nil, nil, err
	}
	now, err := f.Stat()
	if err == nil && !os.SameFile(st, now) {
		err = fmt.Errorf("%s was exchanged while it was opened", at)
	}
	if err != nil {
		f.Close()
		return nil, nil, err
	}
	return f, now, nil
}

// Stands returns the approvals of a book, held against the films among the outputs.
func Stands(b *remark.Book, out string) ([]remark.Stand, error) {
	hashes := map[string]string{}
	for _, a := range b.Approvals {
		if _, ok := hashes[a.Film]; ok {
			continue
		}
		hash, err := HashFilm(out, a.Film)
		if err != nil {
			return nil, err
		}
		hashes[a.Film] = hash
	}
	return b.Stands(hashes), nil
}

// Said returns what is open of a production, beside its measures, and who has approved
// what of the films among the outputs.
func Said(man *production.Production, out string) (open []remark.At, stands []remark.Stand, err error) {
	book, err := Load(man.Dir)
	if err != nil {
		return nil, nil, err
	}
	stands, err = Stands(book, out)
	return book.Beside(man.Tempo, remark.IsOpen), stands, err
}
