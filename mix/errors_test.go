package mix

import (
	"errors"
	"fmt"
	"io"
	"math"
	"testing"

	"ripieno/mix/audio"
)

// failing breaks after a number of frames.
type failing struct {
	audio.Source
	left   int
	err    error
	closed *int
}

func (f *failing) Read(dst audio.Block) (int, error) {
	if f.left <= 0 {
		return 0, f.err
	}
	n, err := f.Source.Read(dst.Slice(0, min(dst.Frames(), f.left)))
	f.left -= n
	return n, err
}

func (f *failing) Close() error { *f.closed++; return nil }

// A recording that fails in the middle ends the mix with an error that names
// the strip, everything is closed, and what came before stays.
func TestFailingStripIsNamed(t *testing.T) {
	broken := errors.New("the disk is gone")
	closed := 0
	open := func(frames int) func() (audio.Source, error) {
		return func() (audio.Source, error) {
			return &failing{audio.NewMemory(audio.NewBlock(1, 200000), rate), frames, broken, &closed}, nil
		}
	}
	strips := []Strip{
		{Name: "whole", Open: open(1 << 30)},
		{Name: "broken one", Open: open(50000)},
		{Name: "broken two", Open: open(50000)},
	}
	src, err := PreMaster(strips, Options{Length: 190000})
	if err != nil {
		t.Fatal(err)
	}
	b, err := audio.ReadAll(src)
	var named *StripError
	if !errors.Is(err, broken) || !errors.As(err, &named) || named.Strip != "broken one" {
		t.Errorf("got %v", err)
	}
	if want := fmt.Sprintf("mix: strip %q: the disk is gone\nmix: strip %q: the disk is gone", "broken one",
		"broken two"); err.Error() != want {
		t.Errorf("the message is %q, want %q", err, want)
	}
	if b.Frames() < 40000 || b.Frames() > 50000 {
		t.Errorf("%d frames before the error", b.Frames())
	}
	if closed != 3 {
		t.Errorf("%d of 3 recordings were closed", closed)
	}

	src, err = PreMaster([]Strip{{Name: "gone", Open: func() (audio.Source, error) { return nil, broken }}},
		Options{Length: 10})
	if err != nil {
		t.Fatal(err)
	}
	if _, err = audio.ReadAll(src); !errors.As(err, &named) || named.Strip != "gone" {
		t.Errorf("a strip that cannot be opened: %v", err)
	}
}

func TestCloseLetsGo(t *testing.T) {
	closed := 0
	open := func() (audio.Source, error) {
		return &failing{audio.NewMemory(audio.NewBlock(1, 200000), rate), 1 << 30, nil, &closed}, nil
	}
	src, err := PreMaster([]Strip{{Name: "a", Open: open}, {Name: "b", Open: open}}, Options{Length: 100000})
	if err != nil {
		t.Fatal(err)
	}
	if _, err := src.Read(audio.NewBlock(2, 100)); err != nil {
		t.Fatal(err)
	}
	if err := src.(io.Closer).Close(); err != nil || closed != 2 {
		t.Errorf("close gave %v, %d of 2 closed", err, closed)
	}
	if _, err := src.Read(audio.NewBlock(2, 100)); err == nil || err == io.EOF {
		t.Errorf("reading after close gave %v", err)
	}
}

// Broken samples never reach the bus, whatever the strip does with them.
func TestBrokenSamplesAreSilence(t *testing.T) {
	for _, bad := range []float64{math.NaN(), math.Inf(1), math.Inf(-1), 1e300, math.MaxFloat64} {
		x, y := tune(1, 0.3, 1e-3, 40000), tune(2, 0.3, 1e-3, 40000)
		for i := 100; i < len(x); i += 1717 {
			x[i] = bad
		}
		strips := []Strip{
			{Name: "a", Open: at48(x), Drift: 50, Compress: &Compressor{Threshold: -30, Ratio: 4},
				EQ: []Band{{LowShelf, 200, 6, 0}}},
			{Name: "b", Open: at48(y, x), Offset: 0.01},
			{Name: "c", Open: at48(x, y, x, y, x, y), Repair: FoldInverted},
		}
		b := premaster(t, strips, Options{Length: 40000, Room: 0.5})
		for c := range b {
			for i, v := range b[c] {
				if !(math.Abs(v) < 10) {
					t.Fatalf("%v in a source: channel %d sample %d is %v", bad, c, i, v)
				}
			}
		}
		x = append([]float64{}, x...)
		a, err := Analyse(audio.NewMemory(audio.Block{append([]float64{}, x...)}, rate))
		if err != nil || a.Broken != 24 || math.IsNaN(float64(a.Integrated)) || math.IsNaN(float64(a.TruePeak)) {
			t.Errorf("%v: analysis %+v, %v", bad, a, err)
		}
	}
}

func TestSettingsAreChecked(t *testing.T) {
	nan := math.NaN()
	ok := Strip{Name: "x", Open: at48(make([]float64, 10))}
	for name, change := range map[string]func(*Strip){
		"open":    func(s *Strip) { s.Open = nil },
		"offset":  func(s *Strip) { s.Offset = nan },
		"drift":   func(s *Strip) { s.Drift = audio.PPM(math.Inf(1)) },
		"gain":    func(s *Strip) { s.Gain = audio.Decibels(nan) },
		"loud":    func(s *Strip) { s.Gain = 400 },
		"pan":     func(s *Strip) { s.Pan = nan },
		"ride":    func(s *Strip) { s.Rides = []Ride{{Gain: audio.Decibels(nan)}} },
		"eq":      func(s *Strip) { s.EQ = []Band{{Bell, 30000, 1, 1}} },
		"eq gain": func(s *Strip) { s.EQ = []Band{{Bell, 300, 100, 1}} },
		"eq q":    func(s *Strip) { s.EQ = []Band{{Bell, 300, 1, nan}} },
		"shape":   func(s *Strip) { s.EQ = []Band{{Shape(9), 300, 1, 1}} },
		"ratio":   func(s *Strip) { s.Compress = &Compressor{Ratio: 0.5} },
		"release": func(s *Strip) { s.Compress = &Compressor{Ratio: 2, Release: -1} },
		"knee":    func(s *Strip) { s.Compress = &Compressor{Ratio: 2, Knee: -1} },
	} {
		s := ok
		change(&s)
		var named *StripError
		if _, err := PreMaster([]Strip{ok, s}, Options{}); !errors.As(err, &named) || named.Strip != "x" {
			t.Errorf("%s: got %v", name, err)
		}
	}
	for _, o := range []Options{{Length: -1}, {Room: nan}, {Room: -1}} {
		if _, err := PreMaster(nil, o); err == nil {
			t.Errorf("%+v was accepted", o)
		}
	}
	if b := premaster(t, nil, Options{Length: 5000}); b.Frames() != 5000 || rms(b[0]) != 0 {
		t.Errorf("no strips: %d frames", b.Frames())
	}
	silent := ok
	silent.Gain = audio.Decibels(math.Inf(-1))
	if b := premaster(t, []Strip{silent}, Options{Length: 100}); rms(b[0]) != 0 {
		t.Error("a gain of −Inf is not silence")
	}
}
