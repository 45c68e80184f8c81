package media

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
	"time"

	"ripieno/assemble/fault"
	"ripieno/assemble/ffmpeg"
	"ripieno/mix/audio"
)

// Decoded is what became of a file's sound.
type Decoded struct {
	Frames    audio.Frames // written, at Rate
	Rate      int          // hertz
	Channels  int
	Truncated bool // the file holds clearly less sound than it claims
	Damaged   int  // places that do not decode: packets lost, each of a few hundredths of a second
	// Missing is how many seconds before the sound's end the file's clock has and
	// its sound has not: gaps between packets, and packets that were lost. They
	// are silent; a gate's silence is sound that was recorded. Only gaps of a
	// tenth of a second or more count.
	Missing float64
	Notes   []string
}

// DecodeAudio writes the sound of info to the WAV file dst: 32-bit float, the
// file's own rate and channels in their own order, nothing mixed down, and
// sample k at k/rate seconds after the file's time zero. A stream that starts
// late begins with silence; a gap of a tenth of a second or more is filled
// with silence. dst is overwritten, and is whatever it is after an error.
func DecodeAudio(ctx context.Context, tool *ffmpeg.Tool, info Info, dst string) error {
	_, err := Decode(ctx, tool, info, dst)
	return err
}

// Decode is [DecodeAudio] with an account of what was found on the way. A file
// without sound, or whose sound cannot be decoded at all, is a fault of kind
// Media; one whose sound ends early or has damaged places is not, however much
// of it is damaged.
func Decode(ctx context.Context, tool *ffmpeg.Tool, info Info, dst string) (Decoded, error) {
	if err := decodable(info); err != nil {
		return Decoded{}, err
	}
	heard, said, err := decodeSounds(ctx, tool, []Sound{{info, dst}})
	if err != nil {
		return Decoded{}, decodeFault(ctx, info.Path, err)
	}
	return account(Sound{info, dst}, heard[0], said)
}

// Sound is a file's sound to be decoded, and the WAV file that it becomes.
type Sound struct {
	Info Info
	Dst  string
}

// DecodeAll is [Decode] of several files in one process, which spares most of
// what short ones cost. When anything is wrong with one of them each is decoded
// by itself, since ffmpeg does not say of which it speaks. There is a result or
// an error for each.
func DecodeAll(ctx context.Context, tool *ffmpeg.Tool, sounds []Sound) ([]Decoded, []error) {
	decoded, wrong := make([]Decoded, len(sounds)), make([]error, len(sounds))
	var sound []Sound
	for i, s := range sounds {
		if wrong[i] = decodable(s.Info); wrong[i] == nil {
			sound = append(sound, s)
		}
	}
	heard, said, err := decodeSounds(ctx, tool, sound)
	together := err == nil && said.errors == 0 && !said.truncated
	for i, s := range sounds {
		switch {
		case wrong[i] != nil:
		case together:
			decoded[i], wrong[i] = account(s, heard[0], said)
			heard = heard[1:]
		default:
			decoded[i], wrong[i] = Decode(ctx, tool, s.Info, s.Dst)
		}
	}
	return decoded, wrong
}

// decodable refuses what has no sound, or more than anybody plays, or more than
// its size lets one expect.
func decodable(info Info) error {
	if err := info.NeedAudio(); err != nil {
		return err
	}
	if info.Duration > MaxSeconds {
		return tooLong(info.Path, info.Duration)
	}
	length := info.Audio.Start + info.Audio.Duration
	if info.Audio.Duration == 0 {
		length = info.Duration
	}
	bytes := fileSize(info.Path)
	// A length worked out from the bit rate of the beginning proves nothing; the
	// decoder stops at the bound.
	if need := soundBytes(length, *info.Audio); !info.Estimated && !info.Own && need > float64(soundBound(bytes)) {
		return tooMuch(info.Path, bytes, need)
	}
	return nil
}

// Bounds of decoding sound. A process takes 60 MB, 2 more for each of several
// files (resident, ffmpeg 5.1.9), and the index of 4 hours 100; samples come one
// after the other.
const (
	soundMemory     = 400_000_000
	soundMemoryEach = 150_000_000
	wavHeader       = 1 << 16 // bytes, more than any
)

