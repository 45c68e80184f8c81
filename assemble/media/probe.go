package media

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"math"
	"strconv"
	"strings"
	"time"

	"ripieno/assemble/fault"
	"ripieno/assemble/ffmpeg"
)

// probeLimit is the wall clock given to one ffprobe. It needs tenths of a
// second; only a crafted file needs more.
const probeLimit = 60 * time.Second

// entries are the fields asked of ffprobe: those that are used, so that tags
// with a megabyte of text are never read.
const entries = "format=format_name,start_time,duration,bit_rate" +
	":stream=index,codec_type,codec_name,profile,width,height,sample_aspect_ratio,avg_frame_rate,r_frame_rate," +
	"nb_frames,pix_fmt,color_range,color_space,color_transfer,color_primaries,field_order,start_time,duration," +
	"sample_rate,channels" +
	":stream_disposition=attached_pic,still_image,timed_thumbnails" +
	":stream_tags=rotate,DURATION:stream_side_data=rotation,displaymatrix"

// Probe says what the file at the absolute path abs is. It is a fault of kind
// Media when the file is no recording, is damaged beyond use or exceeds the
// limits; it does not mind a missing picture or sound, see [Info.NeedVideo].
func Probe(ctx context.Context, tool *ffmpeg.Tool, abs string) (Info, error) {
	return ProbeTrack(ctx, tool, abs, 0)
}

// ProbeTrack is [Probe] with the number of the sound track that is to be used,
// from 1; 0 leaves the choice to it.
func ProbeTrack(ctx context.Context, tool *ffmpeg.Tool, abs string, track int) (Info, error) {
	seen, err := sniff(ctx, abs)
	if err != nil {
		return Info{}, err
	}
	limited, cancel := context.WithTimeout(ctx, probeLimit)
	defer cancel()
	args := append(SafeOptions(tool), "-of", "json", "-show_entries", entries, "file:"+abs)
	ask := question(abs, args)
	var said complaints
	ask.Log = &said
	out, err := tool.Ask(limited, ask)
	switch {
	case err != nil && ctx.Err() == nil && said.unlisted != "":
		return Info{}, fault.New(fault.Media, showPath(abs),
			fmt.Sprintf("the file holds a stream in %s, which few phones, cameras, recorders or browsers write",
				said.unlisted),
			"ask the player for a new export as MP4 or WAV; if you trust the file, run again with --codecs "+
				said.unlisted).Because(pathless{err, abs})
	case err != nil:
		return Info{}, probeFault(ctx, abs, err)
	}
	info, err := parseProbe(out, track)
	if err != nil {
		return Info{}, fault.New(fault.Media, showPath(abs), err.Error(), hintFor(err))
	}
	info.Path = abs
	info.Truncated = seen.truncated
	info.Notes = append(seen.notes, info.Notes...)
	if info.Duration == 0 {
		if err := measureDuration(limited, tool, &info); err != nil {
			return Info{}, probeFault(ctx, abs, err)
		}
	}
	if seen.fragmented && exaggerates(info) {
		if err := trustPackets(limited, tool, &info); err != nil {
			return Info{}, probeFault(ctx, abs, err)
		}
	}
	if info.Duration > MaxSeconds {
		return Info{}, tooLong(abs, info.Duration)
	}
	return info, nil
}

// probeMemory bounds one ffprobe, in bytes. It opens a decoder for every stream
// and may decode until it knows what it needs, which of the largest picture in ten
// bits takes 1.6 GB; most files take 20 MB.
const probeMemory = 2_000_000_000

// question returns what ffprobe is asked about the file at abs.
func question(abs string, args []string) ffmpeg.Command {
	return ffmpeg.Command{Args: append(Allocation(), args...), About: abs,
		Limits: ffmpeg.Limits{Memory: probeMemory, CPU: probeTime(fileSize(abs))}}
}

// exaggeration is how many times longer than its packets a fragmented file must
// claim to be for the claim to be wrong, with exaggerated seconds besides. Less
// may be a file of which only a part came.
const (
	exaggeration = 10
	exaggerated  = 10
)

// exaggerates reports whether a fragmented file claims to be longer than it may be,
// or to have fewer bytes a second than a picture and its sound ever have. The
// packets of others are not read: a long recording is gigabytes of them.
func exaggerates(info Info) bool {
	const least = 2000 // bytes a second
	return info.Duration > MaxSeconds || float64(fileSize(info.Path)) < least*info.Duration
}

// trustPackets puts the length right of a fragmented MP4 that is said to be many
// times longer than its packets are. Recorders of a stream that has been running
// for long write its time into the first fragment, and ffprobe takes the time of
// the last for a length.
func trustPackets(ctx context.Context, tool *ffmpeg.Tool, info *Info) error {
	read := Info{Path: info.Path, StartTime: info.StartTime}
	if v := info.Video; v != nil {
		read.Video = &Video{Index: v.Index, Start: v.Start}
	}
	if a := info.Audio; a != nil {
		read.Audio = &Audio{Index: a.Index, Start: a.Start}
	}
	if err := measureDuration(ctx, tool, &read); err != nil {
		return err
	}
	if read.Duration <= 0 || info.Duration <= exaggeration*read.Duration+exaggerated {
		return nil
	}
	info.Notes = append(info.Notes, fmt.Sprintf("the file claims to be %.1f hours long; its packets last %.1f seconds",
		info.Duration/3600, read.Duration))
	info.Duration = read.Duration
	if v := info.Video; v != nil {
		v.Duration = read.Video.Duration
	}
	if a := info.Audio; a != nil {
		a.Duration = read.Audio.Duration
	}
	return nil
}

