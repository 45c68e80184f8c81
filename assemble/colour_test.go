package assemble

import (
	"bytes"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"ripieno/assemble/ffmpeg"
)

// colourManifest is a film of one second; guide time 2 is its first frame.
const colourManifest = `version: 1
title: Colour Round
tempo:
  count_in: {measures: 1, cue: {measure: 1, beat: 1}}
  changes: [{measure: 1, meter: 2/4, bpm: 120}]
  measures: 1
release: yes
takes:
%s
mix: {balance: manual}
picture: {fps: 24, gutter: 0, labels: false, lead_in: 0, tail: 0, aspect: "%s"}
deliver: [{name: final, canvas: %s}]
`

// The colour bars, as R'G'B'.
var bars = [][3]float64{{1, 1, 1}, {1, 1, 0}, {0, 1, 1}, {1, 0, 1}, {1, 0, 0}, {0, 0, 1}, {0, 0, 0}, {.5, .5, .5}}

// published are the bars in 8-bit limited-range BT.709 (ITU-R BT.709-6, items
// 3 and 4); the grey is calculated: 16 + 219/2.
var published = [][3]float64{{235, 128, 128}, {219, 16, 138}, {188, 154, 16}, {78, 214, 230}, {63, 102, 240}, {32, 240, 118}, {16, 128, 128}, {125.5, 128, 128}}

// luma holds Kr and Kb of a matrix (ITU-R BT.709-6, BT.601-7 and BT.2020-2).
type luma struct{ r, b float64 }

var (
	luma709  = luma{0.2126, 0.0722}
	luma601  = luma{0.299, 0.114}
	luma2020 = luma{0.2627, 0.0593}
)

// encode is R'G'B' as code values of a bit depth, in limited or full range.
func (k luma) encode(rgb [3]float64, bits int, full bool) [3]float64 {
	y := k.r*rgb[0] + (1-k.r-k.b)*rgb[1] + k.b*rgb[2]
	cb, cr := (rgb[2]-y)/(2*(1-k.b)), (rgb[0]-y)/(2*(1-k.r))
	one := math.Exp2(float64(bits - 8))
	if full {
		top := math.Exp2(float64(bits)) - 1
		return [3]float64{y * top, cb*top + 128*one, cr*top + 128*one}
	}
	return [3]float64{(16 + 219*y) * one, (128 + 224*cb) * one, (128 + 224*cr) * one}
}

// barsTake is a still of bars to be encoded as a phone or camera would.
type barsTake struct {
	name   string
	matrix luma
	bits   int
	full   bool
	level  float64 // R'G'B' of a bar that is on
	args   string  // tags
	within float64 // code values
	want   func(bar [3]float64) [3]float64
}

const barsW, barsH = 256, 144

// write makes the take from code values calculated here, so that no converter
// stands between the formula and the file.
func (b barsTake) write(t *testing.T, tool *ffmpeg.Tool, dir string, frames int) {
	t.Helper()
	var raw bytes.Buffer
	put := func(v float64) {
		n := int(math.Min(math.Round(v), math.Exp2(float64(b.bits))-1))
		raw.WriteByte(byte(n))
		if b.bits > 8 {
			raw.WriteByte(byte(n >> 8))
		}
	}
	plane := func(w, h, part int) {
		for range h {
			for x := range w {
				rgb := bars[x*len(bars)/w]
				put(b.matrix.encode([3]float64{rgb[0] * b.level, rgb[1] * b.level, rgb[2] * b.level}, b.bits, b.full)[part])
			}
		}
	}
	for range frames {
		plane(barsW, barsH, 0)
		plane(barsW/2, barsH/2, 1)
		plane(barsW/2, barsH/2, 2)
	}
	format, file := "yuv420p", "yuv420p"
	switch {
	case b.bits > 8:
		format, file = "yuv420p10le", "yuv420p10le"
	case b.full:
		format, file = "yuvj420p", "yuvj420p"
	}
	args := []string{"-f", "rawvideo", "-pix_fmt", format, "-s", fmt.Sprintf("%dx%d", barsW, barsH), "-r", "24", "-i", "pipe:0",
		"-c:v", "libx264", "-preset", "ultrafast", "-qp", "1", "-pix_fmt", file}
	args = append(args, strings.Fields(b.args)...)
	run(t, tool, ffmpeg.Command{Args: append(args, "-y", filepath.Join(dir, "intake", b.name)), Stdin: &raw})
}

// sdr is what a bar of full level must look like in the film.
func sdr(bar [3]float64) [3]float64 {
	for i, b := range bars {
		if b == bar {
			return published[i]
		}
	}
	return luma709.encode(bar, 8, false)
}

