package soundtrack

import (
	"errors"
	"fmt"
	"io"

	"ripieno/assemble/media"
	"ripieno/mix/audio"
)

// added is the sum of stereo files at [audio.Rate], in their order.
type added struct {
	list []*media.WAV
	even bool // all must be equally long: one that ends early would be missing without a word
	in   audio.Block
}

// Channels implements [audio.Source].
func (a *added) Channels() int { return 2 }

// Rate implements [audio.Source].
func (a *added) Rate() int { return audio.Rate }

// Read implements [audio.Source]. Files that end early are silent from there on,
// unless even forbids it. The order of adding is that of list: another one would
// round otherwise.
func (a *added) Read(dst audio.Block) (int, error) {
	if a.in.Frames() < dst.Frames() {
		a.in = audio.NewBlock(2, dst.Frames())
	}
	dst.Clear()
	most, in := 0, a.in.Slice(0, dst.Frames())
	for i, wav := range a.list {
		n, err := wav.Read(in)
		if err != nil && err != io.EOF {
			return 0, err
		}
		if a.even && i > 0 && n != most {
			return 0, fmt.Errorf("sum %d has %d frames where the first has %d", i+1, n, most)
		}
		most = max(most, n)
		for c := range dst {
			for i, v := range in[c][:n] {
				dst[c][i] += v
			}
		}
	}
	if most == 0 && dst.Frames() > 0 {
		return 0, io.EOF
	}
	return most, nil
}

// Close closes the files; closing twice is fine.
func (a *added) Close() error {
	var errs []error
	for _, wav := range a.list {
		errs = append(errs, wav.Close())
	}
	a.list = nil
	return errors.Join(errs...)
}
