package intake

import (
	"context"
	"math"
	"reflect"
	"slices"
	"strings"
	"testing"

	"ripieno/assemble/ffmpeg/ffmpegtest"
	"ripieno/assemble/media"
	"ripieno/layout/motion"
)

func frame(w, h int, pixel func(x, y int) byte) media.Gray {
	g := media.Gray{W: w, H: h, Pix: make([]byte, w*h)}
	for i := range g.Pix {
		g.Pix[i] = pixel(i%w, i/w)
	}
	return g
}

func TestEye(t *testing.T) {
	var e eye
	for n := range 8 {
		// A square at the right moves up and down over a grey ground that
		// flickers by one.
		e.see(frame(40, 20, func(x, y int) byte {
			if x >= 30 && x < 36 && (y+n)%10 < 5 {
				return 255
			}
			return byte(100 + n%2)
		}))
	}
	p, err := e.picture()
	if err != nil || p.Frames != 8 || math.Abs(p.Mean-112) > 3 || p.DarkPercent != 0 || p.WhitePercent != 7.5 {
		t.Errorf("%+v", p)
	}
	x, y := p.Subject.Centre()
	near(t, "centre of movement", x, 33.0/40, 0.01)
	near(t, "its height", y, 0.5, 0.05)
	none, err := (&eye{}).picture()
	if want := (Picture{Subject: motion.Subject{Right: 1, Bottom: 1}}); err != nil || !reflect.DeepEqual(none, want) {
		t.Error("nothing seen gives something")
	}
}

// The blur of a picture grows with the width of its edges, in either direction,
// and is the same for a picture and its mirror image.
func TestBlur(t *testing.T) {
	edges := func(width float64, across bool) media.Gray {
		return frame(160, 120, func(x, y int) byte {
			at := float64(x)
			if across {
				at = float64(y)
			}
			// Bars 40 wide whose flanks are ramps; the other direction has
			// fine lines, which are sharp.
			ramp := math.Abs(math.Mod(at, 80)-40) - 20
			v := 128 + 100*min(1, max(-1, ramp/width))
			return byte(v) + byte((x+y)%2*20)
		})
	}
	last := 0.0
	for _, width := range []float64{0.5, 2, 4, 8, 16} {
		smooth := edges(width, false)
		for i := range smooth.Pix { // without the fine lines in the bars' direction
			smooth.Pix[i] -= byte((i%160 + i/160) % 2 * 20)
			smooth.Pix[i] += byte(i / 160 % 2 * 20)
		}
		got, ok := blurOf(smooth)
		if !ok || got < last || got > 1 {
			t.Errorf("ramps of %g: %g, after %g", width, got, last)
		}
		last = got
	}
	if last < 0.6 {
		t.Errorf("ramps of 16 pixels are called sharp (%g)", last)
	}
	if _, ok := blurOf(frame(64, 48, func(x, y int) byte { return 77 })); ok {
		t.Error("an even grey was judged")
	}
	plain := edges(3, true)
	mirrored := frame(160, 120, func(x, y int) byte { return plain.Pix[y*160+159-x] })
	a, _ := blurOf(plain)
	b, _ := blurOf(mirrored)
	near(t, "blur of the mirror image", b, a, 0.02)
}

func TestShrink(t *testing.T) {
	g := shrink(frame(9, 5, func(x, y int) byte { return byte(10 * (x / 2)) }), 2, nil)
	if g.W != 4 || g.H != 2 || !slices.Equal(g.Pix, []byte{0, 10, 20, 30, 0, 10, 20, 30}) {
		t.Errorf("%+v", g)
	}
}

func TestCadence(t *testing.T) {
	even := make([]float64, 100)
	rounded := make([]float64, 100)
	phone := make([]float64, 100)
	for i := range even {
		even[i] = float64(i) / 30
		rounded[i] = math.Round(even[i]*1000) / 1000 // as Matroska stores it
		phone[i] = even[i]
		if i%7 == 3 {
			phone[i] += 0.012
		}
	}
	gap := append([]float64{}, even...)
	for i := 50; i < 100; i++ {
		gap[i] += 0.7
	}
	for _, c := range []struct {
		name    string
		times   []float64
		longest float64
		uneven  bool
	}{
		{"even", even, 1.0 / 30, false}, {"rounded", rounded, 0.034, false}, {"phone", phone, 1.0/30 + 0.012, true},
		{"gap", gap, 0.7 + 1.0/30, false}, {"one frame", even[:1], 0, false}, {"none", nil, 0, false},
	} {
		longest, uneven := cadence(c.times)
		if math.Abs(longest-c.longest) > 1e-9 || uneven != c.uneven {
			t.Errorf("%s: %g, %v", c.name, longest, uneven)
		}
	}
}

