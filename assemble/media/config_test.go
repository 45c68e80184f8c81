package media

import (
	"bytes"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"ripieno/assemble/ffmpeg/ffmpegtest"
)

// What a file tells a decoder is the same for two runs of frames of one coding,
// and not for two codings; its first bytes are those of the standards
// (configurationVersion and profile).
func TestRealDecoderConfig(t *testing.T) {
	const head = "-f lavfi -i testsrc2=s=128x96:r=30 -pix_fmt yuv420p -an"
	tool := ffmpegtest.Tool(t)
	for _, c := range []struct {
		encoder, args, other string
		begins               []byte
	}{
		// ISO/IEC 14496-15, 5.3.3.1: version, High is 100
		{"libx264", "-profile:v high -preset ultrafast -x264-params 8x8dct=1", "-bf 2", []byte{1, 100}},
		{"libx265", "-preset ultrafast -x265-params log-level=none:info=0",
			"-x265-params log-level=none:info=0:ctu=16", []byte{1, 1}},
		{"libsvtav1", "-preset 12 -svtav1-params lp=2", "-g 1", []byte{0x81, 0}}, // marker and version, Main is 0
	} {
		if !tool.Encoder(c.encoder) {
			t.Logf("no %s here", c.encoder)
			continue
		}
		make := func(name, more string) []byte {
			conf, err := DecoderConfig(ffmpegtest.Make(t, name, args(head, "-c:v", c.encoder, c.args, more)...))
			if err != nil {
				t.Fatal(err)
			}
			return conf
		}
		short, long := make("short.mp4", "-frames:v 3"), make("long.mp4", "-frames:v 40")
		if !bytes.Equal(short, long) || !bytes.HasPrefix(short, c.begins) {
			t.Errorf("%s: % x and % x", c.encoder, short, long)
		}
		if c.encoder == "libsvtav1" {
			continue // its sequence header says little of the settings
		}
		if bytes.Equal(short, make("other.mp4", "-frames:v 3 "+c.other)) {
			t.Errorf("%s: other settings tell the same", c.encoder)
		}
	}
	for name, says := range map[string]string{"intra.mp4": "-c:v mjpeg", "cut.mp4": ""} {
		path := ffmpegtest.Make(t, name, args(head, "-frames:v 3", says)...)
		if name == "cut.mp4" {
			st, err := os.Stat(path)
			if err != nil || os.Truncate(path, st.Size()-1) != nil {
				t.Fatal(err)
			}
		}
		if conf, err := DecoderConfig(path); err == nil {
			t.Errorf("%s tells % x", name, conf)
		}
	}
	if _, err := DecoderConfig(filepath.Join(t.TempDir(), "none.mp4")); !os.IsNotExist(err) {
		t.Errorf("no file: %v", err)
	}
}

func FuzzDecoderConfig(f *testing.F) {
	whole := func(entry ...byte) []byte {
		return box("moov", box("trak", box("mdia", append(box("hdlr", 0, 0, 0, 0, 0, 0, 0, 0, 'v', 'i', 'd', 'e'),
			box("minf", box("stbl", box("stsd", append([]byte{0, 0, 0, 0, 0, 0, 0, 1},
				entry...)...)...)...)...)...)...)...)
	}
	good := whole(box("hvc1", append(make([]byte, visualHead),
		append(box("pasp", 1, 2), box("hvcC", 1, 1, 0x60)...)...)...)...)
	if conf, err := decoderConfig(bytes.NewReader(good), int64(len(good))); err != nil ||
		!bytes.Equal(conf, []byte{1, 1, 0x60}) {
		f.Fatalf("% x, %v", conf, err)
	}
	for _, c := range []struct {
		file []byte
		says string
	}{
		{whole(), "not described"}, {whole(box("mp4v")...), `"mp4v" is no picture`}, {box("moov"), "no picture"},
		{whole(box("avc1", append(make([]byte, visualHead), 0, 0, 2, 0, 'a', 'v', 'c', 'C', 1)...)...), "too long"},
	} {
		if _, err := decoderConfig(bytes.NewReader(c.file), int64(len(c.file))); err == nil ||
			!strings.Contains(err.Error(), c.says) {
			f.Errorf("%q: %v", c.says, err)
		}
		f.Add(c.file)
	}
	f.Add(good)
	f.Fuzz(func(t *testing.T, data []byte) {
		conf, err := decoderConfig(bytes.NewReader(data), int64(len(data)))
		if err == nil && len(conf) > len(data) {
			t.Errorf("%d bytes out of %d", len(conf), len(data))
		}
	})
}
