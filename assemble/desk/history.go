package desk

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"os"
	"slices"
	"sync"

	"ripieno/assemble/manifest"
	"ripieno/assemble/production"
	"ripieno/assemble/session"
)

// errStale says that the manifest is not what the person had before them.
var errStale = errors.New("production.yaml was changed meanwhile; look again before you decide")

// errNothing says that there is nothing to undo or to redo.
var errNothing = errors.New("there is nothing to undo")

// version names a text of the manifest.
func version(data []byte) string {
	sum := sha256.Sum256(data)
	return hex.EncodeToString(sum[:8])
}

// step is one change that the desk has made: the whole text before it and behind it.
type step struct {
	what          string
	before, after []byte
}

// history changes the manifest and takes changes back. A step is only taken back
// when the manifest is byte for byte what that step has left: what somebody else has
// written meanwhile is never undone.
type history struct {
	man *production.Production // where it lies

	mu         sync.Mutex
	undo, redo []step
	told       []told // texts that pages know, the last one at the end
}

// told is a text of the manifest that pages were told of.
type told struct {
	version string
	text    []byte
}

// mostTold is how many of them are kept: a page that is behind by more looks again.
const mostTold = 32

// mostSteps is how many changes can be taken back.
const mostSteps = 500

// newHistory returns the history of a manifest.
func newHistory(dir, path string) *history {
	return &history{man: &production.Production{Dir: dir, Path: path}}
}

// read returns the manifest as it is.
func (h *history) read() ([]byte, error) { return os.ReadFile(h.man.Path) }

// tell keeps a text whose version a page is told.
func (h *history) tell(version string, text []byte) {
	h.mu.Lock()
	defer h.mu.Unlock()
	h.told = slices.DeleteFunc(h.told, func(t told) bool { return t.version == version })
	h.told = append(h.told, told{version, text})
	if n := len(h.told); n > mostTold {
		h.told = slices.Delete(h.told, 0, n-mostTold)
	}
}

// isAsDecided reports whether a text says of what changes are about what a person had
// before them, who knows the manifest as it was of a version.
func (h *history) isAsDecided(of string, text []byte, about []manifest.Change) bool {
	if version(text) == of {
		return true
	}
	i := slices.IndexFunc(h.told, func(t told) bool { return t.version == of })
	return i >= 0 && manifest.Agree(h.told[i].text, text, about)
}

// change makes a change that a person decided on while the manifest was of a version.
// about are the places that it changes. The error is errStale when the manifest says
// something else of them by now.
func (h *history) change(ctx context.Context, of, what string, about []manifest.Change,
	change func(data []byte) ([]byte, error)) error {
	h.mu.Lock()
	defer h.mu.Unlock()
	var made step
	err := session.ChangeManifest(ctx, h.man, func(data []byte) ([]byte, error) {
		if !h.isAsDecided(of, data, about) {
			return nil, errStale
		}
		next, err := change(data)
		made = step{what, bytes.Clone(data), next}
		return next, err
	})
	if err != nil || bytes.Equal(made.before, made.after) {
		return err
	}
	h.undo, h.redo = append(h.undo, made), nil
	if n := len(h.undo); n > mostSteps {
		h.undo = h.undo[n-mostSteps:]
	}
	return nil
}

// back takes the last change back, or with forth makes the one that was taken back
// again.
func (h *history) back(ctx context.Context, forth bool) error {
	h.mu.Lock()
	defer h.mu.Unlock()
	from, to := &h.undo, &h.redo
	if forth {
		from, to = to, from
	}
	n := len(*from)
	if n == 0 {
		return errNothing
	}
	last := (*from)[n-1]
	is, becomes := last.after, last.before
	if forth {
		is, becomes = becomes, is
	}
	err := session.ChangeManifest(ctx, h.man, func(data []byte) ([]byte, error) {
		if !bytes.Equal(data, is) {
			return nil, errStale
		}
		return becomes, nil
	})
	if err != nil {
		return err
	}
	*from, *to = (*from)[:n-1], append(*to, last)
	return nil
}

// next returns what undo and redo would do, in words; "" for nothing.
func (h *history) next() (undo, redo string) {
	h.mu.Lock()
	defer h.mu.Unlock()
	if n := len(h.undo); n > 0 {
		undo = h.undo[n-1].what
	}
	if n := len(h.redo); n > 0 {
		redo = h.redo[n-1].what
	}
	return undo, redo
}
