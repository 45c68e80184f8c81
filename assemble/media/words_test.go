package media

import (
	"context"
	"errors"
	"io"
	"strings"
	"testing"
	"time"

	"ripieno/assemble/fault"
	"ripieno/assemble/ffmpeg"
	"ripieno/mix/audio"
)

// failed returns a run of ffprobe that said these lines.
func failed(lines ...string) error {
	e := &ffmpeg.ExitError{Program: "ffprobe", Code: 1, Tail: lines}
	return fault.New(fault.FFmpeg, "ffprobe", "the program failed", "").Because(e)
}

// Lines as ffprobe 5.1.9 writes them.
func TestProbeFaultWords(t *testing.T) {
	for _, c := range []struct{ line, what string }{
		{"[mov,mp4,m4a,3gp,3g2,mj2 @ 0x5] [error] moov atom not found", "the file is damaged or no recording at all"},
		{"[nut @ 0x5] [error] Format not on whitelist 'mov,matroska'", "the file is of a kind that is not accepted"},
		{"[hls @ 0x5] [error] Protocol 'http' not on whitelist 'file'!", "the file is of a kind that is not accepted"},
		{"[matroska,webm @ 0x5] [error] Number of streams exceeds max_streams parameter (16), see the documentation " +
			"if you wish to increase it", "the file holds absurdly many streams"},
		{"[ffv1 @ 0x5] [error] Picture size 16000x16000 exceeds specified max pixel count 33177600",
			"the picture is absurdly large"},
		{"[error] /x.mp4: Invalid data found when processing input", "the file is damaged or no recording at all"},
		{"[error] /x.mp4: End of file", "the file ends before there is anything in it"},
		{"[error] something nobody has seen", "the file cannot be read as a recording"},
	} {
		f := faultOf(t, probeFault(context.Background(), "/x.mp4", failed("[warning] noise", c.line)))
		if f.What != c.what || f.Hint == "" || f.Where != "/x.mp4" {
			t.Errorf("%s: %q", c.line, f.What)
		}
	}
}

// What is not the file's fault stays what it is.
func TestProbeFaultPasses(t *testing.T) {
	for _, err := range []error{
		errors.New("starting ffprobe: no more processes"),
		fault.New(fault.Failed, "", "the disk is full", ""),
		fault.New(fault.FFmpeg, "", "ffprobe was not found", ""),
	} {
		for name, word := range map[string]func(context.Context, string, error) error{"probe": probeFault,
			"decode": decodeFault} {
			if got := word(context.Background(), "/x", err); got != err {
				t.Errorf("%s: %v became %v", name, err, got)
			}
		}
	}
	cancelled, cancel := context.WithCancel(context.Background())
	cancel()
	if err := failed("moov atom not found"); probeFault(cancelled, "/x", err) != err ||
		decodeFault(cancelled, "/x", err) != err {
		t.Error("after a cancelled context the file is blamed")
	}
}

func TestOwnDeadlineBlamesTheFile(t *testing.T) {
	late := context.DeadlineExceeded
	if f := faultOf(t, probeFault(context.Background(), "/x", late)); !strings.Contains(f.What, "too long") {
		t.Errorf("%v", f)
	}
	if f := faultOf(t, decodeFault(context.Background(), "/x", late)); !strings.Contains(f.What, "absurdly long") {
		t.Errorf("%v", f)
	}
	if f := faultOf(t, decodeFault(context.Background(), "/x", failed("odd"))); f.What != "the file cannot be decoded" {
		t.Errorf("%v", f)
	}
}

func TestTimeLimit(t *testing.T) {
	for seconds, want := range map[float64]time.Duration{0: time.Minute, 60: 2 * time.Minute,
		1e30: time.Minute + MaxSeconds*time.Second} {
		if got := timeLimit(seconds); got != want {
			t.Errorf("%g s: %v, want %v", seconds, got, want)
		}
	}
}

