package figure

import (
	"bytes"
	"fmt"
	"image/png"
	"math"
	"os"
	"path/filepath"
	"testing"
)

const clapTime = 5.46

// tune returns a dozen notes from 10 s on, a long rest, and some more.
func tune() []Note {
	var notes []Note
	for i := range 12 {
		at := 10 + 0.4*float64(i)
		notes = append(notes, Note{at, at + 0.35, 88 + i%7, 0.7})
	}
	for i := range 6 {
		at := 26 + 0.5*float64(i)
		notes = append(notes, Note{at, at + 0.5, 92 - i%3, 0.5})
	}
	return notes
}

func motion() *Motion {
	var beats []float64
	for i := range 60 {
		beats = append(beats, 0.68*float64(i))
	}
	return NewMotion(tune(), clapTime, beats, 0.3)
}

func look(i Instrument) Look {
	return Look{Instrument: i, Hair: Hair(int(i) % 8), Room: Room(int(i) % 4), LampLeft: i%2 == 0, Beard: i == Cello,
		Glasses: i == Oboe,
		Skin:    0xc98d63, HairColour: 0x2b211d, Shirt: 0xb4553f, Phones: 0xf0e3c8, Wall: 0x8fa59a, Accent: 0xd9a95b}
}

var instruments = []Instrument{Flute, Oboe, Horn, Glockenspiel, Violin, Viola, Cello, Guitar}

func TestDrawIsAFunctionOfTime(t *testing.T) {
	v := View{W: 320, H: 180}
	for _, i := range instruments {
		one, two := NewStage(look(i), motion(), v), NewStage(look(i), motion(), v)
		a, b := NewFrame(v.W, v.H), NewFrame(v.W, v.H)
		for _, at := range []float64{0, 3, clapTime, 10.02, 14} {
			one.Draw(a, at)
		}
		one.Draw(a, 12.2)
		for range 8 {
			two.Draw(b, 12.2)
			if !bytes.Equal(a.Pix, b.Pix) {
				t.Errorf("instrument %d: the same moment looks different", i)
			}
		}
		two.Draw(b, 12.2+1.0/30)
		if bytes.Equal(a.Pix, b.Pix) {
			t.Errorf("instrument %d: nothing moves from one frame to the next", i)
		}
	}
}

// The hands meet at the clap: just then they touch, before they come together
// ever faster, and they are fastest at the end.
func TestHandsMeetAtTheClap(t *testing.T) {
	for _, i := range instruments {
		m := motion()
		gap := func(at float64) float64 {
			p := poseAt(look(i), m, at)
			p.hands(p.chest, p.chest)
			return p.right.x - p.left.x - 2*palm
		}
		if g := gap(clapTime); math.Abs(g) > 1e-6 {
			t.Errorf("instrument %d: the palms are %v apart at the clap", i, g)
		}
		last, speed := gap(clapTime-clapOpen), 0.0
		if last < 80 {
			t.Errorf("instrument %d: the hands are %v apart before the clap, hard to see", i, last)
		}
		for k := 1; k <= 10; k++ {
			g := gap(clapTime - clapOpen*(1-float64(k)/10))
			if last-g < speed {
				t.Errorf("instrument %d: hands slow down %d tenths before the clap", i, 10-k)
			}
			last, speed = g, last-g
		}
		if g := gap(clapTime + 0.05); g > 1e-6 {
			t.Errorf("instrument %d: the hands part at once", i)
		}
	}
}

// While the hands clap, no instrument is held.
func TestInstrumentIsDownAtTheClap(t *testing.T) {
	m := motion()
	for at, want := range map[float64]float64{0: 0, clapTime: 0, 10: 1, 12: 1, 14.6: 1, 20: 0, 26: 1, 28.9: 1, 40: 0} {
		if got := m.up(at); math.Abs(got-want) > 1e-9 {
			t.Errorf("up(%g) = %v, want %v", at, got, want)
		}
	}
}