// tooLong returns the fault of a file beyond MaxSeconds.
func tooLong(path string, seconds float64) error {
	return fault.New(fault.Media, showPath(path),
		fmt.Sprintf("the file claims to be %.1f hours long, at most %d are accepted", seconds/3600, MaxSeconds/3600),
		"cut the recording to the piece")
}

// measureDuration finds the length of a file whose container does not say it,
// such as what browsers record, from its packets.
func measureDuration(ctx context.Context, tool *ffmpeg.Tool, info *Info) error {
	args := append(SafeOptions(tool), "-of", "csv=p=0", "-show_entries", "packet=stream_index,pts_time,duration_time",
		"file:"+info.Path)
	out, err := tool.Ask(ctx, question(info.Path, args))
	if err != nil {
		return err
	}
	ends := parsePackets(string(out))
	length := func(index int, start float64) float64 {
		return max(0, ends[index]-info.StartTime-start)
	}
	if v := info.Video; v != nil {
		v.Duration = length(v.Index, v.Start)
		info.Duration = max(info.Duration, v.Start+v.Duration)
	}
	if a := info.Audio; a != nil {
		a.Duration = length(a.Index, a.Start)
		info.Duration = max(info.Duration, a.Start+a.Duration)
	}
	if info.Duration > 0 {
		info.Notes = append(info.Notes, "the file does not say how long it is; its packets do")
	}
	return nil
}

// parsePackets reads "stream,pts,duration" lines and returns for each stream
// the end of its last packet in the container's time. Lines it cannot read,
// and packets without a time, are left out.
func parsePackets(out string) map[int]float64 {
	ends := map[int]float64{}
	for line := range strings.Lines(out) {
		f := strings.Split(strings.TrimSpace(line), ",")
		if len(f) < 2 {
			continue
		}
		index, err := strconv.Atoi(f[0])
		start, ok := seconds(f[1])
		if err != nil || !ok {
			continue
		}
		end := start
		if len(f) > 2 {
			if d, ok := seconds(f[2]); ok && d > 0 {
				end += d
			}
		}
		if old, ok := ends[index]; !ok || end > old {
			ends[index] = end
		}
	}
	return ends
}

// seconds reads a time as ffprobe prints it; false for N/A and nonsense.
func seconds(s string) (float64, bool) {
	f, err := strconv.ParseFloat(s, 64)
	if err != nil || math.IsNaN(f) || math.Abs(f) > 1e9 {
		return 0, false
	}
	return f, true
}

// probeFault puts what ffprobe said about a file into words for the person who
// has to ask the player. Errors that are not the file's pass unchanged.
func probeFault(ctx context.Context, path string, err error) error {
	if ctx.Err() != nil {
		return err
	}
	refuse := func(what, hint string) error {
		return fault.New(fault.Media, showPath(path), what, hint).Because(pathless{err, path})
	}
	if errors.Is(err, context.DeadlineExceeded) {
		return refuse("reading the file takes too long", "ask the player for a new export")
	}
	exit, ok := errors.AsType[*ffmpeg.ExitError](err)
	if !ok {
		if f, ok := errors.AsType[*fault.Fault](err); ok && f.Kind == fault.Media {
			return refuse(f.What, cmp.Or(f.Hint, "ask the player for a new export"))
		}
		return err
	}
	if what, hint := explain(exit); what != "" {
		return fault.New(fault.Media, showPath(path), what, hint)
	}
	if exit.Signal != "" || exit.Says("Cannot allocate memory") {
		return refuse("reading the file takes absurdly much memory or time", "ask the player for a new export")
	}
	return refuse("the file cannot be read as a recording",
		"it is damaged or of a kind that is not accepted: ask the player for a new export as MP4 or WAV")
}

// sayings are words ffmpeg uses in its log, and what they mean.
var sayings = []struct{ says, what, hint string }{
	// An MP4 without index was told before; this is something else of that name.
	{"moov atom not found", "the file is damaged or no recording at all",
		"ask the player to send it again, or for a new export as MP4 or WAV"},
	{"not on whitelist", "the file is of a kind that is not accepted",
		"ask the player for a new export as MP4 or WAV"},
	{"not in the whitelist", "the file is of a kind that is not accepted",
		"ask the player for a new export as MP4 or WAV"},
	{"max_streams", "the file holds absurdly many streams", "ask the player for a new export"},
	{"exceeds specified max pixel count", "the picture is absurdly large", "ask the player for a new export"},
	{"Invalid data found when processing input", "the file is damaged or no recording at all",
		"ask the player to send it again, or for a new export as MP4 or WAV"},
	{"End of file", "the file ends before there is anything in it", "ask the player to send it again"},
}

// explain finds the meaning of a failed run, "" when its words are unknown.
func explain(exit *ffmpeg.ExitError) (what, hint string) {
	for _, s := range sayings {
		if exit.Says(s.says) {
			return s.what, s.hint
		}
	}
	return "", ""
}
