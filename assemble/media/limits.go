package media

import (
	"errors"
	"fmt"
	"math"
	"os"
	"strings"
	"time"

	"ripieno/assemble/fault"
	"ripieno/assemble/ffmpeg"
)

// Limits for files from strangers. A recording beyond them is refused.
const (
	// MaxSeconds is longer than any rehearsal; a header of 1.5 KB can claim
	// anything and would keep a decoder busy filling gaps with silence.
	MaxSeconds = 4 * 3600
	// MaxPixels is a picture of 7680 × 4320. A decoder holds up to 16 such
	// pictures, so this also bounds memory.
	MaxPixels = 7680 * 4320
	// MinSide and MaxSide bound the sides of a stored picture: the smallest of
	// phones is 128 × 96, the largest 8192 × 4320.
	MinSide = 16
	MaxSide = 8192
	// MaxShown bounds a side of the picture with square pixels, as large as
	// tiles can be cut from; a picture of 16384 is the largest in H.264.
	MaxShown = 16384
	// MaxShape is how much longer one side may be than the other.
	MaxShape = 16
	// MaxStreams leaves room for the data tracks of phones and cameras, which
	// have up to eight.
	MaxStreams = 16
	// MaxChannels of sound; surround microphones have up to eight.
	MaxChannels = 8
	// MaxRate is the highest sample rate in hertz of any recorder.
	MaxRate = 384000
)

// Bounds of what a file's sound may become when it is decoded: 280 MB whatever
// the file's size, which are 24 minutes in one channel at 48 kHz, and beyond
// that 60 times the file. Speech codecs at their lowest rate come to 55
// times (AMR at 4.75 kb/s, 8 kHz), AAC at 64 kb/s in stereo to 48 and at 128 to
// 24. What exceeds both is a file of gaps or of nothing.
const (
	plainBytes = 280_000_000
	growth     = 60
	sampleSize = 4 // bytes, of a 32-bit float
)

// maxAlloc bounds a single piece of memory that ffmpeg asks for, in bytes. The
// largest that an honest file needs is a picture of 7680 × 4320 pixels in three
// planes of 32 bits while tones are mapped, 400 MB in one piece if an ffmpeg asks
// for it so; the index of a film of 4 hours takes 100.
const maxAlloc = 512 << 20

// formats are the demuxers ffmpeg may choose, by the names it has used since
// 4.4. All of them read one file only. Playlists and scripts (hls, concat,
// dash), picture sequences and formats that hardly anybody records in are left
// out.
const formats = "mov,matroska,wav,w64,aiff,caf,flac,ogg,mp3,aac,amr,avi,mpegts"

// Codecs are the decoders that a file from outside may make ffmpeg use: what
// phones, cameras, recorders, browsers and programs that edit or capture write,
// by ffmpeg's names for its decoders. A user may add others, see
// [ffmpeg.Options]. Covers and subtitles are never used, but ffprobe gives a
// file up when it may not open one of its streams.
var Codecs = strings.Fields(`
	h264 hevc vp8 libvpx vp9 libvpx-vp9 av1 libdav1d libaom-av1
	mpeg4 h263 mjpeg mpeg1video mpeg2video dvvideo prores dnxhd cfhd
	ffv1 huffyuv ffvhuff utvideo magicyuv rawvideo v210 qtrle svq3
	aac aac_latm mp3 mp3float mp2 mp2float mp1 mp1float opus libopus vorbis libvorbis flac alac
	ac3 eac3 amrnb amrwb libopencore_amrnb libopencore_amrwb gsm gsm_ms speex libspeex
	adpcm_ima_wav adpcm_ima_qt adpcm_ms adpcm_g726
	pcm_s8 pcm_u8 pcm_s16le pcm_s16be pcm_u16le pcm_s24le pcm_s24be pcm_s32le pcm_s32be
	pcm_f32le pcm_f32be pcm_f64le pcm_f64be pcm_alaw pcm_mulaw pcm_bluray pcm_dvd pcm_s16le_planar
	png bmp gif webp text mov_text srt subrip ass ssa webvtt dvdsub pgssub cc_dec dvbsub libzvbi_teletextdec`)

