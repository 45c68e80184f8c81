package media

import (
	"bytes"
	"context"
	"encoding/binary"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"ripieno/assemble/fault"
	"ripieno/assemble/ffmpeg"
	"ripieno/assemble/ffmpeg/ffmpegtest"
)

// TestSidesAreBounded: sizes that layout and encoders cannot take are refused
// with the file, and what cameras write is not.
func TestSidesAreBounded(t *testing.T) {
	for _, c := range []struct {
		w, h int
		sar  string
		want error
	}{
		{1, 1, "1:1", errTinyPicture},
		{15, 16, "1:1", errTinyPicture},
		{16, 16, "1:1", nil},
		{64, 64, "1:4", nil},
		{40, 64, "1:4", errTinyPicture},
		{16386, 16, "1:1", errHugePicture},
		{8194, 4320, "1:1", errHugePicture},
		{7680, 4320, "1:1", nil},
		{4320, 7680, "1:1", nil},
		{7680, 64, "4:1", errHugePicture},
		{4096, 256, "4:1", errShape},
		{4096, 256, "1:1", nil},
		{4098, 256, "1:1", errShape},
		{176, 144, "12:11", nil}, // a phone's
		{1440, 1080, "4:3", nil}, // HDV
	} {
		_, err := change(t, `"width":1920`, fmt.Sprintf(`"width":%d`, c.w), `"height":1080`,
			fmt.Sprintf(`"height":%d`, c.h), `"1:1"`, `"`+c.sar+`"`)
		if err != c.want {
			t.Errorf("%d × %d of pixels %s: %v, want %v", c.w, c.h, c.sar, err, c.want)
		}
	}
}

// TestLittleTime adds up what the system grants for a file of 5 MB until it is accepted
// or refused: with sounds of others in one process, and in all that are about it alone.
// A larger one has more in proportion, and none less than it takes to start.
func TestLittleTime(t *testing.T) {
	const small, most = 5_000_000, 30 * time.Second
	path := filepath.Join(t.TempDir(), "small.m4a")
	if err := os.WriteFile(path, make([]byte, small), 0o666); err != nil {
		t.Fatal(err)
	}
	one := Sound{Info: Info{Path: path, Duration: 10, Audio: &Audio{Rate: 48000, Channels: 2}}}
	together := soundLimits(slices.Repeat([]Sound{one}, Together)).CPU
	if sum := together + Allowance(small); sum > most || sum < most-time.Second {
		t.Errorf("a small file may take %v, want %v", sum, most)
	}
	// Each of what is done with it has room: twice probed and decoded by itself.
	if need := 2*question(path, nil).Limits.CPU + soundLimits([]Sound{one}).CPU; need > Allowance(small) {
		t.Errorf("it may need %v and has %v", need, Allowance(small))
	}
	for size, want := range map[int64]time.Duration{0: 21, 1: 21, small: 21, 2 * small: 42, 200 * small: 4200} {
		if got := Allowance(size); got != want*time.Second {
			t.Errorf("%d bytes have %v, want %d s", size, got, want)
		}
	}
	if got := probeTime(1e12); got > 2*time.Minute {
		t.Errorf("probing takes up to %v", got)
	}
	for _, size := range []int64{0, 1, small, 100 * small} {
		if probeTime(size) < startTime*time.Second || soundTime(size, true) < startTime*time.Second ||
			soundTime(size, false) < soundTime(size, true) || soundTime(size, false) > Allowance(size) {
			t.Errorf("%d bytes have %v, %v and %v of %v", size, probeTime(size), soundTime(size, true),
				soundTime(size, false), Allowance(size))
		}
	}
}

// Of a picture that is large for its file fewer frames are looked at.
func TestFramesToSee(t *testing.T) {
	dir := t.TempDir()
	for _, c := range []struct {
		size int64
		w, h int
		want int
	}{
		{5_000_000, 1920, 1080, 578}, {1000, 1920, 1080, 578}, {50_000_000, 1920, 1080, 5787},
		{5_000_000, 7680, 4320, 36}, {5_000_000, 640, 480, 3906}, {5_000_000, 0, 0, 1_200_000_000},
	} {
		path := filepath.Join(dir, "a.mp4")
		f, err := os.Create(path)
		if err != nil {
			t.Fatal(err)
		}
		if err := errors.Join(f.Truncate(c.size), f.Close()); err != nil {
			t.Fatal(err)
		}
		info := Info{Path: path, Video: &Video{W: c.w, H: c.h}}
		if got := info.FramesToSee(); got != c.want {
			t.Errorf("%d × %d in %d bytes: %d frames, want %d", c.w, c.h, c.size, got, c.want)
		}
		if got := info.IsSmall(); got != (c.size <= 5_000_000) {
			t.Errorf("%d bytes are small: %v", c.size, got)
		}
	}
}