// soundLimits bound the decoding of sounds in one process.
func soundLimits(sounds []Sound) ffmpeg.Limits {
	l := ffmpeg.Limits{Memory: soundMemory + int64(len(sounds))*soundMemoryEach}
	bytes := int64(0)
	for _, s := range sounds {
		size := fileSize(s.Info.Path)
		if !s.Info.Own {
			l.File = max(l.File, soundBound(size)+int64(soundBytes(2, *s.Info.Audio))+wavHeader)
		}
		bytes += size
	}
	l.CPU = soundTime(bytes, len(sounds) > 1)
	return l
}

// longest returns how many seconds of a sound are decoded: a little more than what
// its file may come to, so that it is seen to exceed that.
func longest(info Info) float64 {
	if info.Own {
		return MaxSeconds
	}
	return math.Min(MaxSeconds, float64(soundBound(fileSize(info.Path)))/soundBytes(1, *info.Audio)+1)
}

// decodeSounds writes the sounds and returns how many samples each has without what
// was filled, all channels counted, and what ffmpeg said.
func decodeSounds(ctx context.Context, tool *ffmpeg.Tool, sounds []Sound) (heard []int64, said complaints, err error) {
	if len(sounds) == 0 {
		return nil, said, nil
	}
	var in, out, count []string
	limit, bytes := time.Duration(0), int64(0)
	for i, s := range sounds {
		bytes += fileSize(s.Info.Path)
		limit += timeLimit(s.Info.Duration)
		in = append(in, "-t", fmt.Sprintf("%.3f", longest(s.Info)))
		if s.Info.Audio.Codec == "flac" {
			// Damaged FLAC decodes to noise, its check sums alone tell. Those of
			// other codecs are optional, and some encoders write them wrong.
			in = append(in, "-err_detect", "crccheck")
		}
		if len(sounds) > 1 && tool.QueuesInputs() {
			in = append(in, "-thread_queue_size", "0")
		}
		in = append(in, InputArgs(tool, s.Info.Path)...)
		stream := []string{"-map", fmt.Sprintf("%d:%d", i, s.Info.Audio.Index)}
		out = append(append(out, stream...),
			// Start offsets are lost without this: the WAV muxer writes samples
			// one after the other whatever their time stamps.
			"-af", "aresample=async=1:first_pts=0",
			"-c:a", "pcm_f32le", "-map_metadata", "-1", "-map_chapters", "-1",
			"-fflags", "+bitexact", "-flags:a", "+bitexact", "-rf64", "auto", "-f", "wav", "-y", "file:"+s.Dst)
		count = append(count, stream...)
	}
	// The same sounds without what was filled, to be counted: a byte a sample.
	count = append(count, "-c:a", "pcm_u8", "-f", "framecrc", "pipe:1")
	limited, cancel := context.WithTimeout(ctx, limit)
	defer cancel()
	sizes := packetSizes{total: make([]int64, len(sounds))}
	err = tool.Run(limited, ffmpeg.Command{
		Args: slices.Concat(Allocation(), []string{"-max_error_rate", "1"}, in, out, count), Stdout: &sizes, Log: &said,
		About: sounds[0].Info.Path, Several: len(sounds) > 1, Patience: ffmpeg.Reading(bytes),
		Limits: soundLimits(sounds),
	})
	return sizes.total, said, err
}

// account returns what became of a decoded sound: how much of it there is, and what the decoder
// said was missing or damaged. It fails when nothing could be decoded.
func account(s Sound, heard int64, said complaints) (Decoded, error) {
	w, err := OpenWAV(s.Dst)
	if err != nil {
		return Decoded{}, fmt.Errorf("the decoded sound of %s: %w", showPath(s.Info.Path), err)
	}
	defer w.Close()
	d := Decoded{Frames: w.Frames(), Rate: w.Rate(), Channels: w.Channels(), Damaged: said.places()}
	if d.Frames == 0 {
		return Decoded{}, fault.New(fault.Media, showPath(s.Info.Path), "none of the sound can be decoded",
			"ask the player for a new export")
	}
	bytes := fileSize(s.Info.Path)
	if need := float64(d.Frames) * float64(d.Channels) * sampleSize; !s.Info.Own && need > float64(soundBound(bytes)) {
		return Decoded{}, tooMuch(s.Info.Path, bytes, need)
	}
	filled := float64(d.Frames) - float64(heard)/float64(d.Channels)
	if gaps := filled/float64(d.Rate) - s.Info.Audio.Start; gaps >= leastGap {
		d.Missing = gaps
	}
	d.judge(s.Info, said.truncated)
	return d, nil
}

// packetSizes adds up the sizes of packets in the lines of ffmpeg's framecrc
// format: stream, dts, pts, duration, size, check sum; lines with # are heads.
type packetSizes struct {
	total []int64 // bytes, by stream
	line  []byte
}

