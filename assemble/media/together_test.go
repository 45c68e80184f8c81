package media

import (
	"bytes"
	"encoding/binary"
	"math"
	"os"
	"strconv"
	"strings"
	"testing"

	"ripieno/assemble/ffmpeg/ffmpegtest"
)

// Pictures that are sampled by the same processes have the frames that each has by itself,
// whatever their sizes, codecs and turns. When a packet of one is broken, nothing of any is
// used.
func TestRealSampleTogether(t *testing.T) {
	tool := ffmpegtest.Tool(t)
	made := ffmpegtest.MakeAll(t, args("-f lavfi -i testsrc2=s=320x180:r=25:d=8"),
		ffmpegtest.Output{Name: "a.mp4", Args: args("-c:v libx264 -preset ultrafast -pix_fmt yuv420p -g 25")},
		ffmpegtest.Output{Name: "b.mkv", Args: args("-vf scale=160:240 -c:v mpeg4 -g 50")},
		ffmpegtest.Output{Name: "c.mp4", Args: args("-vf negate -c:v libx264 -preset fast -bf 2 " +
			"-pix_fmt yuv420p -g 12")})
	turned := ffmpegtest.Make(t, "d.mp4", args("-i", made[0], "-c copy -metadata:s:v rotate=90")...)
	var alone []keep
	var list []Glance
	together := make([]keep, 4)
	for i, path := range append(made, turned) {
		info, s := probe(t, path), Sampling{Width: 64, Every: 2, OneIn: 2}
		var k keep
		if damaged, err := SampleGray(ctx, tool, info, s, k.take); err != nil || damaged > 0 || len(k.frames) < 2 {
			t.Fatalf("%s: %d frames, %d damaged, %v", path, len(k.frames), damaged, err)
		}
		alone = append(alone, k)
		list = append(list, Glance{info, s, together[i].take})
	}
	dir := t.TempDir()
	wrong, ok := SampleTogether(ctx, tool, dir, list)
	if !ok || len(wrong) != len(list) {
		t.Fatal("they are not sampled together")
	}
	for i, k := range alone {
		if wrong[i] != nil || len(k.frames) != len(together[i].frames) {
			t.Fatalf("%s: %d frames alone, %d with others, %v", list[i].Path, len(k.frames), len(together[i].frames),
				wrong[i])
		}
		for n, g := range k.frames {
			if o := together[i].frames[n]; o.W != g.W || o.H != g.H || !bytes.Equal(o.Pix, g.Pix) {
				t.Errorf("%s: frame %d is another one with others", list[i].Path, n)
			}
		}
	}
	if left, err := os.ReadDir(dir); err != nil || len(left) > 0 {
		t.Errorf("%d files are left, %v", len(left), err)
	}
	list[2].Info, list[2].Use = probe(t, brokenPacket(t, made[0], 33)), together[2].take
	clear(together)
	if _, ok := SampleTogether(ctx, tool, dir, list); ok || len(together[0].frames) > 0 {
		t.Errorf("with a broken one: %v, %d frames were used", ok, len(together[0].frames))
	}
}

// brokenPacket copies an MP4 file with a wrong length in one of its packets.
func brokenPacket(t *testing.T, path string, n int) string {
	t.Helper()
	out, err := ffmpegtest.Tool(t).Probe(ctx, args("-show_entries packet=pos -of csv=p=0", path))
	if err != nil {
		t.Fatal(err)
	}
	at, err := strconv.Atoi(strings.Fields(string(out))[n])
	if err != nil {
		t.Fatal(err)
	}
	data, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	binary.BigEndian.PutUint32(data[at:], math.MaxInt32)
	return write(t, "broken-one.mp4", data)
}
