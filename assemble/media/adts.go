package media

import (
	"bufio"
	"errors"
	"fmt"
	"io"
	"os"
)

// Stretch is a run of the frames of an AAC stream in a file.
type Stretch struct {
	Path        string
	Skip, Count int // frames
}

// adtsHead is the size of the fixed and the variable head of a frame, in bytes.
const adtsHead = 7

// JoinADTS writes frames of several AAC streams one behind the other into dst, a
// new file. The streams are in the form of ISO/IEC 13818-7, 6.2 (ADTS), in which
// every frame has a head that says its length. A stream that has fewer frames than
// wanted is an error, as is one that is none.
func JoinADTS(dst string, list []Stretch) error {
	out, err := os.Create(dst)
	if err != nil {
		return err
	}
	w := bufio.NewWriter(out)
	for _, s := range list {
		if err == nil {
			err = copyFrames(w, s)
		}
	}
	return errors.Join(err, w.Flush(), out.Close())
}

// copyFrames writes the frames of one stretch.
func copyFrames(w io.Writer, s Stretch) error {
	f, err := os.Open(s.Path)
	if err != nil {
		return err
	}
	defer f.Close()
	r := bufio.NewReader(f)
	for k := range s.Skip + s.Count {
		head, err := r.Peek(adtsHead)
		if err != nil {
			return fmt.Errorf("media: frame %d of %d of %s: %w", k, s.Skip+s.Count, s.Path, err)
		}
		length := int(head[3]&3)<<11 | int(head[4])<<3 | int(head[5])>>5
		if head[0] != 0xff || head[1]&0xf6 != 0xf0 || length < adtsHead {
			return fmt.Errorf("media: frame %d of %s is no frame of AAC", k, s.Path)
		}
		to := w
		if k < s.Skip {
			to = io.Discard
		}
		if _, err := io.CopyN(to, r, int64(length)); err != nil {
			return fmt.Errorf("media: frame %d of %s: %w", k, s.Path, err)
		}
	}
	return nil
}