// SafeOptions returns the input options, for ffmpeg and ffprobe alike, under which
// every file from outside is opened, as pairs of name and value. They stand
// before "-i". For ffmpeg take [InputOptions], which has them in it.
func SafeOptions(tool *ffmpeg.Tool) []string {
	return []string{
		"-protocol_whitelist", "file",
		"-format_whitelist", formats,
		"-codec_whitelist", codecs(tool),
		"-max_streams", fmt.Sprint(MaxStreams),
		"-max_pixels", fmt.Sprint(MaxPixels),
		"-probesize", "10M", "-analyzeduration", "10M",
	}
}

// codecs returns the list of decoders as ffmpeg wants it.
func codecs(tool *ffmpeg.Tool) string {
	return strings.Join(append(Codecs[:len(Codecs):len(Codecs)], tool.Codecs...), ",")
}

// InputOptions are [SafeOptions] and what else every input of ffmpeg needs so
// that all streams of a file are on the clock described above, whichever of
// them are used. A seek or a length limit may be added, an "-itsoffset" may not.
func InputOptions(tool *ffmpeg.Tool) []string {
	return append(SafeOptions(tool), "-itsoffset", sameZero)
}

// InputArgs opens the file at the absolute path abs under [InputOptions]:
// options, "-i" and the path in a form that ffmpeg can take for nothing else.
func InputArgs(tool *ffmpeg.Tool, abs string) []string {
	return append(InputOptions(tool), "-i", "file:"+abs)
}

// sameZero is an offset of one microsecond, less than any time stamp counts.
// With an offset of exactly 0 ffmpeg moves the zero of a transport stream to
// the first of the streams that are mapped, so that sound decoded alone and
// picture decoded alone would be apart by the difference of their starts.
const sameZero = "0.000001"

// Limits is the version of what is refused here. It belongs in the key of what is
// kept of probing, and of nothing else.
const Limits = 1

// Allocation bounds what ffmpeg or ffprobe asks for at once. It is an option of
// the program and not of an input.
func Allocation() []string { return []string{"-max_alloc", fmt.Sprint(maxAlloc)} }

// Processor time of a program that reads a file from outside: so many seconds to
// start and to find out what it is, and more for each byte of the file. What honest
// ones take is in this package's README.
const (
	startTime = 3
	probePer  = 0.5e-6  // seconds a byte
	soundPer  = 1.2e-6  // of a sound decoded by itself
	batchPer  = 0.15e-6 // of sounds decoded together, which exceed it at no loss but time
	probeMost = 120     // seconds, however large the file is
)

// probeTime bounds the processor's time for one ffprobe of a file of that size.
func probeTime(fileSize int64) time.Duration {
	return processorTime(math.Min(startTime+probePer*float64(fileSize), probeMost))
}

// soundTime bounds the processor's time for decoding the sound of one file of that
// size, or of several that have it together.
func soundTime(fileSize int64, several bool) time.Duration {
	per := soundPer
	if several {
		per = batchPer
	}
	return processorTime(startTime + per*float64(fileSize))
}

// What all programs together may take of the processor to look at one file, before it
// is accepted: to probe it, decode its sound and look at its picture. A file of 5 MB or
// less has 30 s, of which some are for the process that decodes its sound with others.
// An honest one takes 2, see this package's README; larger ones have more.
const (
	smallFile   = 5_000_000 // bytes
	timeToLook  = 30 * time.Second
	pixelsToSee = 1.2e9 // that are decoded to see what the picture of a small file is like
	// Together is how many sounds one process decodes at most.
	Together = 8
)

// Allowance returns what all programs that look at a file of that size may take of the
// processor, but for sounds that are decoded with others; see [ffmpeg.Tool.Allow].
func Allowance(fileSize int64) time.Duration {
	alone := timeToLook - soundTime(Together*smallFile, true)
	return time.Duration(float64(alone) * inSmallFiles(fileSize))
}

