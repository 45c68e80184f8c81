package ffmpeg

import (
	"io"
	"sync"
)

// watched passes reads or writes through, remembers the caller's failure and
// tells seen, unless that is nil, of every byte.
type watched struct {
	r    io.Reader
	w    io.Writer
	seen func()
	mu   sync.Mutex
	err  error
}

// noteProgress tells the watchdog that bytes have passed.
func (w *watched) noteProgress() {
	if w.seen != nil {
		w.seen()
	}
}

// Read passes bytes on and keeps the error of a source that fails, which ffmpeg
// would hide.
func (w *watched) Read(p []byte) (int, error) {
	n, err := w.r.Read(p)
	w.noteProgress()
	if err != nil && err != io.EOF {
		w.fail(err)
	}
	return n, err
}

// Write passes bytes on and keeps the error of a destination that fails.
func (w *watched) Write(p []byte) (int, error) {
	n, err := w.w.Write(p)
	w.noteProgress()
	if err != nil {
		w.fail(err)
	}
	return n, err
}

func (w *watched) fail(err error) { w.mu.Lock(); w.err = err; w.mu.Unlock() }

// failure returns the error that was kept, nil when there was none.
func (w *watched) failure() error { w.mu.Lock(); defer w.mu.Unlock(); return w.err }