func TestMalletIsOnTheBarAtTheNote(t *testing.T) {
	m := motion()
	for i, n := range m.notes {
		p := poseAt(look(Glockenspiel), m, n.From)
		left, right := p.mallets()
		tip := left
		if i%2 == 1 {
			tip = right
		}
		want := barAt(float64(n.Pitch))
		if d := tip.minus(want).length(); d > 0.01 {
			t.Errorf("note %d: the mallet is %.1f away from its bar", i, d)
		}
		for _, off := range []float64{-0.08, 0.08} {
			q := poseAt(look(Glockenspiel), m, n.From+off)
			l, r := q.mallets()
			tip := l
			if i%2 == 1 {
				tip = r
			}
			if tip.y > want.y-4 {
				t.Errorf("note %d: the mallet lies on the bar at %+.2f s", i, off)
			}
		}
	}
}

func TestBowTurnsAtEveryNote(t *testing.T) {
	m := motion()
	for i := 1; i < 12; i++ {
		n := m.notes[i]
		before := m.bowAt(n.From-0.06) - m.bowAt(n.From-0.08)
		after := m.bowAt(n.From+0.06) - m.bowAt(n.From+0.04)
		if before*after > 0 {
			t.Errorf("note %d: the bow goes on in the same way", i)
		}
		if at := m.bowAt(n.From); math.Abs(at) > 1 {
			t.Errorf("note %d: the bow is at %v", i, at)
		}
	}
}

func TestLampIsLitByTheFirstNote(t *testing.T) {
	m := motion()
	for at, want := range map[float64]float64{9.99: 0, 10: 0, 10.9: 1, 20: 1, 50: 1} {
		if got := m.lit(at); math.Abs(got-want) > 1e-9 {
			t.Errorf("lit(%g) = %v, want %v", at, got, want)
		}
	}
	if got := NewMotion(nil, 5, nil, 0).lit(99); got != 0 {
		t.Errorf("without notes the lamp is lit: %v", got)
	}
}

func TestMotionWithoutMusic(t *testing.T) {
	s := NewStage(look(Violin), NewMotion(nil, clapTime, nil, 0.9), View{W: 160, H: 90})
	f := NewFrame(160, 90)
	for _, at := range []float64{-20, 0, clapTime, 1e5} {
		s.Draw(f, at)
	}
}

func TestBlinks(t *testing.T) {
	m := motion()
	shut, frames := 0, 0
	for at := 0.0; at < 60; at += 1.0 / 30 {
		if frames++; m.eyes(at) < 0.5 {
			shut++
		}
	}
	if share := float64(shut) / float64(frames); share < 0.005 || share > 0.05 {
		t.Errorf("eyes are shut %.1f %% of the time", 100*share)
	}
}

// upright turns a coded frame as its view says, luma only.
func upright(f *Frame, turn int) (w, h int, luma []byte) {
	y, _, _ := f.planes()
	w, h = f.W, f.H
	if turn%180 != 0 {
		w, h = h, w
	}
	luma = make([]byte, len(y))
	for v := range f.H {
		for u := range f.W {
			x, z := u, v
			switch turn {
			case 90: // clockwise
				x, z = f.H-1-v, u
			case 180:
				x, z = f.W-1-u, f.H-1-v
			case 270:
				x, z = v, f.W-1-u
			}
			luma[z*w+x] = y[v*f.W+u]
		}
	}
	return w, h, luma
}

