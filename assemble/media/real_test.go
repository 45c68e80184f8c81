package media

import (
	"bytes"
	"context"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"ripieno/assemble/ffmpeg"
	"ripieno/assemble/ffmpeg/ffmpegtest"
	"ripieno/mix/audio"
)

var ctx = context.Background()

// A short picture and sound, as inputs for ffmpeg.
const (
	picture = "testsrc=s=160x90:r=25:d=2"
	sound   = "sine=d=2:r=44100"
)

// avArgs are a phone's codecs, at a phone's pixel format.
var avArgs = []string{"-f", "lavfi", "-i", picture, "-f", "lavfi", "-i", sound,
	"-c:v", "libx264", "-preset", "ultrafast", "-pix_fmt", "yuv420p", "-c:a", "aac"}

func args(parts ...any) []string {
	var out []string
	for _, p := range parts {
		switch p := p.(type) {
		case string:
			out = append(out, strings.Fields(p)...)
		case []string:
			out = append(out, p...)
		}
	}
	return out
}

func probe(t testing.TB, path string) Info {
	t.Helper()
	info, err := Probe(ctx, ffmpegtest.Tool(t), path)
	if err != nil {
		t.Fatal(err)
	}
	return info
}

// decode returns the decoded sound and what Decode says about it.
func decode(t testing.TB, info Info) (audio.Block, Decoded) {
	t.Helper()
	dst := filepath.Join(t.TempDir(), "decoded.wav")
	d, err := Decode(ctx, ffmpegtest.Tool(t), info, dst)
	if err != nil {
		t.Fatal(err)
	}
	w, err := OpenWAV(dst)
	if err != nil {
		t.Fatal(err)
	}
	defer w.Close()
	b, err := audio.ReadAll(w)
	if err != nil {
		t.Fatal(err)
	}
	if b.Frames() != int(d.Frames) || w.Rate() != d.Rate || len(b) != d.Channels {
		t.Fatalf("%d frames of %d channels at %d Hz, told %+v", b.Frames(), len(b), w.Rate(), d)
	}
	return b, d
}