// inSmallFiles returns how many small files a file counts for, 1 at least.
func inSmallFiles(fileSize int64) float64 { return max(1, float64(fileSize)/smallFile) }

// IsSmall reports whether a file is so small that little time is spent on it. Its sound
// is decoded with those of small ones alone, since a process is given time by the sum
// of their sizes.
func (i Info) IsSmall() bool { return fileSize(i.Path) <= smallFile }

// FramesToSee returns how many frames of the picture may be decoded to see what it is
// like.
func (i Info) FramesToSee() int {
	pixels := max(1, float64(i.Video.W)*float64(i.Video.H))
	return int(max(1, pixelsToSee*inSmallFiles(fileSize(i.Path))/pixels))
}

// processorTime returns a number of seconds, in whole ones as the system counts them.
func processorTime(seconds float64) time.Duration {
	return time.Duration(math.Ceil(seconds)) * time.Second
}

// soundBound returns how many bytes the decoded sound of a file of that size may take.
func soundBound(fileSize int64) int64 { return max(plainBytes, growth*fileSize) }

// soundBytes returns what so many seconds of a file's sound take decoded.
func soundBytes(seconds float64, a Audio) float64 {
	return math.Max(0, seconds) * float64(a.Rate) * float64(a.Channels) * sampleSize
}

// tooMuch returns the fault of a file whose sound is out of all proportion.
func tooMuch(path string, fileSize int64, decoded float64) error {
	what := fmt.Sprintf("the file holds %s and its sound would take %s", size(fileSize), size(int64(decoded)))
	if decoded <= 0 {
		what = fmt.Sprintf("the file holds %s and its sound takes more than %s", size(fileSize),
			size(soundBound(fileSize)))
	}
	return fault.New(fault.Media, showPath(path), what+": it is nothing but silence, or made to fill a disk",
		"cut the recording to the piece, or ask the player for a WAV file")
}

// sidesFault says what is wrong with the sides of a picture, nil for nothing.
func sidesFault(v *Video) error {
	w, h := v.Display()
	switch {
	// ffprobe prints 0 × 0 when max_pixels made it give up on the decoder.
	case v.W == 0 || v.H == 0 || int64(v.W)*int64(v.H) > MaxPixels, max(v.W, v.H) > MaxSide, max(w, h) > MaxShown:
		return errHugePicture
	case min(v.W, v.H, w, h) < MinSide:
		return errTinyPicture
	case max(w, h) > MaxShape*min(w, h):
		return errShape
	}
	return nil
}

// better reports whether a sound track is clearly better than another: one of a
// telephone's rate is not used beside one of a recorder's. What is above 44.1
// kHz sounds no different.
func better(a, b *Audio) bool {
	const good = 44100
	return min(a.Rate, good) > min(b.Rate, good) && 3*a.Rate >= 4*b.Rate
}

// fileSize returns a file's size in bytes, 0 for none.
func fileSize(path string) int64 {
	st, err := os.Stat(path)
	if err != nil {
		return 0
	}
	return st.Size()
}

// Errors of ParseProbe that speak about the file. They are worded for the
// person who will see them.
var (
	errNoStreams   = errors.New("the file holds neither picture nor sound that can be read")
	errHugePicture = fmt.Errorf("the picture is absurdly large, at most %d pixels are accepted and %d a side",
		MaxPixels, MaxSide)
	errTinyPicture = fmt.Errorf("the picture is absurdly small, its sides must have %d pixels at least", MinSide)
	errShape       = fmt.Errorf("the picture is a strip, more than %d times as long as wide", MaxShape)
	errChannels    = fmt.Errorf("the sound has more than %d channels", MaxChannels)
	errTrack       = errors.New("the file does not have that sound track")
	errRate        = errors.New("the sound has an absurd sample rate")
)
