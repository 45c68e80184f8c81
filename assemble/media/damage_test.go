package media

import (
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"ripieno/assemble/ffmpeg/ffmpegtest"
)

// gaps returns files whose sound is whole, has a gate's silence, has a gap of 4 s,
// starts late and, the last, has lost some packets.
func gaps(t *testing.T) []string {
	t.Helper()
	tone := "-f lavfi -i sine=d=12:r=48000"
	paths := ffmpegtest.MakeAll(t, args(tone),
		ffmpegtest.Output{Name: "whole.m4a", Args: args("-c:a aac")},
		ffmpegtest.Output{Name: "whole.mp3", Args: args("-c:a libmp3lame")},
		ffmpegtest.Output{Name: "whole.ogg", Args: args("-c:a libvorbis")},
		ffmpegtest.Output{Name: "gate.m4a", Args: args("-af volume=0:enable='between(t,5,9)' -c:a aac")},
		ffmpegtest.Output{Name: "gap.mka", Args: args("-af aselect=not(between(t\\,5\\,9)) -c:a pcm_s16le")})
	paths = append(paths, ffmpegtest.Make(t, "late.mkv", args("-f lavfi -i", picture, "-itsoffset 1.5 -i", paths[0],
		"-c:v libx264 -preset ultrafast -c:a copy")...))
	// A cluster is lost, of which the demuxer and the decoder complain once each.
	lost := ffmpegtest.Make(t, "lost.mka", args("-f lavfi -i anoisesrc=d=12:r=48000:seed=1 -c:a aac")...)
	data, err := os.ReadFile(lost)
	if err != nil {
		t.Fatal(err)
	}
	for i := range 1500 {
		data[len(data)/2+i] = byte(i*i + i/7)
	}
	return append(paths, write(t, "lost.mka", data))
}

// What the file's clock has and its sound has not is told; silence that was
// recorded, as of a gate, and that before a late start are no gaps.
func TestRealMissingSound(t *testing.T) {
	paths := gaps(t)
	for i, want := range []float64{0, 0, 0, 0, 4, 0, 4} {
		_, d := decode(t, probe(t, paths[i]))
		if math.Abs(d.Missing-want) > 0.05 || (d.Damaged > 0) != (i == 6) {
			t.Errorf("%s: %.2f s are missing, want about %g; %d damaged", paths[i], d.Missing, want, d.Damaged)
		}
	}
}

// Nine packets of ten destroyed: what is left is decoded, and the damage told.
func TestRealDamaged(t *testing.T) {
	path := ffmpegtest.Make(t, "a.mp4", args("-f lavfi -i anoisesrc=d=4:r=48000 -c:a aac -movflags +faststart")...)
	whole, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	list := readAtoms(strings.NewReader(string(whole)), int64(len(whole)))
	data, _ := find(list, "mdat")
	for i := data.offset + 8 + data.size/10; i < data.end(); i++ {
		whole[i] = 0xff
	}
	_, d := decode(t, probe(t, write(t, "a.mp4", whole)))
	if d.Damaged < 50 || len(d.Notes) == 0 {
		t.Errorf("%+v", d)
	}
	clear(whole[data.offset+8 : data.end()])
	if f := faultOf(t, DecodeAudio(ctx, ffmpegtest.Tool(t), probe(t, write(t, "b.mp4", whole)),
		filepath.Join(t.TempDir(), "x.wav"))); f.What != "none of the sound can be decoded" {
		t.Errorf("all zeros: %v", f)
	}
}