func TestRealProbe(t *testing.T) {
	cases := []struct {
		file, args string
		ok         func(i Info) bool
	}{
		{"plain.mp4", "-map 0 -c copy", func(i Info) bool {
			v, a := i.Video, i.Audio
			return v.W == 160 && v.H == 90 && v.FPSNum == 25 && v.FPSDen == 1 && !v.VFR && v.Rotation == 0 &&
				v.Frames == 50 &&
				a.Rate == 44100 && a.Channels == 1 && a.Codec == "aac" && i.Duration == 2 && len(i.Notes) == 0
		}},
		{"turned.mov", "-map 0 -c copy -metadata:s:v rotate=270", func(i Info) bool {
			w, h := i.Video.Display()
			return i.Video.Rotation == 90 && w == 90 && h == 160
		}},
		{"no sound.mp4", "-map 0:v -c copy", func(i Info) bool {
			return i.Audio == nil && i.NeedAudio() != nil &&
				i.NeedVideo() == nil
		}},
		{"no picture.m4a", "-map 0:a -c copy", func(i Info) bool {
			return i.Video == nil && i.NeedVideo() != nil &&
				i.NeedAudio() == nil
		}},
		{"wide pixels.mp4", "-map 0:v -c:v libx264 -preset ultrafast -vf setsar=4/3", func(i Info) bool {
			w, h := i.Video.Display()
			return w == 213 && h == 90
		}},
		{"browser.webm", "-map 0 -c:v libvpx -deadline realtime -c:a libopus -live 1", func(i Info) bool {
			return math.Abs(i.Duration-2.02) < 0.03 && len(i.Notes) == 1 && i.Audio.Codec == "opus"
		}},
		{"HLG.mp4", "-map 0:v -c:v libx264 -preset ultrafast -color_trc arib-std-b67 -color_primaries bt2020 " +
			"-colorspace bt2020nc",
			func(i Info) bool { return i.Video.HDR() && i.Video.Primaries == "bt2020" }},
		{"variable.mp4", "-map 0:v -vf select=not(eq(mod(n\\,7)\\,3)) -fps_mode vfr -c:v libx264 -preset ultrafast",
			func(i Info) bool { return i.Video.VFR }},
		{"two sounds.mp4", "-map 0:v -map 2:a -map 0:a -c:v copy -c:a aac",
			func(i Info) bool { return i.Audio.Rate == 48000 && len(i.Notes) == 1 }},
		{"cover.m4a", "-map 0:a -map 1:v -c copy -disposition:v attached_pic",
			func(i Info) bool { return i.Video == nil && i.Audio != nil && len(i.Notes) == 1 }},
		{"a.wav", "-map 2:a", func(i Info) bool {
			return i.Video == nil && i.Duration == 2 &&
				i.Audio.Codec == "pcm_s16le"
		}},
		{"a.flac", "-map 2:a", func(i Info) bool {
			return i.Video == nil && i.Duration == 2 &&
				i.Audio.Codec == "flac"
		}},
		{"a.mp3", "-map 2:a", func(i Info) bool { return i.Estimated && math.Abs(i.Duration-2) < 0.1 }},
		{"a.aiff", "-map 2:a", func(i Info) bool { return i.Duration == 2 }},
		{"a.ogg", "-map 2:a -c:a libvorbis", func(i Info) bool {
			return math.Abs(i.Duration-2) < 0.01 &&
				i.Audio.Codec == "vorbis"
		}},
		{"a.avi", "-map 0 -c:v copy -c:a pcm_s16le", func(i Info) bool { return i.Video != nil && i.Audio != nil }},
		{"a.mts", "-map 0 -c copy -f mpegts", func(i Info) bool { return i.StartTime > 1 && i.Video.Start < 0.1 }},
		{"eight.wav", "-map 2:a -af pan=7.1|c0=c0|c7=c0 -t 0.1", func(i Info) bool { return i.Audio.Channels == 8 }},
	}
	av := ffmpegtest.Make(t, "av.mp4", avArgs...)
	var outputs []ffmpegtest.Output
	for _, c := range cases {
		outputs = append(outputs, ffmpegtest.Output{Name: c.file, Args: args(c.args)})
	}
	paths := ffmpegtest.MakeAll(t, args("-i", av, "-i", cover(t), "-f lavfi -i sine=r=48000:d=2"), outputs...)
	for n, c := range cases {
		info := probe(t, paths[n])
		if !c.ok(info) {
			t.Errorf("%s: %+v\nvideo %+v\naudio %+v", c.file, info, info.Video, info.Audio)
		}
	}
}

func cover(t *testing.T) string {
	return ffmpegtest.Make(t, "cover.png", args("-f lavfi -i color=red:s=32x32 -frames:v 1")...)
}

func TestRealRefusals(t *testing.T) {
	tool := ffmpegtest.Whole(t)
	av := ffmpegtest.Make(t, "av.mp4", avArgs...)
	whole, err := os.ReadFile(av)
	if err != nil {
		t.Fatal(err)
	}
	streams := args("-f lavfi -i anullsrc=r=8000")
	for range 20 {
		streams = append(streams, "-map", "0:a")
	}
	for _, c := range []struct{ name, path, what string }{
		{"cut before the index", write(t, "a.mp4", whole[:len(whole)/2]), "only the first "},
		{"twenty streams", ffmpegtest.Make(t, "a.mkv", append(streams, "-t", "0.1", "-c:a", "pcm_s16le")...),
			"the file holds absurdly many streams"},
		{"nine channels", ffmpegtest.Make(t, "a.wav", args("-f lavfi -i anullsrc=r=8000:cl=hexadecagonal -t 0.1")...),
			"the sound has more than 8 channels"},
		{"noise", write(t, "a.mp4", []byte(strings.Repeat("\x00\x01\x02\xfe\xff", 9999))),
			"the file is damaged or no recording at all"},
		{"a format left out", ffmpegtest.Make(t, "a.mp4", args("-f lavfi -i", sound, "-f nut")...),
			"the file is of a kind that is not accepted"},
		{"ten hours", tenHours(t), "the file claims to be 10.0 hours long, at most 4 are accepted"},
		{"huge picture", ffmpegtest.Make(t, "a.mkv",
			args("-f lavfi -i color=s=7700x4400:r=1 -frames:v 1 -c:v libx264 -preset ultrafast -pix_fmt yuv420p")...),
			"the picture is absurdly large"},
	} {
		info, err := Probe(ctx, tool, c.path)
		if err == nil {
			t.Errorf("%s: passed as %+v", c.name, info)
			continue
		}
		if f := faultOf(t, err); !strings.HasPrefix(f.What, c.what) || f.Hint == "" || f.Where != c.path {
			t.Errorf("%s: %q (hint %q), want %q", c.name, f.What, f.Hint, c.what)
		}
	}
}

