package assemble

import (
	"bytes"
	"encoding/binary"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"ripieno/assemble/ffmpeg"
)

// drawn is a scene with a circle, bright in its upper left quarter and dark in
// the upper right one, so that a turned or mirrored picture shows.
type drawn struct {
	name   string
	w, h   int     // stored
	pixel  float64 // width of a pixel over its height
	turned int     // stored turned by so many degrees counter-clockwise
	args   []string
	fields bool // interlaced: the circle of the second field moves
	grows  int  // from this frame on the file's pictures are twice as large; 0 for never
	turns  bool // and upright instead
	mirror bool // stored left for right, as front cameras do, and the file says so
	claims int  // what the file says in place of turned, for the manifest to put right; 360 for nothing
}

// scene returns frame k of d as stored. Seen upright and with square pixels, the
// scene is u wide and v high and the circle has a radius of 0.35 v or 0.35 u.
func (d drawn) scene(k int) []byte {
	pix := make([]byte, d.w*d.h)
	u, v := float64(d.w)*d.pixel, float64(d.h)
	if d.turned%180 != 0 {
		u, v = v, u
	}
	r := 0.35 * math.Min(u, v)
	for y := range d.h {
		for x := range d.w {
			sx, sy := (float64(x)+.5)*d.pixel, float64(y)+.5
			if d.mirror {
				sx = float64(d.w)*d.pixel - sx
			}
			px, py := sx, sy
			switch d.turned { // from stored to upright
			case 90:
				px, py = u-sy, sx
			case 180:
				px, py = u-sx, v-sy
			case 270:
				px, py = sy, v-sx
			}
			dx, dy := px-u/2, py-v/2
			if d.fields {
				dx -= 0.04 * u * float64(2*k+y%2) / 30
			}
			g := byte(30)
			if dx*dx+dy*dy < r*r {
				switch g = 160; {
				case dy < 0 && dx < 0:
					g = 235
				case dy < 0:
					g = 110
				}
			}
			pix[y*d.w+x] = g
		}
	}
	return pix
}

func (d drawn) write(t *testing.T, made short, frames int) {
	t.Helper()
	encode := func(d drawn, name string, from, to int) {
		var raw []byte
		for k := from; k < to; k++ {
			raw = append(raw, d.scene(k)...)
		}
		made.encode(t, name, "gray", d.w, d.h, raw, append(d.args, "-qp", "8", "-pix_fmt", "yuv420p")...)
	}
	if d.grows > 0 {
		large := d
		large.w, large.h = 2*d.w, 2*d.h
		if d.turns {
			large.w, large.h = large.h, large.w
		}
		encode(d, "small.h264", 0, d.grows)
		encode(large, "large.h264", d.grows, frames)
		made.join(t, d.name, "24", "small.h264", "large.h264")
	} else {
		encode(d, d.name, 0, frames)
	}
	says := d.turned
	if d.claims > 0 {
		says = d.claims % 360
	}
	if d.mirror {
		mirrored(t, made.file(d.name), d.w)
	}
	if says != 0 {
		// ffmpeg 5.1 writes this tag as the mark that turns the other way.
		turned := filepath.Join(t.TempDir(), d.name)
		run(t, made.tool, ffmpeg.Command{Args: []string{"-i", made.file(d.name), "-c", "copy", "-metadata:s:v:0",
			fmt.Sprintf("rotate=%d", 360-says), "-y", turned}})
		if err := os.Rename(turned, made.file(d.name)); err != nil {
			t.Fatal(err)
		}
	}
}

// mirrored writes into a file that its picture is to be shown left for right:
// the matrix of the track's header (ISO/IEC 14496-12, 8.3.2, version 0).
func mirrored(t *testing.T, path string, w int) {
	t.Helper()
	data, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	var matrix []byte
	for _, v := range []int32{-1 << 16, 0, 0, 0, 1 << 16, 0, int32(w) << 16, 0, 1 << 30} {
		matrix = binary.BigEndian.AppendUint32(matrix, uint32(v))
	}
	copy(data[bytes.Index(data, []byte("tkhd"))+44:], matrix)
	if err := os.WriteFile(path, data, 0o666); err != nil {
		t.Fatal(err)
	}
}

