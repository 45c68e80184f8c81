package media

import (
	"context"
	"fmt"
	"io"
	"runtime"
	"slices"
	"strconv"
	"strings"
	"time"

	"golang.org/x/sync/errgroup"

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
	Every float64 // seconds between frames, at least; not when OneIn says it
	// Whole decodes every frame on the way. Otherwise only key frames are
	// decoded, which costs a tenth but follows the file's key frames, and
	// those may be ten seconds apart.
	Whole bool
	// OneIn above 1 decodes only one key frame in so many, the first one
	// first: decoding those between is what looking at a picture costs most.
	OneIn int
	// First bounds how many seconds are decoded, from the beginning; 0: all.
	First float64
}

// SampleGray decodes frames of info's picture, upright, with square pixels and
// in order, and hands each to use, whose memory is used again afterwards. An
// error of use ends the decoding and comes back. A file without picture is a
// fault of kind Media; one whose picture does not decode gives no frames.
//
// damaged is how many places of the picture were seen to be broken. All frames
// of H.264 in MP4 are looked through for that, also those that are not decoded,
// and of HEVC unless OneIn is above 1; but what is wrong inside one shows only in
// those that are.
func SampleGray(ctx context.Context, tool *ffmpeg.Tool, info Info, s Sampling, use func(Gray) error) (damaged int,
	err error) {
	if err := info.NeedVideo(); err != nil {
		return 0, err
	}
	if s.Width < 16 || s.Width > 1920 || !(s.Every >= 0) || s.Every > MaxSeconds || s.OneIn < 0 {
		return 0, fmt.Errorf("media: sampling %d pixels every %g s, one in %d, is out of range", s.Width, s.Every,
			s.OneIn)
	}
	g := s.gray(info)
	limited, cancel := context.WithTimeout(ctx, timeLimit(4*info.Duration))
	defer cancel()
	out := &framer{frame: g, use: use}
	out.frame.Pix = make([]byte, 0, g.W*g.H)
	var said complaints
	if s.OneIn > 1 && !s.Whole {
		err = thinned(limited, tool, info, s.OneIn, out, &said)
		if err == nil || out.frames > 0 || limited.Err() != nil {
			return said.places(), out.ended(ctx, info, err)
		}
		// A codec that cannot be carried over, perhaps.
		said = complaints{}
		out.frame.Pix = out.frame.Pix[:0] // or all frames began in another's middle
	}
	// Key frames alone give several threads nothing to share but work, and what
	// decoders make of damage depends on how many there are.
	args := append(Allocation(), "-threads", "1")
	if !s.Whole {
		args = append(args, "-skip_frame", "nokey")
	}
	length := float64(MaxSeconds)
	if s.First > 0 {
		length = min(length, s.First)
	}
	args = append(args, "-max_error_rate", "1", "-t", fmt.Sprint(length))
	args = append(args, InputArgs(tool, info.Path)...)
	choose := fmt.Sprintf(`isnan(prev_selected_t)+gte(t-prev_selected_t\,%g)`, s.Every-1e-3)
	if s.OneIn > 1 && !s.Whole {
		choose = fmt.Sprintf(`not(mod(n\,%d))`, s.OneIn)
	}
	filter := fmt.Sprintf(`select=%s,scale=%d:%d:flags=area,format=gray`, choose, g.W, g.H)
	args = append(args, "-map", fmt.Sprintf("0:%d", info.Video.Index), "-vf", filter)
	err = tool.Run(limited, ffmpeg.Command{Args: append(args, grayOut("pipe:1")...), Stdout: out, Log: &said,
		About: info.Path, Patience: timeLimit(info.Duration), Limits: pictureLimits(info)})
	return said.places(), out.ended(ctx, info, err)
}

// gray returns an empty picture of the size that frames of info's picture come in.
func (s Sampling) gray(info Info) Gray {
	w, h := info.Video.Display()
	return Gray{W: s.Width, H: max(2, min(4*s.Width, (s.Width*h+w/2)/w))}
}

// grayOut writes frames to a place as they come.
func grayOut(to string) []string {
	return []string{"-fps_mode", "passthrough", "-c:v", "rawvideo", "-f", "rawvideo", to}
}

// thin writes the packets of one key frame in oneIn of a picture to a place, and nothing of
// the others.
func thin(stream string, oneIn int, to string) []string {
	drop := fmt.Sprintf(`noise=amount=0:drop='if(key,mod(st(0,ld(0)+1)-1,%d),1)'`, oneIn)
	return []string{"-map", stream, "-c", "copy", "-bsf:v", drop, "-map_metadata", "-1", "-map_chapters", "-1",
		"-f", "nut", to}
}

// thinnedOptions are those of an input that [thin] wrote.
func thinnedOptions(tool *ffmpeg.Tool, from string) []string {
	return []string{"-codec_whitelist", codecs(tool), "-threads", "1", "-max_pixels", fmt.Sprint(MaxPixels),
		"-f", "nut", "-i", from}
}

// thinnedFilter makes grey pictures of what [thin] wrote.
func thinnedFilter(v *Video, g Gray) string {
	filter := ""
	if v.Mirrored {
		filter = "hflip,"
	}
	filter += map[int]string{90: "transpose=clock,", 180: "hflip,vflip,", 270: "transpose=cclock,"}[v.Rotation] +
		fmt.Sprintf("scale=%d:%d:flags=area", g.W, g.H)
	if v.Range == "tv" || v.Range == "pc" {
		filter += ":in_range=" + v.Range
	}
	return filter + ",format=gray"
}