// tenHours returns a file of a few hundred bytes whose only sound sits ten hours
// from its start.
func tenHours(t *testing.T) string {
	return ffmpegtest.Make(t, "a.mkv", args("-itsoffset 36000 -f lavfi -i sine=r=8000:d=0.1 -f lavfi -i "+
		"sine=r=8000:d=0.1 -map 0 -map 1 -c:a pcm_s16le")...)
}

// The wall behind our own look at the first bytes: ffmpeg under SafeOptions
// opens neither playlists nor what they point to, whatever the file is called.
func TestRealWhitelist(t *testing.T) {
	tool := ffmpegtest.Whole(t)
	secret := ffmpegtest.Make(t, "secret.wav", args("-f lavfi -i", sound)...)
	ts := ffmpegtest.Make(t, "secret.ts", args("-f lavfi -i", sound, "-c:a aac")...)
	for name, text := range map[string]string{
		"HLS":      "#EXTM3U\n#EXT-X-TARGETDURATION:2\n#EXTINF:2,\n" + ts + "\n#EXT-X-ENDLIST\n",
		"ffconcat": "ffconcat version 1.0\nfile '" + secret + "'\n",
		"DASH": `<?xml version="1.0"?><MPD xmlns="urn:mpeg:dash:schema:mpd:2011"><BaseURL>` + secret +
			"</BaseURL></MPD>",
		"SDP": "v=0\no=- 0 0 IN IP4 127.0.0.1\ns=x\nc=IN IP4 127.0.0.1\nt=0 0\nm=audio 5004 RTP/AVP 0\n",
	} {
		path := write(t, "take.mp4", []byte(text))
		if out, err := tool.Probe(ctx, append(SafeOptions(tool), "-show_format", "file:"+path)); err == nil {
			t.Errorf("%s: ffprobe opened it: %s", name, out)
		}
		if err := tool.Run(ctx, ffmpeg.Command{Args: append(InputArgs(tool, path), "-f", "null", "-")}); err == nil {
			t.Errorf("%s: ffmpeg opened it", name)
		}
		if _, err := Probe(ctx, tool, path); err == nil {
			t.Errorf("%s: passed", name)
		}
	}
	// The trap is real: without the options ffmpeg follows a concat script.
	path := write(t, "take.mp4", []byte("ffconcat version 1.0\nfile '"+filepath.Base(secret)+"'\n"))
	if err := os.Rename(secret, filepath.Join(filepath.Dir(path), filepath.Base(secret))); err != nil {
		t.Fatal(err)
	}
	if _, err := tool.Probe(ctx, []string{"-show_format", "file:" + path}); err != nil {
		t.Logf("this ffmpeg does not follow scripts by itself any more: %v", err)
	}
}