// TestTheBetterSoundTrack has files of two sound tracks.
func TestTheBetterSoundTrack(t *testing.T) {
	second := func(rate, channels int) []string {
		return []string{`{"index":2,"codec_type":"data"`,
			fmt.Sprintf(`{"index":2,"codec_name":"aac","codec_type":"audio","sample_rate":"%d","channels":%d},{"index":3,"codec_type":"data"`, rate, channels)}
	}
	for _, c := range []struct {
		name  string
		first string
		edit  []string
		track int
		want  int // 0: refused
		says  string
	}{
		{"alike", "48000", second(48000, 2), 0, 1, "the first is used"},
		{"48 kHz beside 44.1", "44100", second(48000, 2), 0, 1, "the first is used"},
		{"44.1 kHz beside 8", "8000", second(44100, 1), 0, 2,
			"of 2 sound tracks number 2 is used; track: chooses another"},
		{"48 kHz beside 16", "16000", second(48000, 2), 0, 2, "number 2 is used"},
		{"8 kHz beside 48", "48000", second(8000, 1), 0, 1, "the first is used"},
		{"chosen", "48000", second(8000, 1), 2, 2, "number 2 is used"},
		{"the first chosen", "8000", second(48000, 1), 1, 1, "the first is used"},
		{"one that is not there", "48000", second(48000, 1), 3, 0, "does not have that sound track: it has 2"},
		{"too many channels", "48000", second(48000, 9), 2, 0, "more than 8 channels"},
		{"the first has too many channels", "48000", append(second(48000, 1), `"channels":2`, `"channels":9`), 0, 2,
			"number 2 is used"},
	} {
		s := strings.Replace(phone, `"sample_rate":"44100"`, `"sample_rate":"`+c.first+`"`, 1)
		for i := 0; i < len(c.edit); i += 2 {
			s = strings.Replace(s, c.edit[i], c.edit[i+1], 1)
		}
		info, err := parseProbe([]byte(s), c.track)
		switch {
		case c.want == 0 && (err == nil || !strings.Contains(err.Error(), c.says)):
			t.Errorf("%s: %v, want %q", c.name, err, c.says)
		case c.want > 0 && err != nil:
			t.Errorf("%s: %v", c.name, err)
		case c.want > 0 && (info.Audio.Track != c.want || !strings.Contains(strings.Join(info.Notes, "\n"), c.says)):
			t.Errorf("%s: track %d, want %d; %q", c.name, info.Audio.Track, c.want, info.Notes)
		}
	}
}

// TestLiveFragments has a fragmented file of a second whose first fragment begins
// after 39.8 hours, as of a stream that had been running for so long.
func TestLiveFragments(t *testing.T) {
	tool := ffmpegtest.Tool(t)
	const hours = 143280 // seconds
	path := ffmpegtest.Make(t, "live.mp4", "-f", "lavfi", "-i", "testsrc2=s=160x96:r=25:d=1", "-f", "lavfi", "-i",
		"sine=d=1:r=48000",
		"-c:v", "libx264", "-preset", "ultrafast", "-pix_fmt", "yuv420p", "-c:a", "aac", "-movflags",
		"frag_keyframe+empty_moov+default_base_moof")
	data, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	var scales []uint64 // of the tracks (ISO/IEC 14496-12, 8.4.2)
	for rest := data; ; {
		i := bytes.Index(rest, []byte("mdhd"))
		if i < 0 {
			break
		}
		scales = append(scales, uint64(binary.BigEndian.Uint32(rest[i+16:])))
		rest = rest[i+4:]
	}
	for at := 0; ; { // when fragments begin (8.8.12), in order of the tracks
		i := bytes.Index(data[at:], []byte("tfdt"))
		if i < 0 {
			break
		}
		at += i + 4
		track := data[:at]
		track = track[bytes.LastIndex(track, []byte("tfhd"))+8:]
		begin := binary.BigEndian.Uint64(data[at+4:])
		binary.BigEndian.PutUint64(data[at+4:], begin+hours*scales[binary.BigEndian.Uint32(track)-1])
	}
	if err := os.WriteFile(path, data, 0o666); err != nil {
		t.Fatal(err)
	}
	info, err := Probe(context.Background(), tool, path)
	if err != nil {
		t.Fatal(err)
	}
	if info.Duration < 0.9 || info.Duration > 1.1 || info.Audio.Duration > 1.1 || info.Video.Duration > 1.1 ||
		info.Audio.Start != 0 {
		t.Errorf("it lasts %g s, sound %+v, picture %+v", info.Duration, info.Audio, info.Video)
	}
	if !strings.Contains(strings.Join(info.Notes, "\n"), "claims to be 39.8 hours long") {
		t.Errorf("notes: %q", info.Notes)
	}
	decoded, err := Decode(context.Background(), tool, info, path+".wav")
	if err != nil || decoded.Frames < 47000 || decoded.Frames > 50000 || decoded.Truncated {
		t.Errorf("decoded: %+v, %v", decoded, err)
	}
}

