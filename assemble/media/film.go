package media

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"os"
	"strings"
	"sync"

	"ripieno/assemble/ffmpeg"
	"ripieno/mix/audio"
)

// Want is what a finished film has to be.
type Want struct {
	W, H           int // pixels
	Frames         int // video frames, exactly
	FPSNum, FPSDen int // constant frame rate
	// AudioSamples is the length of the sound in samples a channel, before
	// encoding; 0 for a film that must have no sound.
	AudioSamples int64
	AudioRate    int    // hertz; 0: 48000
	Channels     int    // 0: 2
	Chapters     int    // how many chapters; their names are a stream of data
	Codec        string // of the picture: h264, hevc or av1; "": h264
}

// aacFrame is the number of samples in one AAC-LC packet (ISO/IEC 14496-3):
// the last one is padded, and decodes to its full length.
const aacFrame = 1024

// VerifyFilm checks the film at path against want and returns nil only when
// all of it is right, because ffmpeg exits with 0 after many a failure. It
// counts the video packets and decodes the sound. The checks: MP4 with the
// index in front; one stream of the codec asked for in its usual profile, under
// the name that players know, 4:2:0, progressive, square pixels, limited BT.709
// and tagged so, without rotation; size, frame rate and frame count; one AAC
// stream with the rate, channels and length asked for; nothing else.
//
// The error joins every deviation, so that one run shows all of them. It is a
// bug of the program or a failed run, not something a user can mend.
func VerifyFilm(ctx context.Context, tool *ffmpeg.Tool, path string, want Want) error {
	if want.AudioRate == 0 {
		want.AudioRate = audio.Rate
	}
	if want.Channels == 0 {
		want.Channels = 2
	}
	if want.Codec == "" {
		want.Codec = "h264"
	}
	f, err := os.Open(path)
	if err != nil {
		return err
	}
	defer f.Close()
	st, err := f.Stat()
	if err != nil {
		return err
	}
	var wrong deviations
	list := readAtoms(f, st.Size())
	if !fastStart(list) {
		wrong.add("the index does not stand in front of the media data")
	}
	// A box that reaches beyond the file is what a full disk leaves.
	if n := len(list); n == 0 || list[n-1].end() != st.Size() {
		wrong.add("the file does not end where its last box ends")
	}
	out, heard, unheard, err := askFilm(ctx, tool, path, want)
	if err != nil {
		return fmt.Errorf("checking %s: %w", showPath(path), err)
	}
	hasSound, err := checkFilm(&wrong, out, want)
	if err != nil {
		return fmt.Errorf("checking %s: %w", showPath(path), err)
	}
	// That the sound could not be decoded is only said of a film that has one: else its lack is
	// the deviation.
	if hasSound && want.AudioSamples > 0 {
		if unheard != nil {
			return fmt.Errorf("checking %s: %w", showPath(path), unheard)
		}
		wrong = append(wrong, heard...)
	}
	if err := wrong.err(); err != nil {
		return fmt.Errorf("the film %s is not as ordered: %w", showPath(path), err)
	}
	return nil
}

// askFilm has ffprobe read a film, and its sound decoded meanwhile: a run waits for both.
// It returns the answer, what is wrong with the sound, and why that could not be decoded.
func askFilm(ctx context.Context, tool *ffmpeg.Tool, path string, want Want) (answer []byte, heard deviations, unheard,
	err error) {
	limited, cancel := context.WithCancel(ctx)
	defer cancel()
	var listening sync.WaitGroup
	if want.AudioSamples > 0 {
		listening.Go(func() { unheard = checkSound(limited, tool, &heard, path, want) })
	}
	answer, err = tool.Ask(ctx, ffmpeg.Command{Args: []string{"-protocol_whitelist", "file", "-of", "json",
		"-count_packets", "-show_chapters", "-show_entries", filmEntries, "file:" + path},
		Patience: ffmpeg.Reading(fileSize(path))})
	if err != nil {
		cancel()
	}
	listening.Wait()
	return answer, heard, unheard, err
}

const filmEntries = "format=format_name,duration:stream=codec_type,codec_name,codec_tag_string,profile,width,height," +
	"pix_fmt,field_order,sample_aspect_ratio,color_range,color_space,color_transfer,color_primaries,r_frame_rate," +
	"avg_frame_rate,nb_read_packets,start_time,duration,sample_rate,channels:stream_tags=rotate:stream_side_data=rotation"

// deviations collects what differs.
type deviations []error

// add notes one thing that is not as it should be.
func (d *deviations) add(format string, args ...any) {
	*d = append(*d, fmt.Errorf(format, args...))
}

// same notes a difference between a value found and one wanted.
func (d *deviations) same(what string, got, want any) {
	if got != want {
		d.add("%s is %v, not %v", what, got, want)
	}
}

// err returns everything that was noted as one error, nil for nothing.
func (d deviations) err() error { return errors.Join(d...) }

// filmStream adds to probeStream what only films are asked.
type filmStream struct {
	probeStream
	Tag     string `json:"codec_tag_string"`
	Packets number `json:"nb_read_packets"`
}