// maxPacketLine is far above the longest such line, in bytes.
const maxPacketLine = 4096

// Write implements io.Writer. It fails on what is no such line.
func (p *packetSizes) Write(b []byte) (int, error) {
	p.line = append(p.line, b...)
	for {
		end := bytes.IndexByte(p.line, '\n')
		if end < 0 {
			if len(p.line) > maxPacketLine {
				return 0, fmt.Errorf("a packet is described by a line of more than %d bytes", maxPacketLine)
			}
			break
		}
		line := string(p.line[:end])
		p.line = p.line[end+1:]
		if strings.HasPrefix(line, "#") {
			continue
		}
		fields := strings.Split(line, ",")
		if len(fields) < 5 {
			return 0, fmt.Errorf("a packet is described by %q", line)
		}
		stream, err := strconv.Atoi(strings.TrimSpace(fields[0]))
		size, err2 := strconv.ParseInt(strings.TrimSpace(fields[4]), 10, 64)
		if err != nil || err2 != nil || stream < 0 || stream >= len(p.total) {
			return 0, fmt.Errorf("a packet is described by %q", line)
		}
		p.total[stream] += size
	}
	return len(b), nil
}

// leastGap in seconds is what ffmpeg's resampler fills, a tenth, less what the
// start of a stream is rounded by.
const leastGap = 0.09

// judge compares what was decoded with what the file claims.
func (d *Decoded) judge(info Info, saidTruncated bool) {
	got := float64(d.Frames) / float64(d.Rate)
	missing := info.SoundMissing(got)
	short := missing > 0
	d.Truncated = info.Truncated || saidTruncated || short
	switch {
	case short:
		d.Notes = append(d.Notes, fmt.Sprintf("the sound ends after %.1f of the %.1f seconds the file claims", got,
			got+missing))
	case d.Truncated:
		d.Notes = append(d.Notes, fmt.Sprintf("the file breaks off; its sound ends after %.1f seconds", got))
	}
	if d.Damaged > 0 {
		d.Notes = append(d.Notes, fmt.Sprintf("%d places of the sound are damaged", d.Damaged))
	}
	if d.Rate != info.Audio.Rate || d.Channels != info.Audio.Channels {
		d.Notes = append(d.Notes, fmt.Sprintf("the file says %d Hz and %d channels, its sound has %d Hz and %d",
			info.Audio.Rate, info.Audio.Channels, d.Rate, d.Channels))
	}
}

// timeLimit returns the wall clock given to decoding seconds of a recording:
// decoding runs a hundred times faster than real time on an idle computer, so
// real time and a minute is out of reach for an honest file.
func timeLimit(seconds float64) time.Duration {
	return time.Minute + time.Duration(math.Min(seconds, MaxSeconds)*float64(time.Second))
}

// Patience returns for how long nothing may be heard of a decoder, beyond what is
// usual, that has so many seconds to decode before there is anything to show.
func Patience(seconds float64) time.Duration { return timeLimit(4 * seconds) }

// DecodeFault words a failed reading of the file at path, for those who read it
// with a command of their own: errors that are the file's become faults of kind
// Media that name it, others pass unchanged.
func DecodeFault(ctx context.Context, path string, err error) error {
	if _, ok := errors.AsType[*ffmpeg.StuckError](err); ok || err == nil {
		return err
	}
	return decodeFault(ctx, path, err)
}

// decodeFault words a failed decoding.
func decodeFault(ctx context.Context, path string, err error) error {
	if ctx.Err() != nil {
		return err
	}
	if errors.Is(err, context.DeadlineExceeded) {
		return fault.New(fault.Media, showPath(path), "decoding takes absurdly long",
			"ask the player for a new export").Because(pathless{err, path})
	}
	if exit, ok := errors.AsType[*ffmpeg.ExitError](err); ok {
		if what, hint := explain(exit); what != "" {
			return fault.New(fault.Media, showPath(path), what, hint)
		}
		switch {
		case strings.HasPrefix(exit.Signal, "file size") || exit.Says("File too large"):
			return tooMuch(path, fileSize(path), 0)
		case exit.Signal != "" || exit.Says("Cannot allocate memory"):
			return fault.New(fault.Media, showPath(path), "decoding takes absurdly much memory or time",
				"ask the player for a new export").Because(pathless{err, path})
		}
		return fault.New(fault.Media, showPath(path), "the file cannot be decoded",
			"ask the player for a new export").Because(pathless{err, path})
	}
	return err
}
