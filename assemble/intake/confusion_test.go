package intake

import (
	"bytes"
	"flag"
	"fmt"
	"go/ast"
	"go/parser"
	"go/token"
	"math"
	"math/rand/v2"
	"os"
	"slices"
	"strconv"
	"strings"
	"testing"

	"ripieno/assemble/media"
)

var update = flag.Bool("update", false, "write the tables in README.md anew")

// codes returns all that words.go defines, in its order.
func codes(t *testing.T) []Code {
	t.Helper()
	file, err := parser.ParseFile(token.NewFileSet(), "words.go", nil, 0)
	if err != nil {
		t.Fatal(err)
	}
	var all []Code
	ast.Inspect(file, func(n ast.Node) bool {
		if v, ok := n.(*ast.ValueSpec); ok {
			if kind, ok := v.Type.(*ast.Ident); ok && kind.Name == "Code" {
				text, err := strconv.Unquote(v.Values[0].(*ast.BasicLit).Value)
				if err != nil {
					t.Fatal(err)
				}
				all = append(all, Code(text))
			}
		}
		return true
	})
	return all
}

// Every code has a take that gives it and a near miss that does not.
func TestEveryCodeHasBoth(t *testing.T) {
	// in tests of their own
	gives, misses := map[Code]bool{Duplicate: true, ByHand: true}, map[Code]bool{Duplicate: true, ByHand: true}
	for _, c := range spoilers() {
		gives[c.code] = true
		misses[c.code] = misses[c.code] || c.near != nil
	}
	all := codes(t)
	if len(all) < 36 {
		t.Fatalf("only %d codes were read", len(all))
	}
	for _, c := range all {
		if !gives[c] || !misses[c] {
			t.Errorf("%s: a take that gives it %v, a near miss %v", c, gives[c], misses[c])
		}
	}
}

// madeTake is a take with one fault in it, none when planted is "".
type madeTake struct {
	planted Code
	facts   Facts
}

// madeSounds returns performances with faults in the sound, listened to.
func madeSounds(t *testing.T) []madeTake {
	var all []madeTake
	add := func(planted Code, channels ...[]float64) {
		f := good()
		s := listen(t, channels...)
		f.Piece = nil // these are shorter than it
		for i := range f.Files {
			f.Files[i].Info.Duration = s.Seconds
		}
		f.Files[1].Sound, f.Files[1].Info.Audio = &s, &media.Audio{Rate: s.Rate, Channels: len(channels),
			Duration: s.Seconds}
		all = append(all, madeTake{planted, f})
	}
	for n, in := range instruments {
		x := in.play(8, -66)
		still := make([]float64, len(x))
		hz := float64(50 + 10*(n%2))
		add("", scale(x, 0.85))
		add("", scale(x, 0.5), scale(x, 0.4))
		add("", scale(x, 0.12))
		add(TooSoft, scale(in.play(8, -40), 0.01))
		add(TooSoft, scale(x, 0.0015))
		add(Silent, scale(x, 0.0004))
		add(Noisy, scale(in.play(8, -30), 0.5))
		add(Clipped, scale(x, 2))
		add(Clipped, scale(x, 4))
		add(TooLoud, scale(x, 0.98))
		add(Hum, add2(scale(x, 0.5), sine(hz, 1, -46), sine(3*hz, 1, -52)))
		add(DeadSide, scale(x, 0.5), scale(still, 1))
		add(Antiphase, scale(x, 0.5), scale(x, -0.5))
	}
	return all
}

func add2(x, y, z []float64) []float64 { return add(add(x, y), z) }

// scene is a player who sways before a room with edges in it.
type scene struct {
	x, top, sway float64 // the middle and the top of the player, as shares of the picture
	soft         int     // box blurs of eleven pixels
	quarters     int     // turned clockwise
	bow          bool    // that reaches beyond the left edge, played by a body that moves a little above the waist
	tone         func(v float64) float64
}

// look draws eight moments of a scene with a camera's noise and looks at them.
func (s scene) look(seed uint64) Picture {
	rng := rand.New(rand.NewPCG(seed, 5))
	var e eye
	const w, h = 640, 360
	for k := range 8 {
		shift := s.sway * math.Sin(float64(k)*1.7+float64(seed))
		g := frame(w, h, func(x, y int) byte {
			v := 90 + 50*float64((x/40+y/45)%2)
			y0 := float64(y) / h
			if s.bow {
				stroke := 0.25 * math.Sin(float64(k)*1.7+float64(seed))
				if at := float64(x)/w - stroke; at > 0 && at < 0.45 && math.Abs(y0-0.5-0.4*stroke) < 0.012 {
					return 240
				}
				shift = s.sway * math.Sin(float64(k)) * max(0, 0.8-y0)
			}
			dx := math.Abs((float64(x)+0.5)/w - s.x - shift)
			if dx < 0.1 && y0 > s.top {
				v = 60 + 110*float64((int((float64(x)-shift*w+w)/9)+y/13)%2)
			}
			return byte(v)
		})
		for range s.soft {
			g = softened(g)
		}
		for i, v := range g.Pix {
			tone := float64(v)
			if s.tone != nil {
				tone = s.tone(tone)
			}
			g.Pix[i] = byte(min(255, max(0, tone+0.5*rng.NormFloat64()+0.5)))
		}
		if err := e.see(turned(g, s.quarters)); err != nil {
			panic(err) // all are of one size
		}
	}
	p, err := e.picture()
	if err != nil {
		panic(err) // the cascade is in the program
	}
	p.LongestGap = 1.0 / 30
	return p
}

