package audio

import (
	"errors"
	"io"
	"math"
	"slices"
	"testing"
	"testing/quick"
)

// Decibels are 20 times the logarithm of an amplitude (IEC 60027-3), silence is −Inf, and
// a sign is no matter of level.
func TestDecibelsAndGains(t *testing.T) {
	for db, gain := range map[Decibels]float64{0: 1, 20: 10, -20: 0.1, -6.020599913279624: 0.5, 6.020599913279624: 2} {
		if got := db.Gain(); math.Abs(got-gain) > 1e-12 {
			t.Errorf("%v dB is %v", db, got)
		}
		if got := DecibelsOf(-gain); math.Abs(float64(got-db)) > 1e-12 {
			t.Errorf("a gain of %v is %v dB", -gain, got)
		}
	}
	if g := Decibels(math.Inf(-1)).Gain(); g != 0 || !math.IsInf(float64(DecibelsOf(0)), -1) {
		t.Errorf("silence is %v and %v", g, DecibelsOf(0))
	}
}

// Frames and seconds are one another's, to half a frame; a million is a factor of two.
func TestFramesAndSeconds(t *testing.T) {
	for seconds, want := range map[float64]Frames{0: 0, 1: 48000, -1: -48000, 0.5 / 48000: 1, 0.49 / 48000: 0,
		3600: 172_800_000} {
		if got := FramesAt(seconds); got != want {
			t.Errorf("%v s are %d frames", seconds, got)
		}
	}
	if err := quick.Check(func(n int32) bool { return FramesAt(Frames(n).Seconds()) == Frames(n) }, nil); err != nil {
		t.Error(err)
	}
	if PPM(1e6).Ratio() != 2 || PPM(0).Ratio() != 1 || PPM(-500).Ratio() != 0.9995 {
		t.Errorf("%v, %v", PPM(1e6).Ratio(), PPM(-500).Ratio())
	}
}

// What JSON cannot hold is null.
func TestFinite(t *testing.T) {
	for _, x := range []float64{math.NaN(), math.Inf(1), math.Inf(-1)} {
		if Finite(x) != nil {
			t.Errorf("%v is a number", x)
		}
	}
	if got := Finite(-3.5); got == nil || *got != -3.5 {
		t.Errorf("%v", got)
	}
}

// The greatest common divisor divides both, whichever comes first, and is the other of 0.
func TestGCD(t *testing.T) {
	for _, c := range [][3]int{{48000, 44100, 300}, {0, 7, 7}, {7, 0, 7}, {0, 0, 0}, {17, 5, 1}, {1920, 1080, 120},
		{30000, 1001, 1}} {
		if GCD(c[0], c[1]) != c[2] || GCD(c[1], c[0]) != c[2] {
			t.Errorf("of %d and %d: %d", c[0], c[1], GCD(c[0], c[1]))
		}
	}
	laws := func(a, b uint16) bool {
		d := GCD(int(a), int(b))
		return d == 0 && a == 0 && b == 0 || int(a)%d == 0 && int(b)%d == 0 &&
			(a == 0 || b == 0 || GCD(int(a)/d, int(b)/d) == 1)
	}
	if err := quick.Check(laws, nil); err != nil {
		t.Error(err)
	}
}

// Blocks are channels of one length; a slice of one is a window on it.
func TestBlocks(t *testing.T) {
	b := NewBlock(2, 5)
	if len(b) != 2 || b.Frames() != 5 || NewBlock(0, 5).Frames() != 0 || Block(nil).Frames() != 0 {
		t.Errorf("%v", b)
	}
	s := b.Slice(1, 4)
	s[1][0] = 7
	if s.Frames() != 3 || b[1][1] != 7 {
		t.Errorf("%v of %v", s, b)
	}
	if s.Clear(); b[1][1] != 0 {
		t.Errorf("%v", b)
	}
}

// stingy gives a frame at a time.
type stingy struct{ Source }

func (s stingy) Read(dst Block) (int, error) {
	return s.Source.Read(dst.Slice(0, min(1, dst.Frames())))
}

// Reading full goes on until the block is full or the source has ended; reading all gets
// everything, however little comes at once.
func TestReadingFull(t *testing.T) {
	ramp := make([]float64, 10)
	for i := range ramp {
		ramp[i] = float64(i)
	}
	src := func() Source { return stingy{NewMemory(Block{ramp}, Rate)} }
	dst := NewBlock(1, 7)
	s := src()
	if n, err := ReadFull(s, dst); n != 7 || err != nil || !slices.Equal(dst[0], ramp[:7]) {
		t.Errorf("%d, %v, %v", n, err, dst)
	}
	if n, err := ReadFull(s, dst); n != 3 || err != nil && err != io.EOF || !slices.Equal(dst[0][:3], ramp[7:]) {
		t.Errorf("%d, %v, %v", n, err, dst)
	}
	if n, err := ReadFull(s, dst); n != 0 || err != io.EOF {
		t.Errorf("behind the end: %d, %v", n, err)
	}
	all, err := ReadAll(src())
	if err != nil || !slices.Equal(all[0], ramp) {
		t.Errorf("%v, %v", all, err)
	}
	m := NewMemory(Block{ramp, ramp}, 44100)
	if m.Channels() != 2 || m.Rate() != 44100 || m.Frames() != 10 {
		t.Errorf("%d channels of %d frames at %d", m.Channels(), m.Frames(), m.Rate())
	}
}

// closer is a source that counts how often it is closed.
type closer struct {
	Source
	closed *int
	err    error
}

func (c closer) Close() error { *c.closed++; return c.err }

// What can be closed is, with its error; what cannot is left alone.
func TestClosing(t *testing.T) {
	if err := Close(NewMemory(nil, Rate)); err != nil {
		t.Error(err)
	}
	n, bad := 0, errors.New("bad")
	if err := Close(closer{NewMemory(nil, Rate), &n, bad}); !errors.Is(err, bad) || n != 1 {
		t.Errorf("%v, closed %d times", err, n)
	}
}
