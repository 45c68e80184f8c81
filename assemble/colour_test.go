package assemble

import (
	"bytes"
	"fmt"
	"math"
	"strings"
	"testing"
)

// The colour bars, as R'G'B'.
var bars = [][3]float64{{1, 1, 1}, {1, 1, 0}, {0, 1, 1}, {1, 0, 1}, {1, 0, 0}, {0, 0, 1}, {0, 0, 0}, {.5, .5, .5}}

// published are the bars in 8-bit limited-range BT.709 (ITU-R BT.709-6, items
// 3 and 4); the grey is calculated: 16 + 219/2.
var published = [][3]float64{{235, 128, 128}, {219, 16, 138}, {188, 154, 16}, {78, 214, 230}, {63, 102, 240},
	{32, 240, 118}, {16, 128, 128}, {125.5, 128, 128}}

// luma holds Kr and Kb of a matrix (ITU-R BT.709-6, BT.601-7 and BT.2020-2).
type luma struct{ r, b float64 }

var (
	luma709  = luma{0.2126, 0.0722}
	luma601  = luma{0.299, 0.114}
	luma2020 = luma{0.2627, 0.0593}
)

// encode returns R'G'B' as code values of a bit depth, in limited or full range.
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
	want   func(bar [3]float64) [3]float64
	said   string // what the manifest says of it
}

const barsW, barsH = 256, 144

// write makes the take from code values calculated here, so that no converter
// stands between the formula and the file.
func (b barsTake) write(t *testing.T, made short) {
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
				put(b.matrix.encode([3]float64{rgb[0] * b.level, rgb[1] * b.level, rgb[2] * b.level}, b.bits,
					b.full)[part])
			}
		}
	}
	for range 30 {
		plane(barsW, barsH, 0)
		plane(barsW/2, barsH/2, 1)
		plane(barsW/2, barsH/2, 2)
	}
	format := "yuv420p"
	switch {
	case b.bits > 8:
		format = "yuv420p10le"
	case strings.Contains(b.args, "range pc"):
		format = "yuvj420p"
	}
	made.encode(t, b.name, format, barsW, barsH, raw.Bytes(), append(strings.Fields(b.args), "-qp", "1", "-pix_fmt",
		format)...)
}

// sdr returns what a bar of full level must look like in the film.
func sdr(bar [3]float64) [3]float64 {
	for i, b := range bars {
		if b == bar {
			return published[i]
		}
	}
	return luma709.encode(bar, 8, false)
}

// hlgBar returns the formula for a bar of 75 % HLG, which is HDR reference white
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

// wideBar returns a bar of SDR in BT.2020 primaries: the display's light (BT.1886)
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

// pqBar returns a bar of a PQ signal (ITU-R BT.2100-2, table 4).
func pqBar(level float64) func([3]float64) [3]float64 {
	return func(bar [3]float64) [3]float64 {
		var lin [3]float64
		for i, v := range bar {
			const m1, m2, c1, c2, c3 = 2610.0 / 16384, 2523.0 / 4096 * 128, 3424.0 / 4096, 2413.0 / 4096 * 32,
				2392.0 / 4096 * 32
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
// side in one film and reads it: every bar is within 3 code values of what is
// published for SDR, and for HDR, where no standard fixes a tone curve, of the
// formulas above, which go from the published signal to ours.
func TestColoursOfEveryKindOfTakeComeOutTrue(t *testing.T) {
	t.Parallel()
	const sd, hd = "-color_primaries smpte170m -color_trc smpte170m -colorspace " +
		"smpte170m", "-color_primaries bt709 -color_trc bt709 -colorspace bt709"
	const wide = "-color_primaries bt2020 -colorspace bt2020nc -color_range tv -color_trc "
	takes := []barsTake{
		{"bt709.mp4", luma709, 8, false, 1, hd + " -color_range tv", sdr, ""},
		{"bt601.mp4", luma601, 8, false, 1, sd + " -color_range tv", sdr, ""},
		{"full.mp4", luma709, 8, true, 1, hd + " -color_range pc", sdr, ""},
		{"full601.mp4", luma601, 8, true, 1, sd + " -color_range pc", sdr, ""},
		{"untagged.mp4", luma601, 8, false, 1, "", sdr, ""}, // small: taken for BT.601
		{"deep.mp4", luma709, 10, false, 1, hd + " -color_range tv", sdr, ""},
		{"deepuntagged.mp4", luma601, 10, false, 1, "", sdr, ""},
		{"hlg.mp4", luma2020, 10, false, .75, wide + "arib-std-b67", hlgBar(.75), ""},
		{"pq.mp4", luma2020, 10, false, .58, wide + "smpte2084", pqBar(.58), ""},
		{"hlgpeak.mp4", luma2020, 10, false, 1, wide + "arib-std-b67", hlgBar(1), ""},
		{"pqpeak.mp4", luma2020, 10, false, .75, wide + "smpte2084", pqBar(.75), ""}, // 983 cd/m²
		{"wide.mp4", luma2020, 10, false, 1, wide + "bt2020-10", wideBar, ""},
		{"hlgbare.mp4", luma2020, 10, false, .75, "-color_trc arib-std-b67", hlgBar(.75), ""}, // nothing else is tagged
		// Files that say nothing, or something wrong, and a manifest that knows better.
		{"said709.mp4", luma709, 8, false, 1, "", sdr, ", colour: bt709"},
		{"saidfull.mp4", luma709, 8, true, 1, sd + " -color_range tv", sdr, ", colour: bt709, range: full"},
		{"saidhlg.mp4", luma2020, 10, false, .75, "", hlgBar(.75), ", colour: hlg"},
		{"saidpq.mp4", luma2020, 10, true, .58, hd + " -color_range tv", pqBar(.58), ", colour: pq, range: full"},
		{"saidwide.mp4", luma2020, 10, false, 1, hd, wideBar, ", colour: bt2020"},
	}
	const within = 3.0
	s := newShort(t)
	var list strings.Builder
	for i, b := range takes {
		b.write(t, s)
		fmt.Fprintf(&list, "  - {name: take-%d, video: {file: intake/%s, offset: 0.95%s}}\n", i+1, b.name, b.said)
	}
	f := s.film(t, list.String(), "aspect: 16:9", 1280, 720)
	for i, b := range takes {
		worst := 0.0
		for k, bar := range bars {
			got := f.middle(12, i, float64(2*k+1)/float64(2*len(bars)), 0.5)
			want := b.want(bar)
			off := 0.0
			for c := range got {
				off = max(off, math.Abs(got[c]-want[c]))
			}
			if off > within {
				t.Errorf("%s, bar %v: %.1f, want %.1f within %g", b.name, bar, got, want, within)
			}
			worst = max(worst, off)
		}
		t.Logf("%s: at most %.1f code values off", b.name, worst)
	}
}