// softened returns a picture blurred by a box of eleven pixels a side.
func softened(g media.Gray) media.Gray {
	const reach = 5
	along := func(src media.Gray, dx, dy int) media.Gray {
		return frame(src.W, src.H, func(x, y int) byte {
			sum := 0
			for i := -reach; i <= reach; i++ {
				sum += int(src.Pix[min(max(y+i*dy, 0), src.H-1)*src.W+min(max(x+i*dx, 0), src.W-1)])
			}
			return byte(sum / (2*reach + 1))
		})
	}
	return along(along(g, 1, 0), 0, 1)
}

// madePictures returns scenes with faults, looked at.
func madePictures() []madeTake {
	var all []madeTake
	for _, c := range []struct {
		planted Code
		scene   scene
	}{
		{"", scene{x: 0.5, top: 0.2, sway: 0.03}},
		{"", scene{x: 0.35, top: 0.3, sway: 0.02}},
		{"", scene{x: 0.5, top: 0.15, sway: 0.02, tone: func(v float64) float64 { return v * 0.5 }}},
		{TooDark, scene{x: 0.5, top: 0.2, sway: 0.03, tone: func(v float64) float64 { return v / 6 }}},
		{BlownOut, scene{x: 0.5, top: 0.2, sway: 0.03, tone: func(v float64) float64 { return v * 2 }}},
		{Unsharp, scene{x: 0.5, top: 0.2, sway: 0.03, soft: 3}},
		{Frozen, scene{x: 0.5, top: 0.2}},
		{OffCentre, scene{x: 0.83, top: 0.2, sway: 0.02}},
		{CutOff, scene{x: 0.04, top: 0.2, sway: 0.02}},
		{CutOff, scene{x: 0.5, top: -0.1, sway: 0.02}},
	} {
		for seed := range uint64(4) {
			f := good()
			p := c.scene.look(seed)
			f.Files[0].Picture = &p
			all = append(all, madeTake{c.planted, f})
		}
	}
	return all
}

// TestConfusion plants faults, measures and judges, and holds the table of what
// was planted and what was found against README.md. Faults that are read off
// the file and not measured are planted in what is known of it.
func TestConfusion(t *testing.T) {
	t.Parallel()
	made := append(madeSounds(t), madePictures()...)
	measured := map[Code]bool{}
	for _, m := range made {
		measured[m.planted] = true
	}
	for _, s := range spoilers() {
		if !measured[s.code] {
			f := good()
			s.spoil(&f)
			made = append(made, madeTake{s.code, f})
		}
	}
	takes, found := map[Code]int{}, map[Code]map[Code]int{}
	for n, m := range made {
		takes[m.planted]++
		if found[m.planted] == nil {
			found[m.planted] = map[Code]int{}
		}
		seen := map[Code]bool{}
		for _, x := range Judge(m.facts) {
			if !seen[x.Code] {
				found[m.planted][x.Code]++
			}
			seen[x.Code] = true
		}
		if m.planted != "" && !seen[m.planted] {
			t.Errorf("take %d: %s was planted and is not found in %+v", n, m.planted, m.facts.Files[0].Picture)
		}
		if m.planted == "" && len(seen) > 0 {
			t.Errorf("good take %d: %v", n, seen)
		}
	}
	var b strings.Builder
	b.WriteString("| planted | takes | found | found besides |\n| --- | --- | --- | --- |\n")
	for _, c := range append([]Code{""}, codes(t)...) {
		if takes[c] == 0 {
			continue
		}
		var besides []string
		for _, o := range codes(t) {
			if n := found[c][o]; n > 0 && o != c {
				besides = append(besides, fmt.Sprintf("%s %d", o, n))
			}
		}
		name, hits := string(c), fmt.Sprint(found[c][c])
		if c == "" {
			name, hits = "nothing", ""
		}
		if measured[c] {
			name += " (measured)"
		}
		fmt.Fprintf(&b, "| %s | %d | %s | %s |\n", name, takes[c], hits, strings.Join(besides, ", "))
	}
	inDocument(t, "confusion", b.String())
}

// The table of thresholds that people read is the one that is in force.
func TestThresholdsAreDocumented(t *testing.T) {
	var b strings.Builder
	b.WriteString("| key | standard | reason or source |\n| --- | --- | --- |\n")
	for _, x := range Standard().Table() {
		fmt.Fprintf(&b, "| `%s` | %s | %s |\n", x.Name, strings.TrimSpace(fmt.Sprintf("%g %s", x.Value, x.Unit)), x.Why)
	}
	inDocument(t, "thresholds", b.String())
}

// inDocument holds a table against the one in README.md between marks of
// that name.
func inDocument(t *testing.T, name, table string) {
	t.Helper()
	path := "README.md"
	text, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	begin, end := []byte("<!-- "+name+" -->\n"), []byte("<!-- end of "+name+" -->\n")
	from, to := bytes.Index(text, begin), bytes.Index(text, end)
	if from < 0 || to < from {
		t.Fatalf("README.md has no marks for %s", name)
	}
	from += len(begin)
	if string(text[from:to]) == table {
		return
	}
	if !*update {
		t.Errorf("%s in README.md differs, see -update; it is\n%s", name, table)
		return
	}
	if err := os.WriteFile(path, slices.Concat(text[:from], []byte(table), text[to:]), 0o666); err != nil {
		t.Fatal(err)
	}
}