// hlgBar is the formula for a bar of 75 % HLG, which is HDR reference white
// (ITU-R BT.2408-4, table 1): inverse OETF and OOTF of a display of 1000 cd/m²
// (ITU-R BT.2100-2, table 5), to BT.709 primaries (ITU-R BT.2087-0), tone
// mapped so that 203 cd/m² is 1 before the curve, and made the signal that a
// BT.709 display shows as that light (ITU-R BT.1886, without black lift).
func hlgBar(level float64) func([3]float64) [3]float64 {
	return func(bar [3]float64) [3]float64 {
		var lin [3]float64
		for i, v := range bar {
			lin[i] = hlgInverse(v * level)
		}
		ys := 0.2627*lin[0] + 0.6780*lin[1] + 0.0593*lin[2]
		gain := 1000 * math.Pow(ys, 0.2) / 203
		if ys == 0 {
			gain = 0
		}
		for i := range lin {
			lin[i] *= gain
		}
		return tonedBT709(lin)
	}
}

// wideBar is a bar of SDR in BT.2020 primaries: the display's light (BT.1886)
// in BT.709 primaries, clipped to what they can show.
func wideBar(bar [3]float64) [3]float64 {
	m := [3][3]float64{{1.6605, -0.5876, -0.0728}, {-0.1246, 1.1329, -0.0083}, {-0.0182, -0.1006, 1.1187}}
	var out [3]float64
	for i := range out {
		for k, v := range bar {
			out[i] += m[i][k] * math.Pow(v, 2.4)
		}
		out[i] = math.Pow(math.Min(1, math.Max(0, out[i])), 1/2.4)
	}
	return luma709.encode(out, 8, false)
}

func hlgInverse(v float64) float64 {
	const a, b, c = 0.17883277, 0.28466892, 0.55991073
	if v <= 0.5 {
		return v * v / 3
	}
	return (math.Exp((v-c)/a) + b) / 12
}

// pqBar is a bar of a PQ signal (ITU-R BT.2100-2, table 4).
func pqBar(level float64) func([3]float64) [3]float64 {
	return func(bar [3]float64) [3]float64 {
		var lin [3]float64
		for i, v := range bar {
			const m1, m2, c1, c2, c3 = 2610.0 / 16384, 2523.0 / 4096 * 128, 3424.0 / 4096, 2413.0 / 4096 * 32, 2392.0 / 4096 * 32
			p := math.Pow(v*level, 1/m2)
			lin[i] = 10000 * math.Pow(math.Max(p-c1, 0)/(c2-c3*p), 1/m1) / 203
		}
		return tonedBT709(lin)
	}
}

// tonedBT709 turns linear BT.2020 light, where 1 is reference white, to the
// film's code values.
func tonedBT709(lin [3]float64) [3]float64 {
	m := [3][3]float64{{1.6605, -0.5876, -0.0728}, {-0.1246, 1.1329, -0.0083}, {-0.0182, -0.1006, 1.1187}}
	var out [3]float64
	peak := 1e-6
	for i := range out {
		out[i] = m[i][0]*lin[0] + m[i][1]*lin[1] + m[i][2]*lin[2]
		peak = math.Max(peak, out[i])
	}
	// The largest component goes through the curve, the others keep their
	// ratio to it: ours is Möbius, linear below 0.3, 1000 cd/m² becomes 1.
	scale := mobius(peak, 0.3, 1000.0/203) / peak
	for i := range out {
		out[i] = math.Pow(math.Min(1, math.Max(0, out[i]*scale)), 1/2.4)
	}
	return luma709.encode(out, 8, false)
}

func mobius(x, j, peak float64) float64 {
	if x <= j {
		return x
	}
	a := -j * j * (peak - 1) / (j*j - 2*j + peak)
	b := (j*j - 2*j*peak + peak) / (peak - 1)
	return (b*b + 2*b*j + j*j) / (b - a) * (x + a) / (x + b)
}