// TestCodecsAreBounded: a codec that nothing records in is refused by its name,
// and a setting allows it.
func TestCodecsAreBounded(t *testing.T) {
	tool := ffmpegtest.Whole(t)
	path := ffmpegtest.Make(t, "rare.mka", "-f", "lavfi", "-i", "sine=d=1", "-c:a", "wavpack")
	_, err := Probe(context.Background(), tool, path)
	if f := faultOf(t, err); !strings.Contains(f.What, "a stream in wavpack") ||
		!strings.Contains(f.Hint, "--codecs wavpack") {
		t.Errorf("%+v", f)
	}
	more, err := (ffmpeg.Options{Codecs: []string{"wavpack"}}).Find(context.Background())
	if err != nil {
		t.Fatal(err)
	}
	info, err := Probe(context.Background(), more, path)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := Decode(context.Background(), more, info, path+".wav"); err != nil {
		t.Error(err)
	}
}

// TestCodecsAreDecoders holds the list against this ffmpeg's: a name that is
// misspelt would allow nothing. Some are of libraries that not every ffmpeg has.
func TestCodecsAreDecoders(t *testing.T) {
	var out bytes.Buffer
	if err := ffmpegtest.Tool(t).Run(context.Background(), ffmpeg.Command{Args: []string{"-decoders"},
		Stdout: &out}); err != nil {
		t.Fatal(err)
	}
	missing := 0
	for _, name := range Codecs {
		if !strings.Contains(out.String(), " "+name+" ") {
			t.Logf("this ffmpeg has no %s", name)
			missing++
		}
	}
	if missing > 8 {
		t.Errorf("%d of %d names are none of this ffmpeg's", missing, len(Codecs))
	}
}

// An endless line where packets are described is an error, and takes no memory.
func TestPacketLinesAreBounded(t *testing.T) {
	p := packetSizes{total: make([]int64, 1)}
	var err error
	for range 10 {
		if _, err = p.Write(bytes.Repeat([]byte("x"), 1000)); err != nil {
			break
		}
	}
	if err == nil || cap(p.line) > 16*maxPacketLine {
		t.Errorf("%v with %d bytes kept", err, cap(p.line))
	}
}

// TestDecodeFaultNamesTheFile: whoever reads a take with a command of their own
// gets an error that says which take it was.
func TestDecodeFaultNamesTheFile(t *testing.T) {
	const path = "/production/intake/mara.mov"
	for _, exit := range []*ffmpeg.ExitError{
		{Program: "ffmpeg", Code: 1, Tail: []string{"[fatal] Error while processing the decoded data for stream #0:0"}},
		{Program: "ffmpeg", Code: 1, Tail: []string{"Invalid data found when processing input"}},
		{Program: "ffmpeg", Code: -1, Signal: "killed"},
		{Program: "ffmpeg", Code: -1, Signal: "file size limit exceeded"},
		{Program: "ffmpeg", Code: 1, Tail: []string{"[error] Cannot allocate memory"}},
	} {
		err := DecodeFault(context.Background(), path, fault.New(fault.FFmpeg, "ffmpeg", "the program failed",
			"").Because(exit))
		if f := faultOf(t, err); f.Where != path || f.Hint == "" {
			t.Errorf("%v: %+v", exit, f)
		}
	}
	full := fault.New(fault.Failed, "", "the disk is full", "make room")
	if err := DecodeFault(context.Background(), path, full); err != error(full) {
		t.Errorf("a full disk became %v", err)
	}
	if err := DecodeFault(context.Background(), path, nil); err != nil {
		t.Error(err)
	}
}
