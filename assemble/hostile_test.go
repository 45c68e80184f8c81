package assemble

import (
	"bytes"
	"encoding/binary"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"testing"

	"ripieno/assemble/ffmpeg"
)

// hostile is a file that somebody made to do harm, or that became so by a fault.
type hostile struct {
	name string
	role string // "" is video
	// refused says that nothing of the file may be used. The others are harmless
	// with the bounds there are.
	refused bool
	made    []byte                   // what it holds; nil: see args
	args    []string                 // by which ffmpeg makes it
	spoil   func(data []byte) []byte // what is changed then
}

// box returns an MP4 box (ISO/IEC 14496-12, 4.2).
func box(kind string, body ...byte) []byte {
	b := binary.BigEndian.AppendUint32(nil, uint32(8+len(body)))
	return append(append(b, kind...), body...)
}

// put writes a number of 32 bits behind the n-th box of that name, so many bytes
// into its content.
func put(kind string, nth, at int, v uint32) func([]byte) []byte {
	return func(data []byte) []byte {
		from := 0
		for range nth {
			if i := bytes.Index(data[from:], []byte(kind)); i >= 0 {
				from += i + 4
			}
		}
		binary.BigEndian.PutUint32(data[from+at:], v)
		return data
	}
}

// all makes one change after the other.
func all(changes ...func([]byte) []byte) func([]byte) []byte {
	return func(data []byte) []byte {
		for _, c := range changes {
			data = c(data)
		}
		return data
	}
}

// pcm returns a WAV file's header with such a format and claim, and a little sound.
func pcm(channels uint16, rate, claim uint32) []byte {
	le := binary.LittleEndian
	b := append([]byte("RIFF"), le.AppendUint32(nil, claim)...)
	b = append(b, "WAVEfmt "...)
	b = le.AppendUint32(b, 16)
	b = le.AppendUint16(le.AppendUint16(b, 1), channels)
	b = le.AppendUint32(le.AppendUint32(b, rate), rate*uint32(channels)*2)
	b = le.AppendUint16(le.AppendUint16(b, channels*2), 16)
	b = le.AppendUint32(append(b, "data"...), claim)
	return append(b, make([]byte, 400_000)...)
}

// noise returns bytes that mean nothing.
func noise(n int) []byte {
	rng := rand.New(rand.NewPCG(3, 4))
	b := make([]byte, n)
	for i := range b {
		b[i] = byte(rng.Uint32())
	}
	return b
}

// Inputs of ffmpeg, and what most files are made of.
var (
	someSound   = []string{"-f", "lavfi", "-i", "sine=d=4:r=48000"}
	somePicture = []string{"-f", "lavfi", "-i", "testsrc2=s=160x96:r=24:d=4"}
	x264        = []string{"-c:v", "libx264", "-preset", "ultrafast", "-g", "24", "-pix_fmt", "yuv420p"}
)

func silent(seconds, layout string, more ...string) []string {
	return append([]string{"-f", "lavfi", "-i", "anullsrc=r=48000:cl=" + layout, "-t", seconds}, more...)
}

func join(lists ...[]string) (all []string) {
	for _, l := range lists {
		all = append(all, l...)
	}
	return all
}

// stillPicture returns a picture of that size, raw.
func stillPicture(size, sar string, more ...string) []string {
	return join([]string{"-f", "rawvideo", "-pix_fmt", "gray", "-r", "24", "-s", size, "-i", "/dev/zero", "-frames:v",
		"48",
		"-vf", "setsar=" + sar, "-c:v", "ffv1"}, more)
}