// TestColoursOfEveryKindOfTakeComeOutTrue sets bars of many cameras side by
// side and reads the finished film: 3 code values for SDR, and for HDR the
// tolerance to the formula above, 8 code values, 12 for the pure blue of HLG, whose
// luma is least (chosen here: no standard
// fixes a tone curve).
func TestColoursOfEveryKindOfTakeComeOutTrue(t *testing.T) {
	tool := findTool(t)
	const sd, hd = "-color_primaries smpte170m -color_trc smpte170m -colorspace smpte170m", "-color_primaries bt709 -color_trc bt709 -colorspace bt709"
	const wide = "-color_primaries bt2020 -colorspace bt2020nc -color_range tv -color_trc "
	takes := []barsTake{
		{"bt709.mp4", luma709, 8, false, 1, hd + " -color_range tv", 3, sdr},
		{"bt601.mp4", luma601, 8, false, 1, sd + " -color_range tv", 3, sdr},
		{"full.mp4", luma709, 8, true, 1, hd + " -color_range pc", 3, sdr},
		{"full601.mp4", luma601, 8, true, 1, sd + " -color_range pc", 3, sdr},
		{"untagged.mp4", luma601, 8, false, 1, "", 3, sdr}, // small: taken for BT.601
		{"deep.mp4", luma709, 10, false, 1, hd + " -color_range tv", 3, sdr},
		{"deepuntagged.mp4", luma601, 10, false, 1, "", 3, sdr},
		{"hlg.mp4", luma2020, 10, false, .75, wide + "arib-std-b67", 12, hlgBar(.75)},
		{"pq.mp4", luma2020, 10, false, .58, wide + "smpte2084", 8, pqBar(.58)},
		{"wide.mp4", luma2020, 10, false, 1, wide + "bt2020-10", 8, wideBar},
		{"hlgbare.mp4", luma2020, 10, false, .75, "-color_trc arib-std-b67", 12, hlgBar(.75)}, // nothing else is tagged
	}
	dir := t.TempDir()
	if err := os.Mkdir(filepath.Join(dir, "intake"), 0o777); err != nil {
		t.Fatal(err)
	}
	var list strings.Builder
	for i, b := range takes {
		b.write(t, tool, dir, 30)
		fmt.Fprintf(&list, "  - {name: take-%d, video: {file: intake/%s, offset: 0.95}}\n", i+1, b.name)
	}
	p := openTest(t, dir, fmt.Sprintf(colourManifest, list.String(), "16:9", "1280x720"))
	grid, err := p.Grid(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	r, err := p.Render(t.Context(), RenderOptions{})
	if err != nil || len(r.Faults) > 0 {
		t.Fatal(err, r.Faults)
	}
	f := decodeColour(t, tool, r.Output, 1280, 720)
	for i, b := range takes {
		tile := grid.Shots[0].Tiles[i]
		for k, bar := range bars {
			got := f.mean(12, tile.X+tile.W*(2*k+1)/(2*len(bars)), tile.Y+tile.H/2)
			want := b.want(bar)
			for c := range got {
				if math.Abs(got[c]-want[c]) > b.within {
					t.Errorf("%s, bar %v: %.1f, want %.1f within %g", b.name, bar, got, want, b.within)
					break
				}
			}
		}
	}
	keep(t, r.Output)
}

// keep copies a film to where a person can look at it, when asked to.
func keep(t *testing.T, path string) {
	t.Helper()
	dir := os.Getenv("RIPIENO_KEEP_FILMS")
	if dir == "" {
		return
	}
	b, err := os.ReadFile(path)
	if err == nil {
		err = os.WriteFile(filepath.Join(dir, t.Name()+filepath.Ext(path)), b, 0o666)
	}
	if err != nil {
		t.Error(err)
	}
}

// colourFilm is a decoded film in yuv420p.
type colourFilm struct {
	w, h   int
	frames [][]byte
}

func decodeColour(t *testing.T, tool *ffmpeg.Tool, path string, w, h int) colourFilm {
	t.Helper()
	var pix bytes.Buffer
	run(t, tool, ffmpeg.Command{Args: []string{"-i", path, "-map", "0:v", "-f", "rawvideo", "-pix_fmt", "yuv420p", "pipe:1"}, Stdout: &pix})
	f := colourFilm{w: w, h: h}
	size := w * h * 3 / 2
	for raw := pix.Bytes(); len(raw) >= size; raw = raw[size:] {
		f.frames = append(f.frames, raw[:size])
	}
	return f
}

// mean is Y, Cb and Cr averaged over 9 by 9 pixels round a place.
func (f colourFilm) mean(frame, x, y int) (m [3]float64) {
	pix := f.frames[frame]
	for dy := -4; dy <= 4; dy++ {
		for dx := -4; dx <= 4; dx++ {
			px, py := x+dx, y+dy
			m[0] += float64(pix[py*f.w+px]) / 81
			c := f.w*f.h + py/2*(f.w/2) + px/2
			m[1] += float64(pix[c]) / 81
			m[2] += float64(pix[c+f.w*f.h/4]) / 81
		}
	}
	return m
}