func TestSoundMissing(t *testing.T) {
	info := Info{Audio: &Audio{Start: 0.5, Duration: 100}}
	for _, c := range []struct{ got, missing float64 }{{100.5, 0}, {100.1, 0}, {99.98, 0.52}, {50, 50.5}, {200, 0}} {
		if m := info.SoundMissing(c.got); m < c.missing-1e-9 || m > c.missing+1e-9 {
			t.Errorf("%g s: %g missing, want %g", c.got, m, c.missing)
		}
	}
	info.Estimated = true
	if info.SoundMissing(1) != 0 || (Info{}).SoundMissing(1) != 0 || (Info{Audio: &Audio{}}).SoundMissing(1) != 0 {
		t.Error("something is missing of nothing claimed")
	}
}

// fullDisk takes some bytes, and then no more.
type fullDisk struct {
	left int
	seek error
}

var errFull = errors.New("no space left")

func (f *fullDisk) Write(p []byte) (int, error) {
	if len(p) > f.left {
		n := f.left
		f.left = 0
		return n, errFull
	}
	f.left -= len(p)
	return len(p), nil
}

func (f *fullDisk) Seek(int64, int) (int64, error) { return 0, f.seek }

// Every place where writing may fail makes WriteWAV fail.
func TestWAVWriterPassesErrors(t *testing.T) {
	for _, room := range []int{0, 50, 70_000, 300_000, 600_000} {
		if _, err := WriteWAV(context.Background(), &fullDisk{left: room}, audio.NewMemory(noise(2, 100_000), 48000),
			PCM24); !errors.Is(err, errFull) {
			t.Errorf("room for %d bytes: %v", room, err)
		}
	}
	seek := errors.New("not a file")
	if _, err := WriteWAV(context.Background(), &fullDisk{left: 1 << 20, seek: seek},
		audio.NewMemory(noise(1, 10), 8000), PCM16); !errors.Is(err, seek) {
		t.Errorf("seek: %v", err)
	}
	broken := errors.New("the source broke")
	if _, err := WriteWAV(context.Background(), &fullDisk{left: 1 << 20}, brokenSource{broken}, PCM16); !errors.Is(err,
		broken) {
		t.Errorf("source: %v", err)
	}
	if _, err := WriteWAV(context.Background(), &fullDisk{left: 1 << 20}, brokenSource{nil}, PCM16); !errors.Is(err,
		io.ErrNoProgress) {
		t.Errorf("a source that stands still: %v", err)
	}
}

type brokenSource struct{ err error }

func (brokenSource) Channels() int                   { return 1 }
func (brokenSource) Rate() int                       { return 8000 }
func (b brokenSource) Read(audio.Block) (int, error) { return 0, b.err }

func TestWAVWriterAfterClose(t *testing.T) {
	x, err := NewWAVWriter(&seekBuffer{}, 8000, 2, PCM16)
	if err != nil {
		t.Fatal(err)
	}
	if err := x.Write(noise(1, 5)); err == nil {
		t.Error("one channel was written into two")
	}
	for range 2 {
		if err := x.Close(); err != nil {
			t.Errorf("closing: %v", err)
		}
	}
	if err := x.Write(noise(2, 5)); err == nil {
		t.Error("writing after closing succeeds")
	}
}

// The options every file is opened with; a change must be thought about.
func TestSafeOptions(t *testing.T) {
	got := strings.Join(InputArgs(&ffmpeg.Tool{Codecs: []string{"wavpack"}}, "/a b"), " ")
	want := "-protocol_whitelist file -format_whitelist " +
		"mov,matroska,wav,w64,aiff,caf,flac,ogg,mp3,aac,amr,avi,mpegts -codec_whitelist " +
		strings.Join(Codecs, ",") + ",wavpack -max_streams 16 " +
		"-max_pixels 33177600 -probesize 10M -analyzeduration 10M -itsoffset 0.000001 -i file:/a b"
	if got != want {
		t.Errorf("got  %s\nwant %s", got, want)
	}
}