func TestTurnedViews(t *testing.T) {
	for _, size := range [][2]int{{320, 180}, {180, 320}} {
		straight := NewFrame(size[0], size[1])
		NewStage(look(Oboe), motion(), View{W: size[0], H: size[1]}).Draw(straight, 12)
		_, _, want := upright(straight, 0)
		for _, turn := range []int{90, 180, 270} {
			v := View{W: size[0], H: size[1], Turn: turn}
			if turn != 180 {
				v.W, v.H = v.H, v.W
			}
			f := NewFrame(v.W, v.H)
			NewStage(look(Oboe), motion(), v).Draw(f, 12)
			w, h, got := upright(f, turn)
			if w != size[0] || h != size[1] {
				t.Fatalf("turned %d: upright it is %dx%d", turn, w, h)
			}
			off := 0
			for i := range got {
				if d := int(got[i]) - int(want[i]); d < -6 || d > 6 {
					off++
				}
			}
			if off > len(got)/500 { // edges fall on other sides of a pixel
				t.Errorf("%v turned %d: %d of %d pixels differ", size, turn, off, len(got))
			}
		}
	}
}

// No frame differs from the one before it by enough to be a flash. A flash of
// ITU-R BT.1702 needs a change of 20 cd/m² over a quarter of the picture; a
// change of 10 codes of luma is less than that on any screen of 200 cd/m².
func TestNothingFlashes(t *testing.T) {
	v := View{W: 160, H: 90}
	for _, i := range instruments {
		s := NewStage(look(i), motion(), v)
		last, now := NewFrame(v.W, v.H), NewFrame(v.W, v.H)
		s.Draw(last, 4.5)
		for at := 4.5; at < 11.5; at += 1.0 / 30 {
			s.Draw(now, at)
			a, _, _ := last.planes()
			b, _, _ := now.planes()
			changed := 0
			for k := range a {
				if d := int(a[k]) - int(b[k]); d < -10 || d > 10 {
					changed++
				}
			}
			if share := float64(changed) / float64(len(a)); share > 0.1 {
				t.Errorf("instrument %d: %.0f %% of the picture changes at %.2f s", i, 100*share, at)
			}
			last, now = now, last
		}
	}
}

// Legal video levels, and a picture that is neither flat nor black.
func TestFrameLevels(t *testing.T) {
	for _, i := range instruments {
		f := NewFrame(320, 180)
		NewStage(look(i), motion(), View{W: 320, H: 180}).Draw(f, 13)
		y, u, v := f.planes()
		low, high := byte(255), byte(0)
		for _, s := range y {
			low, high = min(low, s), max(high, s)
		}
		if low < 16 || high > 235 || high-low < 100 {
			t.Errorf("instrument %d: luma from %d to %d", i, low, high)
		}
		for k := range u {
			if u[k] < 16 || u[k] > 240 || v[k] < 16 || v[k] > 240 {
				t.Fatalf("instrument %d: chroma %d %d", i, u[k], v[k])
			}
		}
	}
}

// TestSheet writes every player at a few moments when RIPIENO_SHEET names a
// folder, for people to look at.
func TestSheet(t *testing.T) {
	dir := os.Getenv("RIPIENO_SHEET")
	if dir == "" {
		t.Skip("RIPIENO_SHEET is not set")
	}
	for _, i := range instruments {
		s := NewStage(look(i), motion(), View{W: 640, H: 360})
		f := NewFrame(640, 360)
		for _, at := range []float64{2, clapTime - 0.2, clapTime, 9, 12} {
			s.Draw(f, at)
			out, err := os.Create(filepath.Join(dir, fmt.Sprintf("%d-%.2f.png", i, at)))
			if err != nil {
				t.Fatal(err)
			}
			if err := png.Encode(out, f.Image()); err != nil {
				t.Fatal(err)
			}
			if err := out.Close(); err != nil {
				t.Fatal(err)
			}
		}
	}
}

func BenchmarkDraw(b *testing.B) {
	for _, i := range []Instrument{Flute, Violin, Cello} {
		b.Run(fmt.Sprint(int(i)), func(b *testing.B) {
			s := NewStage(look(i), motion(), View{W: 640, H: 360})
			f := NewFrame(640, 360)
			for b.Loop() {
				s.Draw(f, 12)
			}
		})
	}
}