// circle returns what is measured of a tile: the standard deviations of the disc's
// pixels across and down, and the mean grey of its quarters in reading order.
func circle(pix []byte, stride int, tile GridTile) (across, down float64, quarters [4]float64) {
	var n, sx, sy, sxx, syy float64
	inside := func(x, y int) (float64, bool) {
		v := float64(pix[(tile.Y+y)*stride+tile.X+x])
		return v, v > 80
	}
	for y := range tile.H {
		for x := range tile.W {
			if _, ok := inside(x, y); ok {
				n, sx, sy = n+1, sx+float64(x), sy+float64(y)
				sxx, syy = sxx+float64(x*x), syy+float64(y*y)
			}
		}
	}
	cx, cy := sx/n, sy/n
	across, down = math.Sqrt(sxx/n-cx*cx), math.Sqrt(syy/n-cy*cy)
	var count [4]float64
	for y := range tile.H {
		for x := range tile.W {
			if v, ok := inside(x, y); ok {
				q := 0
				if float64(x) > cx {
					q = 1
				}
				if float64(y) > cy {
					q += 2
				}
				quarters[q] += v
				count[q]++
			}
		}
	}
	for q := range quarters {
		quarters[q] /= count[q]
	}
	return across, down, quarters
}

// TestACircleStaysACircle films a circle with phones held every way and
// cameras of every shape: within 2 % round, upright and not mirrored.
func TestACircleStaysACircle(t *testing.T) {
	t.Parallel()
	fields := []string{"-vf", "setfield=tff", "-flags", "+ildct+ilme", "-x264opts", "tff=1"}
	takes := []drawn{
		{name: "plain.mp4", w: 320, h: 180, pixel: 1},
		{name: "portrait.mp4", w: 180, h: 320, pixel: 1},
		{name: "turned90.mp4", w: 320, h: 180, pixel: 1, turned: 90},
		{name: "turned180.mov", w: 320, h: 180, pixel: 1, turned: 180},
		{name: "turned270.mp4", w: 320, h: 180, pixel: 1, turned: 270},
		// PAL's 16:9 (ITU-R BT.601, 64:45 pixels) and HDV's 1440 (4:3 pixels), by a quarter.
		{name: "pal.mp4", w: 180, h: 144, pixel: 64.0 / 45, args: []string{"-vf", "setsar=64/45"}},
		{name: "hdv.mp4", w: 360, h: 270, pixel: 4.0 / 3, args: []string{"-vf", "setsar=4/3"}},
		{name: "narrow.mp4", w: 240, h: 136, pixel: 2.0 / 3, args: []string{"-vf", "setsar=2/3"}},
		{name: "wideturned.mp4", w: 240, h: 180, pixel: 4.0 / 3, turned: 270, args: []string{"-vf", "setsar=4/3"}},
		{name: "fields.mp4", w: 320, h: 240, pixel: 1, fields: true, args: fields},
		{name: "odd.mkv", w: 322, h: 178, pixel: 1},
		{name: "grows.mp4", w: 320, h: 180, pixel: 1, grows: 8},
		{name: "turns.mp4", w: 320, h: 180, pixel: 1, grows: 8, turns: true},
		{name: "claims.mp4", w: 320, h: 180, pixel: 1, claims: 90},
		{name: "silent.mp4", w: 320, h: 180, pixel: 1, turned: 270, claims: 360},
		{name: "denies.mp4", w: 320, h: 180, pixel: 1, turned: 180, claims: 90},
		{name: "fieldsturned.mov", w: 320, h: 240, pixel: 1, turned: 90, fields: true, args: fields},
		{name: "mirrored.mp4", w: 320, h: 180, pixel: 1, mirror: true},
		{name: "growsturned.mp4", w: 320, h: 180, pixel: 1, turned: 90, grows: 8},
		{name: "turnsturned.mov", w: 320, h: 180, pixel: 1, turned: 270, grows: 8, turns: true},
		{name: "growsfields.mp4", w: 320, h: 240, pixel: 1, fields: true, grows: 8, args: fields},
		{name: "turnsfields.mp4", w: 320, h: 240, pixel: 1, fields: true, grows: 8, turns: true, args: fields},
	}
	s := newShort(t)
	var list strings.Builder
	for i, d := range takes {
		d.write(t, s, 28)
		rotate := ""
		if d.claims > 0 {
			rotate = fmt.Sprintf(", rotate: %d", d.turned)
		}
		fmt.Fprintf(&list, "  - {name: take-%d, fit: %s, video: {file: intake/%s, offset: 0.95%s}}\n", i,
			[]string{"crop", "fit"}[i%2], d.name, rotate)
	}
	f := s.film(t, list.String(), "aspect: 1:1", 1080, 720)
	for i, tile := range f.tiles {
		for _, k := range []int{2, 12} { // of one size and of the other, where the file has two
			across, down, q := circle(f.frames[k], f.w, tile)
			if round := across / down; !(math.Abs(round-1) <= 0.02) { // NaN: nothing is there
				t.Errorf("%s, %s, frame %d: the circle is %.3f times as wide as high", takes[i].name, tile.Fit, k,
					round)
			}
			// As drawn: 235 upper left, 110 upper right, 160 below. Cropping to a
			// square cuts nothing of the disc.
			for j, want := range []float64{235, 110, 160, 160} {
				want = 16 + want*219/255
				if math.Abs(q[j]-want) > 20 {
					t.Errorf("%s, %s, frame %d: quarters %.0f", takes[i].name, tile.Fit, k, q)
					break
				}
			}
		}
	}
}