// checkFilm compares ffprobe's answer with want. It is pure. It reports
// whether there is a sound stream to decode.
func checkFilm(wrong *deviations, answer []byte, want Want) (hasSound bool, err error) {
	var p struct {
		Format struct {
			Name string `json:"format_name"`
		} `json:"format"`
		Streams  []filmStream      `json:"streams"`
		Chapters []json.RawMessage `json:"chapters"`
	}
	if err := json.Unmarshal(answer, &p); err != nil {
		return false, err
	}
	if !strings.Contains(p.Format.Name, "mp4") {
		wrong.add("the container is %q, not MP4", p.Format.Name)
	}
	pictures, sounds, data := 0, 0, 0
	wrong.same("the number of chapters", len(p.Chapters), want.Chapters)
	for _, s := range p.Streams {
		switch s.Type {
		case "video":
			pictures++
			checkPicture(wrong, s, want)
		case "audio":
			sounds++
			wrong.same("the sound's codec", s.Codec, "aac")
			wrong.same("the sample rate", s.SampleRate.int(), want.AudioRate)
			wrong.same("the number of channels", s.Channels.int(), want.Channels)
			if t := s.Start.seconds(); math.Abs(t) > 1e-3 {
				wrong.add("the sound starts at %g s, not at 0", t)
			}
			length := float64(want.AudioSamples) / float64(want.AudioRate)
			// The container counts milliseconds and drops the rest.
			if d := s.Duration.seconds(); want.AudioSamples > 0 && math.Abs(d-length) > 2e-3 {
				wrong.add("the sound is said to last %g s, not %g", d, length)
			}
		case "data":
			if data++; data > min(1, want.Chapters) {
				wrong.add("there is a stream of type %q that no chapter needs", s.Type)
			}
		default:
			wrong.add("there is a stream of type %q", s.Type)
		}
	}
	wrong.same("the number of pictures", pictures, 1)
	wantSounds := 1
	if want.AudioSamples == 0 {
		wantSounds = 0
	}
	wrong.same("the number of sound streams", sounds, wantSounds)
	return sounds > 0, nil
}

// pictureKinds are the codecs that films have, with the profile for 8 bits of
// 4:2:0 (ffprobe's word) and the name of the sample entry that keeps what a
// decoder has to know outside of the frames (ISO/IEC 14496-15; for AV1 its
// binding to ISO files): hev1, which allows both, is not played everywhere.
var pictureKinds = map[string]struct{ profile, tag string }{
	"h264": {"High", "avc1"}, "hevc": {"Main", "hvc1"}, "av1": {"Main", "av01"},
}

// checkPicture compares the video stream.
func checkPicture(wrong *deviations, s filmStream, want Want) {
	wrong.same("the picture's codec", s.Codec, want.Codec)
	kind := pictureKinds[want.Codec]
	wrong.same("the profile", s.Profile, kind.profile)
	wrong.same("the codec's name in the file", s.Tag, kind.tag)
	wrong.same("the size", fmt.Sprintf("%dx%d", s.Width.int(), s.Height.int()), fmt.Sprintf("%dx%d", want.W, want.H))
	wrong.same("the pixel format", s.PixFmt, "yuv420p")
	wrong.same("the colour range", s.Range, "tv")
	wrong.same("the colour matrix", s.Matrix, "bt709")
	wrong.same("the transfer function", s.Transfer, "bt709")
	wrong.same("the primaries", s.Primaries, "bt709")
	wrong.same("the rotation", s.rotation(), 0)
	if len(s.SideData) > 0 {
		wrong.add("there is a display matrix")
	}
	if n, d := pixelShape(s.SAR); n != d {
		wrong.add("the pixels are %s, not square", s.SAR)
	}
	if s.Field != "progressive" && known(s.Field) != "" {
		wrong.add("the picture is interlaced (%s)", s.Field)
	}
	if t := s.Start.seconds(); math.Abs(t) > 1e-4 {
		wrong.add("the picture starts at %g s, not at 0", t)
	}
	wrong.same("the number of frames", s.Packets.int(), want.Frames)
	for _, rate := range []string{s.AvgRate, s.BaseRate} {
		n, d, ok := fraction(rate, "/")
		if !ok || int64(n)*int64(want.FPSDen) != int64(d)*int64(want.FPSNum) {
			wrong.add("the frame rate is %s, not %d/%d", rate, want.FPSNum, want.FPSDen)
			break
		}
	}
}

// checkSound decodes the sound and counts samples.
func checkSound(ctx context.Context, tool *ffmpeg.Tool, wrong *deviations, path string, want Want) error {
	var said complaints
	count := &byteCounter{}
	err := tool.Run(ctx, ffmpeg.Command{
		Args: []string{"-protocol_whitelist", "file", "-i", "file:" + path, "-map", "0:a:0",
			"-c:a", "pcm_s16le", "-f", "s16le", "pipe:1"},
		Stdout: count, Log: &said, Patience: ffmpeg.Reading(fileSize(path)),
	})
	if err != nil {
		return err
	}
	if said.errors > 0 || said.truncated {
		wrong.add("the decoder of the sound complains: %q", said.first)
	}
	got := count.n / int64(2*want.Channels)
	// AAC decodes to whole packets, whatever the length was before.
	if got < want.AudioSamples || got >= want.AudioSamples+aacFrame {
		wrong.add("the sound has %d samples, not %d", got, want.AudioSamples)
	}
	return nil
}

// byteCounter counts what is written to it.
type byteCounter struct{ n int64 }

// Write counts bytes and keeps none.
func (c *byteCounter) Write(p []byte) (int, error) { c.n += int64(len(p)); return len(p), nil }
