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
		length := adtsLength(head)
		if length == 0 {
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

// adtsLength returns the length in bytes of a frame with its head; 0 for what is no head.
func adtsLength(head []byte) int {
	length := int(head[3]&3)<<11 | int(head[4])<<3 | int(head[5])>>5
	if head[0] != 0xff || head[1]&0xf6 != 0xf0 || length < adtsHead {
		return 0
	}
	return length
}

// ADTS is where the frames of a file of bare AAC lie.
type ADTS struct {
	Path     string
	Channels int
	at       []int64 // the byte at which each frame begins, and where the last one ends
}

// IndexADTS finds the frames of a file of our own, such as [graph.Proxy] makes. It fails
// for a file that holds anything else, or no frame.
func IndexADTS(path string) (ADTS, error) {
	data, err := os.ReadFile(path)
	if err != nil {
		return ADTS{}, err
	}
	a := ADTS{Path: path, at: []int64{0}}
	for at := 0; at < len(data); {
		length := 0
		if len(data)-at >= adtsHead {
			length = adtsLength(data[at:])
		}
		if length == 0 || length > len(data)-at {
			return ADTS{}, fmt.Errorf("media: frame %d of %s is no frame of AAC", a.Frames(), path)
		}
		if at == 0 {
			a.Channels = int(data[2]&1)<<2 | int(data[3])>>6
		}
		at += length
		a.at = append(a.at, int64(at))
	}
	if a.Frames() == 0 {
		return ADTS{}, fmt.Errorf("media: there is no frame in %s", path)
	}
	return a, nil
}

// Frames returns how many frames there are.
func (a ADTS) Frames() int { return len(a.at) - 1 }

// Append appends the bytes of the frames [from, to) to a buffer. It fails when there are
// no such frames, or when the file has gone or has become shorter.
func (a ADTS) Append(buf []byte, from, to int) ([]byte, error) {
	if from < 0 || to > a.Frames() || from > to {
		return buf, fmt.Errorf("media: %s has no frames %d to %d", a.Path, from, to)
	}
	f, err := os.Open(a.Path)
	if err != nil {
		return buf, err
	}
	defer f.Close()
	n := len(buf)
	buf = append(buf, make([]byte, a.at[to]-a.at[from])...)
	_, err = f.ReadAt(buf[n:], a.at[from])
	return buf, err
}