// TestASizeThatChangesInsideAFileLosesNoFrame: some phones change their size
// while they film. Every frame must be there, at its time.
func TestASizeThatChangesInsideAFileLosesNoFrame(t *testing.T) {
	t.Parallel()
	// Pictures in BT.709 are scaled by another filter than those in BT.601.
	for _, matrix := range []string{"bt709", "smpte170m"} {
		t.Run(matrix, func(t *testing.T) { changingSize(t, matrix) })
	}
}

func changingSize(t *testing.T, matrix string) {
	made := newShort(t)
	tool, dir := made.tool, made.dir
	m := marked{name: "steady.mp4", id: 5, rate: "30", fps: 30, frames: 200}
	m.write(t, tool, dir)
	var parts []string
	for i, change := range []string{"trim=end_frame=80,scale=320:180", "trim=start_frame=80,scale=640:360"} {
		parts = append(parts, fmt.Sprint(i, ".h264"))
		run(t, tool, command(nil, "-i", made.file(m.name), "-vf", change+",setpts=PTS-STARTPTS", "-c:v", "libx264",
			"-preset", "ultrafast", "-crf", "18", "-colorspace", matrix, "-y", made.file(parts[i])))
	}
	made.join(t, "changing.mp4", "30", parts...)
	m.name = "changing.mp4"
	take := placedTake{marked: m, offset: 2.76}
	p := openTest(t, dir, manifestOf([]placedTake{take}, ""))
	r, err := p.Render(t.Context(), RenderOptions{})
	if err != nil || len(r.Faults) > 0 {
		t.Fatal(err, r.Faults)
	}
	grid, err := p.Grid(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	f := decodeFilm(t, tool, r.Output, 640, 360)
	if len(f.frames) != filmLen {
		t.Fatalf("%d frames, want %d", len(f.frames), filmLen)
	}
	checkTile(t, f, grid.Shots[0].Tiles[0], take)
}