// hostiles returns the files of the table; none is larger than 5 MB.
func hostiles() []hostile {
	both := join(somePicture, someSound, x264, []string{"-c:a", "aac"})
	m4a := join(someSound, []string{"-c:a", "aac"})
	// An hour of nothing behind the first second.
	gapSound := join(someSound, []string{"-af", "asetpts=PTS+gt(T\\,1)*3600/TB"})
	gapPicture := join(somePicture, someSound, x264, []string{"-vf", "setpts=PTS+gt(T\\,2)*3600/TB", "-fps_mode",
		"passthrough", "-c:a", "aac"})
	return []hostile{
		// Indexes that claim.
		{name: "samples-of-one-size.m4a", role: "audio", refused: true, args: m4a,
			spoil: all(put("stsz", 1, 4, 1), put("stsz", 1, 8, 85_000_000))},
		{name: "samples-without-sizes.mp4", refused: true, args: both, spoil: put("stsz", 1, 8, 85_000_000)},
		{name: "samples-of-the-picture.mp4", refused: true, args: both,
			spoil: all(put("stsz", 1, 4, 2), put("stsz", 1, 8, 0xffffffff))},
		{name: "fragment.mp4", refused: true, args: join(both, []string{"-movflags", "frag_keyframe+empty_moov"}),
			spoil: put("trun", 1, 4, 85_000_000)},
		{name: "forty-hours.mp4", refused: true, args: both, spoil: all(put("mvhd", 1, 16, 144_000_000),
			put("mdhd", 1, 16, 0xfffffff0), put("mdhd", 2, 16, 0xfffffff0))},
		{name: "a-long-sample.m4a", role: "audio", refused: true, args: m4a, spoil: all(put("stts", 1, 12, 0x7fffffff),
			put("mdhd", 1, 16, 0x7fffffff))},
		{name: "late-by-hours.mkv", refused: true, args: join(somePicture, []string{"-itsoffset", "10000"}, someSound,
			x264, []string{"-c:a", "flac"})},
		{name: "boxes-in-boxes.mp4", refused: true, made: nested(2000)},
		// Gaps.
		{name: "gap-in-the-sound.mka", role: "audio", refused: true, args: join(gapSound, []string{"-c:a", "aac"})},
		// What lies behind the bound is not read, and nothing of it was claimed.
		{name: "gap-that-is-denied.mka", role: "audio", args: join(gapSound, []string{"-c:a", "aac"}), spoil: deny},
		{name: "gap-in-the-sound.ts", role: "audio", refused: true, args: join(gapSound, []string{"-c:a", "aac"})},
		{name: "gap-in-the-picture.mkv", args: gapPicture},
		// Little that becomes much.
		{name: "an-hour-of-nothing.flac", role: "audio", refused: true, args: silent("1000", "stereo", "-c:a", "flac")},
		{name: "denied.flac", role: "audio", refused: true, args: silent("1000", "stereo", "-c:a", "flac"),
			spoil: func(data []byte) []byte {
				// STREAMINFO's number of samples, 36 bits (RFC 9639, 8.2): four seconds.
				data[21] &= 0xf0
				binary.BigEndian.PutUint32(data[22:], 4*48000)
				return data
			}},
		{name: "eight-channels.flac", role: "audio", refused: true, args: silent("200", "7.1", "-c:a", "flac")},
		{name: "hours.opus", role: "audio", refused: true, args: silent("800", "stereo", "-c:a", "libopus", "-b:a",
			"6k", "-frame_duration", "60", "-compression_level", "0")},
		{name: "hours.m4a", role: "audio", refused: true, args: silent("800", "stereo", "-c:a", "aac", "-b:a", "8k")},
		{name: "hours.mka", role: "audio", refused: true, args: silent("300", "5.1", "-c:a", "flac")},
		// Pictures.
		{name: "a-point.mkv", refused: true, args: stillPicture("1x1", "1")},
		{name: "a-line.mkv", refused: true, args: stillPicture("16386x16", "1")},
		{name: "a-strip.mkv", refused: true, args: stillPicture("7680x64", "4")},
		{name: "flat.mkv", refused: true, args: stillPicture("1600x64", "1")},
		{name: "enormous.webm", refused: true, args: join(somePicture, []string{"-c:v", "libvpx", "-b:v", "200k"}),
			spoil: vast},
		{name: "sixty-tracks.mka", role: "audio", refused: true,
			args: join(someSound, tracks(60), []string{"-c:a", "pcm_s16le", "-t", "0.1"})},
		// What refers to other files, and what is none.
		{name: "playlist.mp4", refused: true,
			made: []byte("#EXTM3U\n#EXT-X-TARGETDURATION:10\n#EXTINF:10,\n/etc/passwd\n")},
		{name: "list.mkv", refused: true, made: []byte("ffconcat version 1.0\nfile /etc/passwd\n")},
		{name: "elsewhere.mov", refused: true, args: join(both, []string{"-f", "mov"}), spoil: refer},
		{name: "page.mp4", refused: true, made: []byte("<!DOCTYPE html><title>Sign in</title>")},
		{name: "archive.mov", refused: true, made: append([]byte("PK\x03\x04"), noise(1000)...)},
		{name: "empty.mp4", refused: true, made: []byte{}},
		{name: "zeros.wav", role: "audio", refused: true, made: make([]byte, 100_000)},
		{name: "noise.mov", refused: true, made: noise(200_000)},
		{name: "zeroed.mp4", refused: true, args: join(somePicture, x264), spoil: func(data []byte) []byte {
			at := bytes.Index(data, []byte("mdat"))
			clear(data[at+4 : at-4+int(binary.BigEndian.Uint32(data[at-4:]))])
			return data
		}},
		{name: "half.mp4", refused: true, args: both, spoil: func(data []byte) []byte { return data[:len(data)/2] }},
		{name: "unusual.mka", role: "audio", refused: true, args: join(someSound, []string{"-c:a", "wavpack"})},
		// Headers that lie.
		{name: "channels.wav", role: "audio", refused: true, made: pcm(4000, 48000, 20_000)},
		{name: "rate.wav", role: "audio", refused: true, made: pcm(1, 2_000_000_000, 20_000)},
		{name: "endless.wav", role: "audio", made: pcm(1, 48000, 0xffffffff)},
		// Honest, and once the end of every mix it was in.
		{name: "telephone.m4a", role: "audio", args: join(someSound, []string{"-ar", "8000", "-c:a", "aac"})},
		{name: "tag.mp3", role: "audio", refused: true, made: append([]byte("ID3\x04\x00\x00\x7f\x7f\x7f\x7f"),
			noise(5000)...)},
		{name: "packets.caf", role: "audio", refused: true, args: join(someSound, []string{"-c:a", "alac"}),
			spoil: func(data []byte) []byte {
				return put("pakt", 1, 8, 0x10000000)(data)
			}},
		{name: "frames.aiff", role: "audio", refused: true, args: join(someSound, []string{"-c:a", "pcm_s16be"}),
			spoil: put("COMM", 1, 6, 0xffffffff)},
	}
}