func TestRealNames(t *testing.T) {
	whole, err := os.ReadFile(ffmpegtest.Make(t, "a.wav", args("-f lavfi -i sine=r=8000:d=0.5")...))
	if err != nil {
		t.Fatal(err)
	}
	dir := t.TempDir()
	for n, name := range []string{"-", "p%03d.wav", "a:b.wav", "concat:x.wav", "-i", "new\nline.wav", `q"u'o.wav`,
		"pipe:0", "a?b*c.wav", "ü .wav"} {
		if err := os.WriteFile(filepath.Join(dir, name), whole, 0o644); err != nil {
			t.Fatal(err)
		}
		abs, err := Resolve(dir, name)
		if err != nil {
			t.Error(err)
			continue
		}
		info := probe(t, abs)
		if info.Duration != 0.5 {
			t.Errorf("%q: %+v", name, info)
		}
		if n < 3 {
			if _, d := decode(t, info); d.Frames != 4000 {
				t.Errorf("%q: %+v", name, d)
			}
		}
	}
}

func TestRealTruncated(t *testing.T) {
	paths := ffmpegtest.MakeAll(t, args("-f lavfi -i testsrc=s=160x90:r=25:d=6 -f lavfi -i anoisesrc=d=6:r=48000"),
		ffmpegtest.Output{Name: "a.mp4",
			Args: args("-c:v libx264 -preset ultrafast -pix_fmt yuv420p -c:a aac -movflags +faststart")},
		ffmpegtest.Output{Name: "a.mkv", Args: args("-c:v libx264 -preset ultrafast -pix_fmt yuv420p -c:a aac")},
		ffmpegtest.Output{Name: "a.wav", Args: args("-map 1")},
		ffmpegtest.Output{Name: "a.flac", Args: args("-map 1")})
	for _, path := range paths {
		whole, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		if _, d := decode(t, probe(t, path)); d.Truncated || d.Damaged != 0 {
			t.Errorf("%s whole: %+v", path, d)
		}
		info := probe(t, write(t, filepath.Base(path), whole[:len(whole)/2]))
		if _, d := decode(t, info); !d.Truncated || len(d.Notes) == 0 || float64(d.Frames) > 5*48000 {
			t.Errorf("%s cut: %+v, %+v", path, d, info)
		}
	}
}

func TestRealDecodeRefuses(t *testing.T) {
	tool := ffmpegtest.Whole(t)
	video := probe(t, ffmpegtest.Make(t, "v.mp4", args("-f lavfi -i", picture, "-c:v libx264 -preset ultrafast")...))
	dst := filepath.Join(t.TempDir(), "x.wav")
	if f := faultOf(t, DecodeAudio(ctx, tool, video, dst)); f.What != "the file has no sound" {
		t.Errorf("no sound: %v", f)
	}
	sounding := probe(t, ffmpegtest.Make(t, "a.wav", args("-f lavfi -i", sound)...))
	gone := sounding
	gone.Path += ".gone"
	if err := DecodeAudio(ctx, tool, gone, dst); err == nil {
		t.Error("a missing file was decoded")
	}
	absurd := sounding
	absurd.Duration = 40000
	if f := faultOf(t, DecodeAudio(ctx, tool, absurd, dst)); !strings.Contains(f.What, "hours") {
		t.Errorf("too long: %v", f)
	}
	cancelled, cancel := context.WithCancel(ctx)
	cancel()
	if err := DecodeAudio(cancelled, tool, sounding, dst); err != context.Canceled {
		t.Errorf("cancelled: %v", err)
	}
	if err := DecodeAudio(ctx, tool, sounding, filepath.Join(t.TempDir(), "none", "x.wav")); err == nil {
		t.Error("writing into a missing folder succeeded")
	}
}