// thinned hands one key frame in oneIn to out. ffmpeg's decoders cannot be told
// to skip key frames, so a first process copies the packets that are wanted,
// and a second one decodes. The container between the two knows nothing of
// upright and mirrored pictures and of ranges, so those are done by hand.
func thinned(ctx context.Context, tool *ffmpeg.Tool, info Info, oneIn int, out *framer, said *complaints) error {
	copying := append(append(Allocation(), "-t", fmt.Sprint(MaxSeconds)), InputArgs(tool, info.Path)...)
	copying = append(copying, thin(fmt.Sprintf("0:%d", info.Video.Index), oneIn, "pipe:1")...)
	decoding := append(append(Allocation(), "-max_error_rate", "1"), thinnedOptions(tool, "pipe:0")...)
	decoding = append(decoding, "-vf", thinnedFilter(info.Video, out.frame))
	wait, bounds, copyTime := timeLimit(info.Duration), pictureLimits(info), probeTime(fileSize(info.Path))
	packets, into := io.Pipe()
	group, ctx := errgroup.WithContext(ctx)
	var told [2]complaints // one for each process
	group.Go(func() error {
		err := tool.Run(ctx, ffmpeg.Command{Args: copying, Stdout: into, Log: &told[0], About: info.Path,
			Patience: wait, Limits: ffmpeg.Limits{Memory: bounds.Memory, CPU: copyTime}})
		into.CloseWithError(err) // nil ends the stream
		return err
	})
	group.Go(func() error {
		err := tool.Run(ctx, ffmpeg.Command{Args: append(decoding, grayOut("pipe:1")...), Stdin: packets, Stdout: out,
			Log:   &told[1],
			About: info.Path, Beside: copyTime, Patience: wait, Limits: bounds})
		packets.CloseWithError(err)
		return err
	})
	err := group.Wait()
	// A broken key frame is told by both.
	*said = told[0]
	if told[1].places() > told[0].places() {
		*said = told[1]
	}
	return err
}

// pictureLimits bound the decoding of a picture. A decoder in one thread holds up
// to 17 frames, which in ten bits have 3 bytes a pixel; 4:4:4 in twelve bits has
// 6, and what is behind the decoder a few more. The processor's time is that of
// timeLimit for four times the length, on every core.
func pictureLimits(info Info) ffmpeg.Limits {
	const base, frames, bytes = 600_000_000, 30, 6
	pixels := int64(info.Video.W) * int64(info.Video.H)
	return ffmpeg.Limits{Memory: base + frames*bytes*pixels,
		CPU: time.Duration(runtime.NumCPU()) * timeLimit(4*info.Duration)}
}

// framer cuts a stream of bytes into frames.
type framer struct {
	frame  Gray
	use    func(Gray) error
	frames int
	err    error // of use
}

// ended returns how a decoding went whose processes ended with err.
func (f *framer) ended(ctx context.Context, info Info, err error) error {
	switch {
	case f.err != nil:
		return f.err
	case err != nil:
		return decodeFault(ctx, info.Path, err)
	}
	return nil
}

// Write collects pixels and hands every whole frame on.
func (f *framer) Write(p []byte) (int, error) {
	n := len(p)
	for len(p) > 0 {
		k := min(len(p), cap(f.frame.Pix)-len(f.frame.Pix))
		f.frame.Pix = append(f.frame.Pix, p[:k]...)
		p = p[k:]
		if len(f.frame.Pix) == cap(f.frame.Pix) {
			f.frames++
			if f.err = f.use(f.frame); f.err != nil {
				return 0, f.err
			}
			f.frame.Pix = f.frame.Pix[:0]
		}
	}
	return n, nil
}

// FrameTimes returns when the frames of info's picture begin, in seconds after
// the file's time zero and ascending, for the first seconds of the file, and
// which of these times are of key frames. It reads time stamps and decodes
// nothing.
func FrameTimes(ctx context.Context, tool *ffmpeg.Tool, info Info, length float64) (times, keys []float64, err error) {
	if err := info.NeedVideo(); err != nil {
		return nil, nil, err
	}
	if !(length > 0) || length > MaxSeconds {
		return nil, nil, fmt.Errorf("media: frame times of %g s are out of range", length)
	}
	limited, cancel := context.WithTimeout(ctx, probeLimit)
	defer cancel()
	args := append(SafeOptions(tool), "-select_streams", strconv.Itoa(info.Video.Index),
		"-read_intervals", fmt.Sprintf("%%+%g", length), "-show_entries", "packet=pts_time,flags", "-of", "csv=p=0",
		"file:"+info.Path)
	out, err := tool.Ask(limited, question(info.Path, args))
	if err != nil {
		return nil, nil, probeFault(ctx, info.Path, err)
	}
	for line := range strings.Lines(string(out)) {
		text, flags, _ := strings.Cut(strings.TrimSpace(line), ",")
		if t, ok := seconds(text); ok {
			times = append(times, t-info.StartTime)
			if strings.HasPrefix(flags, "K") {
				keys = append(keys, t-info.StartTime)
			}
		}
	}
	if len(times) == 0 {
		return nil, nil, fault.New(fault.Media, showPath(info.Path), "the picture has no frames",
			"ask the player for a new export")
	}
	slices.Sort(times) // packets come in decoding order
	slices.Sort(keys)
	return times, keys, nil
}