// nested returns an MP4 with boxes in boxes.
func nested(deep int) []byte {
	var b []byte
	for range deep {
		b = box("trak", b...)
	}
	return append(box("ftyp", []byte("isom\x00\x00\x02\x00isom")...), box("moov", b...)...)
}

// deny has a Matroska file claim four seconds, in its head (Duration, 0x4489, in
// milliseconds) and in its tags.
func deny(data []byte) []byte {
	if i := bytes.Index(data, []byte{0x44, 0x89, 0x88}); i >= 0 {
		binary.BigEndian.PutUint64(data[i+3:], math.Float64bits(4000))
	}
	return bytes.ReplaceAll(data, []byte("01:00:0"), []byte("00:00:0"))
}

// vast makes the first key frame of VP8 16383 by 16383 (RFC 6386, 9.1).
func vast(data []byte) []byte {
	if i := bytes.Index(data, []byte{0x9d, 0x01, 0x2a}); i >= 0 {
		copy(data[i+3:], []byte{0xff, 0x3f, 0xff, 0x3f})
	}
	// And what Matroska says of it: PixelWidth, PixelHeight of two bytes.
	for _, id := range []byte{0xb0, 0xba} {
		if i := bytes.Index(data[:1000], []byte{id, 0x81}); i >= 0 {
			data[i+2] = 0xff
		}
	}
	return data
}

func tracks(n int) (maps []string) {
	for range n {
		maps = append(maps, "-map", "0:a")
	}
	return maps
}

// refer makes all tracks of a QuickTime file refer to another one (QuickTime File
// Format, "Data reference atoms"): an alias without the flag that it is this.
func refer(data []byte) []byte {
	return bytes.ReplaceAll(data, []byte("\x00\x00\x00\x0curl \x00\x00\x00\x01"),
		[]byte("\x00\x00\x00\x0dalis\x00\x00\x00\x00"))
}

// write makes the file in a folder.
func (h hostile) write(t *testing.T, tool *ffmpeg.Tool, dir string) {
	t.Helper()
	path := filepath.Join(dir, h.name)
	data := h.made
	if h.args != nil {
		run(t, tool, ffmpeg.Command{Args: join(h.args, []string{"-threads", "1", "-y", "file:" + path})})
		var err error
		if data, err = os.ReadFile(path); err != nil {
			t.Fatal(err)
		}
	}
	if h.spoil != nil {
		data = h.spoil(data)
	}
	if len(data) > 5_000_000 {
		t.Errorf("%s has %d bytes; the table is of small files", h.name, len(data))
	}
	if err := os.WriteFile(path, data, 0o666); err != nil {
		t.Fatal(err)
	}
}