// Made-to-fault pictures, encoded, looked at and judged.
func TestRealLook(t *testing.T) {
	t.Parallel()
	tool := ffmpegtest.Tool(t)
	cases := []struct {
		name, filter string
		found        []Code
	}{
		{"good", "null", nil},
		{"dark", "lutyuv=y=16+(val-16)/12", []Code{TooDark}},
		{"blown", "lutyuv=y=min(235\\,val*3)", []Code{BlownOut}},
		{"unsharp", "gblur=sigma=9", []Code{Unsharp}},
		{"a little soft", "gblur=sigma=1.5", nil},
		{"stuck", "select=lt(n\\,40)+gt(n\\,70)", []Code{FrameGaps}},
		{"uneven", "settb=1/90000,setpts=PTS+mod(N\\,3)*0.015/TB", []Code{Variable}},
		{"portrait", "scale=360:640,setsar=1", []Code{Portrait}},
		{"small", "scale=320:180", []Code{LowRes}},
	}
	var outputs []ffmpegtest.Output
	for _, c := range cases {
		outputs = append(outputs, ffmpegtest.Output{Name: c.name + ".mp4", Args: strings.Fields(
			"-vf " + c.filter + " -fps_mode passthrough -enc_time_base 1:90000 -c:v libx264 -preset ultrafast -g 10 " +
				"-pix_fmt yuv420p")})
	}
	// A lit player who moves before a wall.
	scene := "color=0x808080:s=854x480:r=10:d=12,drawbox=x=300:y=60:w=250:h=400:color=0xc0a080:t=fill"
	paths := ffmpegtest.MakeAll(t, []string{"-f", "lavfi", "-i",
		scene + "[a];color=0x303060:s=120x160:r=10:d=12[b];[a][b]overlay=x=360+40*sin(t*1.7):y=150+30*cos(t*2.3)"},
		outputs...)
	paths = append(paths, ffmpegtest.Make(t, "frozen.mp4",
		strings.Fields("-f lavfi -i "+scene+" -c:v libx264 -preset ultrafast -g 10 -pix_fmt yuv420p")...))
	cases = append(cases, struct {
		name, filter string
		found        []Code
	}{"frozen", "", []Code{Frozen}})
	for n, c := range cases {
		info, err := media.Probe(context.Background(), tool, paths[n])
		if err != nil {
			t.Fatal(err)
		}
		p, err := Look(context.Background(), tool, info, 0)
		if err != nil {
			t.Fatal(err)
		}
		info.Video.FPSNum, info.Video.FPSDen = 25, 1 // few frames keep the test short; they are not the point
		found := Judge(Facts{Files: []File{{Role: "video", Info: info, Picture: &p},
			{Role: "audio", Info: media.Info{Audio: &media.Audio{Rate: 48000}}}}})
		for _, code := range c.found {
			if level(found, code) < 0 {
				t.Errorf("%s: %s is not found (%+v)", c.name, code, p)
			}
		}
		for _, f := range found {
			if f.Level > OK && level([]Finding{f}, f.Code) > OK && !slices.Contains(c.found, f.Code) {
				t.Errorf("%s: %s is found (%+v)", c.name, f.Code, p)
			}
		}
	}
}

// A file with one key frame in 20 s, as browsers write, is decoded whole.
func TestRealLookWithoutKeyFrames(t *testing.T) {
	tool := ffmpegtest.Tool(t)
	path := ffmpegtest.Make(t, "x.mp4", strings.Fields("-f lavfi -i testsrc=s=64x36:r=10:d=20 -c:v libx264 -preset "+
		"ultrafast -g 1000 -pix_fmt yuv420p")...)
	info, err := media.Probe(context.Background(), tool, path)
	if err != nil {
		t.Fatal(err)
	}
	p, err := Look(context.Background(), tool, info, 0)
	if err != nil || p.Frames != 10 || p.Motion < 1 {
		t.Errorf("%+v, %v", p, err)
	}
	info.Video = nil
	if _, err := Look(context.Background(), tool, info, 0); err == nil {
		t.Error("nothing was looked at")
	}
}

// Pictures that are looked at together are seen as each is by itself, also the one whose
// key frames are too rare and the one that is no picture.
func TestRealLooksTogether(t *testing.T) {
	tool := ffmpegtest.Tool(t)
	paths := ffmpegtest.MakeAll(t, strings.Fields("-f lavfi -i testsrc2=s=1280x720:r=10:d=24"),
		ffmpegtest.Output{Name: "a.mp4", Args: strings.Fields("-c:v libx264 -preset ultrafast -pix_fmt yuv420p -g 5")},
		ffmpegtest.Output{Name: "b.mp4", Args: strings.Fields("-vf hue=h=90 -c:v libx264 -preset ultrafast " +
			"-pix_fmt yuv420p -g 8")},
		ffmpegtest.Output{Name: "rare.mp4", Args: strings.Fields("-vf negate -c:v libx264 -preset ultrafast " +
			"-pix_fmt yuv420p -g 100")})
	paths = append(paths, ffmpegtest.Make(t, "none.m4a", strings.Fields("-f lavfi -i sine=d=2 -c:a aac")...))
	var list []Looked
	for i, path := range paths {
		info, err := media.Probe(t.Context(), tool, path)
		if err != nil {
			t.Fatal(err)
		}
		list = append(list, Looked{info, 90 * (i % 2)})
	}
	seen, wrong := LookAll(t.Context(), tool, t.TempDir(), list)
	for i, l := range list {
		want, err := Look(t.Context(), tool, l.Info, l.Turn)
		if (err == nil) != (wrong[i] == nil) || (i == 3) != (err != nil) || !reflect.DeepEqual(seen[i], want) {
			t.Errorf("%s: %+v, %v, by itself %+v, %v", l.Info.Path, seen[i], wrong[i], want, err)
		}
	}
	if n := seen[0].Frames; n < 10 || n > 13 {
		t.Errorf("of 48 key frames %d were looked at", n)
	}
}