// ffmpeg is the other reader: it must find in our files what we wrote.
func TestRealReadsOurWAV(t *testing.T) {
	tool := ffmpegtest.Tool(t)
	b := noise(2, 4800)
	for _, f := range []Format{Float32, PCM24, PCM16} {
		path := filepath.Join(t.TempDir(), "x.wav")
		if n, err := CreateWAV(ctx, path, audio.NewMemory(b, 48000), f); err != nil || n != 4800 {
			t.Fatal(n, err)
		}
		info, err := Probe(ctx, tool, path)
		if err != nil || info.Audio.Rate != 48000 || info.Audio.Channels != 2 || info.Duration != 0.1 ||
			info.Audio.Codec != map[Format]string{Float32: "pcm_f32le", PCM24: "pcm_s24le", PCM16: "pcm_s16le"}[f] {
			t.Errorf("format %d: %+v, %v", f, info.Audio, err)
			continue
		}
		got, _ := decode(t, info)
		for i, v := range b[1] {
			if math.Abs(got[1][i]-v) > 1.0/32768 {
				t.Fatalf("format %d: sample %d is %g, wrote %g", f, i, got[1][i], v)
			}
		}
	}
}

// Files that are decoded together become what each becomes by itself, also
// beside one that is damaged, one that is gone and one without sound.
func TestRealDecodeAll(t *testing.T) {
	tool := ffmpegtest.Tool(t)
	paths := gaps(t)
	var infos []Info
	for _, p := range paths {
		infos = append(infos, probe(t, p))
	}
	gone := infos[0]
	gone.Path += ".gone"
	silent := infos[0]
	silent.Audio = nil
	// Each file is decoded alone once, and its samples kept.
	type single struct {
		decoded Decoded
		err     error
		samples []byte
	}
	singles := map[string]single{}
	alone := func(info Info) single {
		key := fmt.Sprint(info.Path, info.Audio != nil)
		if x, ok := singles[key]; ok {
			return x
		}
		var x single
		dst := filepath.Join(t.TempDir(), "alone.wav")
		if x.decoded, x.err = Decode(ctx, tool, info, dst); x.err == nil {
			var err error
			if x.samples, err = os.ReadFile(dst); err != nil {
				t.Fatal(err)
			}
		}
		singles[key] = x
		return x
	}
	for n, set := range [][]Info{infos[:6], infos, {infos[0], gone, infos[4]}, {silent, infos[3], infos[5]}, {gone},
		nil} {
		dir := t.TempDir()
		var sounds []Sound
		for i, info := range set {
			sounds = append(sounds, Sound{info, filepath.Join(dir, fmt.Sprint(i, ".wav"))})
		}
		decoded, wrong := DecodeAll(ctx, tool, sounds)
		for i, s := range sounds {
			one := alone(s.Info)
			want, err := one.decoded, one.err
			if (err == nil) != (wrong[i] == nil) || err != nil && err.Error() != wrong[i].Error() ||
				fmt.Sprint(want) != fmt.Sprint(decoded[i]) {
				t.Errorf("set %d, file %d: %+v, %v; alone %+v, %v", n, i, decoded[i], wrong[i], want, err)
			}
			if err != nil {
				continue
			}
			got, err := os.ReadFile(s.Dst)
			if err != nil {
				t.Fatal(err)
			}
			if !bytes.Equal(got, one.samples) {
				t.Errorf("set %d, file %d has other bytes", n, i)
			}
		}
	}
}

func TestPacketSizes(t *testing.T) {
	p := packetSizes{total: make([]int64, 2)}
	for _, piece := range []string{"#tb 0: 1/48000\n0, 0, 0, 102", "4,     1024, 0x1\n1, 0, 0, 5, 7, 0x2, S=1,",
		" 8\n0, 1024, 1024, 3, 3, 0x3\n"} {
		if _, err := p.Write([]byte(piece)); err != nil {
			t.Fatal(err)
		}
	}
	if p.total[0] != 1027 || p.total[1] != 7 {
		t.Error(p.total)
	}
	for _, line := range []string{"2, 0, 0, 1, 1, 0x1\n", "-1, 0, 0, 1, 1, 0x1\n", "0, 0\n", "x, 0, 0, 1, 1, 0x1\n",
		"0, 0, 0, 1, y, 0x1\n"} {
		if _, err := (&packetSizes{total: make([]int64, 2)}).Write([]byte(line)); err == nil {
			t.Errorf("%q is taken for a packet", line)
		}
	}
}
