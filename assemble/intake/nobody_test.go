package intake

import (
	"math"
	"math/rand/v2"
	"path/filepath"
	"strings"
	"testing"

	"ripieno/assemble/media"
)

// drawnWithoutAnybody are pictures of things and rooms, 360 pixels wide, some of
// them with round and paired shapes, as eyes are.
func drawnWithoutAnybody() map[string]media.Gray {
	const w, h = 360, 240
	round := func(x, y, cx, cy, r float64) bool { return math.Hypot(x-cx, y-cy) < r }
	random := rand.New(rand.NewPCG(30, 1))
	cells := make([]float64, 40*30)
	for i := range cells {
		cells[i] = 255 * random.Float64()
	}
	draws := map[string]func(x, y float64) float64{
		"drums": func(x, y float64) float64 {
			v := 150 - y/4
			for i, c := range [][3]float64{{90, 130, 60}, {200, 150, 70}, {300, 120, 45}} {
				if d := math.Hypot(x-c[0], (y-c[1])*1.6); d < c[2] {
					v = 230 - 40*float64(i) - d/3
				} else if d < c[2]+6 {
					v = 60
				}
			}
			return v
		},
		"guitar": func(x, y float64) float64 {
			switch {
			case round(x, y, 180, 90, 22):
				return 25
			case round(x, y, 180, 90, 70), round(x, y, 180, 170, 85):
				return 170 + 30*math.Sin(x/4)
			}
			return 90
		},
		"loudspeakers": func(x, y float64) float64 {
			for _, c := range [][3]float64{{110, 90, 40}, {110, 180, 25}, {250, 90, 40}, {250, 180, 25}} {
				if d := math.Hypot(x-c[0], y-c[1]); d < c[2] {
					return 40 + 100*math.Abs(math.Sin(d/6))
				}
			}
			return 120
		},
		"window": func(x, y float64) float64 {
			if x > 80 && x < 280 && y > 30 && y < 200 && math.Mod(x-80, 66) > 6 && math.Mod(y-30, 85) > 6 {
				return 235
			}
			return 70 + x/8
		},
		"shelf": func(x, y float64) float64 {
			if math.Mod(y, 60) < 8 {
				return 60
			}
			return 60 + 160*math.Abs(math.Sin(math.Floor(x/9)*12.9+math.Floor(y/60)*4.1))
		},
		"keys": func(x, y float64) float64 {
			if y < 80 {
				return 40
			}
			if k := math.Mod(x, 20); k < 2 || y < 170 && (k > 14 || k < 6) && math.Mod(math.Floor((x+10)/20), 7) != 2 {
				return 20
			}
			return 225
		},
		"socket": func(x, y float64) float64 { // two holes and a slot: nearly a face
			switch {
			case round(x, y, 150, 105, 12), round(x, y, 210, 105, 12):
				return 20
			case x > 160 && x < 200 && y > 145 && y < 153:
				return 40
			case x > 110 && x < 250 && y > 50 && y < 190:
				return 215
			}
			return 150
		},
		"stand": func(x, y float64) float64 {
			return 90 + 110*step(math.Abs(x-180) < 5 || math.Abs(y-80) < 40 && math.Abs(x-180) < 70)
		},
		"ramp":    func(x, y float64) float64 { return x/w*200 + y/h*50 },
		"lamp":    func(x, y float64) float64 { return 40 + 215*math.Exp(-math.Hypot(x-120, y-70)/50) },
		"stripes": func(x, y float64) float64 { return 128 + 100*math.Sin(x/5+y/17) },
		"checks":  func(x, y float64) float64 { return 40 + 180*step(int(x/24)%2 == int(y/24)%2) },
		"blocks":  func(x, y float64) float64 { return cells[int(y/8)*40%1200+int(x/9)] },
		"blobs": func(x, y float64) float64 {
			return 128 + 60*math.Sin(x/23)*math.Cos(y/19) + 50*math.Sin((x+2*y)/31)
		},
		"snow": func(_, _ float64) float64 { return 255 * random.Float64() },
	}
	all := map[string]media.Gray{}
	for name, draw := range draws {
		all[name] = frame(w, h, func(x, y int) byte {
			return byte(min(255,
				max(0, draw(float64(x)+0.5, float64(y)+0.5))))
		})
	}
	return all
}

// step is 1 for true and 0 for false.
func step(on bool) float64 {
	if on {
		return 1
	}
	return 0
}

// TestNobodyIsFoundWhereNobodyIs looks at 30 pictures without anybody, standing
// still, in a hand that shakes, and out of focus: no face is found in any.
func TestNobodyIsFoundWhereNobodyIs(t *testing.T) {
	all := drawnWithoutAnybody()
	files, err := filepath.Glob("testdata/nobody/*.jpg")
	if err != nil {
		t.Fatal(err)
	}
	for _, f := range files {
		rel, _ := strings.CutPrefix(filepath.ToSlash(f), "testdata/")
		all[filepath.Base(f)] = readGray(t, rel)
	}
	if len(all) < 30 {
		t.Fatalf("only %d pictures", len(all))
	}
	for name, g := range all {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			soft := softened(g)
			for how, c := range map[string]struct {
				pictures int // that differ
				draw     func(k int) media.Gray
			}{
				"still":  {2, func(int) media.Gray { return g }},
				"shaken": {4, func(k int) media.Gray { return moved(g, 3*k%7, 5*k%4) }},
				"soft":   {2, func(k int) media.Gray { return moved(soft, k%2, 0) }},
			} {
				if p := watch(t, c.pictures, c.draw); len(p.Faces) > 0 {
					t.Errorf("%s: %+v", how, p.Faces)
				}
			}
		})
	}
}

// moved returns a picture twice as large and shifted, as its edge beyond that.
func moved(g media.Gray, dx, dy int) media.Gray {
	return frame(2*g.W, 2*g.H, func(x, y int) byte {
		u, v := min(max((x+dx)/2, 0), g.W-1), min(max((y+dy)/2, 0), g.H-1)
		return g.Pix[v*g.W+u]
	})
}
