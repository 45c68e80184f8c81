package media

import (
	"context"
	"fmt"
	"slices"
	"strconv"
	"strings"

	"ripieno/assemble/fault"
	"ripieno/assemble/ffmpeg"
)

// Gray is a small grey picture: W·H bytes, row by row, 0 black to 255 white
// whatever range the file uses.
type Gray struct {
	W, H int
	Pix  []byte
}

// Sampling says which frames [SampleGray] takes.
type Sampling struct {
	Width int     // of the picture, 16 to 1920; the height follows from the display's shape
	Every float64 // seconds between frames, at least
	// Whole decodes every frame on the way. Otherwise only key frames are
	// decoded, which costs a tenth but follows the file's key frames, and
	// those may be ten seconds apart.
	Whole bool
}

// SampleGray decodes frames of info's picture, upright, with square pixels and
// in order, and hands each to use, whose memory is used again afterwards. An
// error of use ends the decoding and comes back. A file without picture is a
// fault of kind Media; one whose picture does not decode gives no frames.
func SampleGray(ctx context.Context, tool *ffmpeg.Tool, info Info, s Sampling, use func(Gray) error) error {
	if err := info.NeedVideo(); err != nil {
		return err
	}
	if s.Width < 16 || s.Width > 1920 || !(s.Every >= 0) || s.Every > MaxSeconds {
		return fmt.Errorf("media: sampling %d pixels every %g s is out of range", s.Width, s.Every)
	}
	w, h := info.Video.Display()
	g := Gray{W: s.Width, H: max(2, min(4*s.Width, (s.Width*h+w/2)/w))}
	limited, cancel := context.WithTimeout(ctx, timeLimit(4*info.Duration))
	defer cancel()
	var args []string
	if !s.Whole {
		// Key frames alone give several threads nothing to share but work.
		args = append(args, "-threads", "1", "-skip_frame", "nokey")
	}
	args = append(args, "-max_error_rate", "1", "-t", fmt.Sprint(MaxSeconds))
	args = append(args, InputArgs(info.Path)...)
	filter := fmt.Sprintf(`select=isnan(prev_selected_t)+gte(t-prev_selected_t\,%g),scale=%d:%d:flags=area,format=gray`, s.Every-1e-3, g.W, g.H)
	args = append(args, "-map", fmt.Sprintf("0:%d", info.Video.Index), "-vf", filter,
		"-fps_mode", "passthrough", "-c:v", "rawvideo", "-f", "rawvideo", "pipe:1")
	out := &framer{frame: g, use: use}
	out.frame.Pix = make([]byte, 0, g.W*g.H)
	err := tool.Run(limited, ffmpeg.Command{Args: args, Stdout: out})
	switch {
	case out.err != nil:
		return out.err
	case err != nil:
		return decodeFault(ctx, info.Path, err)
	}
	return nil
}

// framer cuts a stream of bytes into frames.
type framer struct {
	frame Gray
	use   func(Gray) error
	err   error
}

func (f *framer) Write(p []byte) (int, error) {
	n := len(p)
	for len(p) > 0 {
		k := min(len(p), cap(f.frame.Pix)-len(f.frame.Pix))
		f.frame.Pix = append(f.frame.Pix, p[:k]...)
		p = p[k:]
		if len(f.frame.Pix) == cap(f.frame.Pix) {
			if f.err = f.use(f.frame); f.err != nil {
				return 0, f.err
			}
			f.frame.Pix = f.frame.Pix[:0]
		}
	}
	return n, nil
}

// FrameTimes returns when the frames of info's picture begin, in seconds after
// the file's time zero and ascending, for the first seconds of the file. It
// reads time stamps and decodes nothing.
func FrameTimes(ctx context.Context, tool *ffmpeg.Tool, info Info, length float64) ([]float64, error) {
	if err := info.NeedVideo(); err != nil {
		return nil, err
	}
	if !(length > 0) || length > MaxSeconds {
		return nil, fmt.Errorf("media: frame times of %g s are out of range", length)
	}
	limited, cancel := context.WithTimeout(ctx, probeLimit)
	defer cancel()
	args := append(SafeOptions(), "-select_streams", strconv.Itoa(info.Video.Index),
		"-read_intervals", fmt.Sprintf("%%+%g", length), "-show_entries", "packet=pts_time", "-of", "csv=p=0", "file:"+info.Path)
	out, err := tool.Probe(limited, args)
	if err != nil {
		return nil, probeFault(ctx, info.Path, err)
	}
	var times []float64
	for line := range strings.Lines(string(out)) {
		text, _, _ := strings.Cut(strings.TrimSpace(line), ",")
		if t, ok := seconds(text); ok {
			times = append(times, t-info.StartTime)
		}
	}
	if len(times) == 0 {
		return nil, fault.New(fault.Media, showPath(info.Path), "the picture has no frames", "ask the player for a new export")
	}
	slices.Sort(times) // packets come in decoding order
	return times, nil
}
