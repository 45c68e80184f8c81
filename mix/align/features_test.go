package align

import (
	"bytes"
	"encoding/gob"
	"encoding/json"
	"errors"
	"io"
	"math"
	"math/rand/v2"
	"reflect"
	"runtime"
	"runtime/debug"
	"testing"
	"time"

	"ripieno/mix/audio"
)

// sketch is a test signal: noise, and bursts that begin at exact times.
func sketch(rate int, seconds float64, number uint64, bursts ...float64) []float64 {
	r := rand.New(rand.NewPCG(number, 9))
	x := make([]float64, int(seconds*float64(rate)))
	for i := range x {
		x[i] = 1e-4 * r.NormFloat64()
	}
	for _, at := range bursts {
		for i := int(math.Ceil(at * float64(rate))); i < len(x); i++ {
			age := float64(i)/float64(rate) - at
			if age > 0.1 {
				break
			}
			x[i] += 0.5 * r.NormFloat64() * math.Exp(-age/0.012) * (1 - math.Exp(-age/0.0004))
		}
	}
	return x
}

func analyse(t *testing.T, rate int, channels ...[]float64) *Features {
	t.Helper()
	f, err := Analyse(audio.NewMemory(audio.Block(channels), rate))
	if err != nil {
		t.Fatal(err)
	}
	return f
}

// nearestEvent is the event nearest to a time and its distance.
func nearestEvent(f *Features, at float64) (e Event, off float64) {
	off = math.Inf(1)
	for _, x := range f.Events {
		if d := x.Time - at; math.Abs(d) < math.Abs(off) {
			e, off = x, d
		}
	}
	return e, off
}

// A clap's time must come out to half a millisecond at every usual rate: the
// constant lateness of threshold detectors must not be there.
func TestAnalyseTimesClaps(t *testing.T) {
	times := []float64{1.2345, 3.00017, 4.7503}
	for _, rate := range []int{8000, 16000, 22050, 32000, 44100, 48000, 96000} {
		f := analyse(t, rate, sketch(rate, 6, 1, times...))
		for _, at := range times {
			e, off := nearestEvent(f, at)
			if math.Abs(off) > 0.0005 {
				t.Errorf("%d hertz: clap at %g found %.2f ms off", rate, at, 1000*off)
			}
			if e.Spread < 0.7 || e.Decay > 0.1 || e.Rise > 0.03 || e.Level-e.Before < 25 || e.Level-e.After < 25 {
				t.Errorf("%d hertz: clap at %g described as %+v", rate, at, e)
			}
		}
		if len(f.Events) > 6 {
			t.Errorf("%d hertz: %d events, want 3 and a stray or two", rate, len(f.Events))
		}
		if math.Abs(f.Duration-6) > 0.001 || f.Rate != rate || f.Channels != 1 || f.Version != Version() {
			t.Errorf("%d hertz: %v s, rate %d, %d channels", rate, f.Duration, f.Rate, f.Channels)
		}
	}
}

// A slow note is found near its beginning, not where it is loudest.
func TestAnalyseSlowAttack(t *testing.T) {
	const rate = 44100
	for _, attack := range []float64{0.05, 0.1} {
		x := sketch(rate, 6, 2)
		for _, at := range []float64{1, 2.5, 4} {
			for i := int(at * rate); i < int((at+1)*rate); i++ {
				age := float64(i)/rate - at
				a := 0.2 * math.Min(1, age/attack) * math.Min(1, (1-age)/0.1)
				for h := 1.0; h < 7; h++ {
					x[i] += a / h * math.Sin(2*math.Pi*220*h*age)
				}
			}
		}
		f := analyse(t, rate, x)
		for _, at := range []float64{1, 2.5, 4} {
			if e, off := nearestEvent(f, at); math.Abs(off) > 0.015 || e.Rise < attack/2 {
				t.Errorf("attack %g: note at %g found %.1f ms off with a rise of %g", attack, at, 1000*off, e.Rise)
			}
		}
	}
}

// Channel faults of stereo recordings must not hide or move a clap.
func TestAnalyseChannelFaults(t *testing.T) {
	const rate = 48000
	x := sketch(rate, 4, 3, 2.0001)
	neg, zero := make([]float64, len(x)), make([]float64, len(x))
	for i, v := range x {
		neg[i] = -v
	}
	for name, ch := range map[string][][]float64{
		"mono": {x}, "dual": {x, x}, "left dead": {zero, x}, "right dead": {x, zero},
		"opposite": {x, neg}, "six": {zero, zero, x, zero, zero, zero},
	} {
		f := analyse(t, rate, ch...)
		if _, off := nearestEvent(f, 2.0001); math.Abs(off) > 0.0005 {
			t.Errorf("%s: clap %.2f ms off", name, 1000*off)
		}
		if f.Channels != len(ch) {
			t.Errorf("%s: %d channels", name, f.Channels)
		}
	}
}

func TestAnalyseOddInput(t *testing.T) {
	empty := analyse(t, 48000, nil)
	if empty.Duration != 0 || len(empty.Events) != 0 || empty.NoiseDB != -120 {
		t.Errorf("no frames: %+v", empty)
	}
	short := analyse(t, 48000, make([]float64, 100))
	if len(short.Events) != 0 {
		t.Errorf("100 frames: %+v", short)
	}
	if f := analyse(t, 48000, make([]float64, 96000)); len(f.Events) != 0 || f.LoudDB > -110 {
		t.Errorf("silence: %d events, loud %g", len(f.Events), f.LoudDB)
	}
	x := sketch(48000, 3, 4, 1.5)
	x[20000], x[40000], x[50000] = math.NaN(), math.Inf(1), math.Inf(-1)
	f := analyse(t, 48000, x)
	if _, off := nearestEvent(f, 1.5); math.Abs(off) > 0.0005 {
		t.Errorf("broken samples: clap %.2f ms off", 1000*off)
	}
	clipped := make([]float64, 48000)
	for i := range clipped {
		clipped[i] = math.Copysign(1, math.Sin(float64(i)/30))
	}
	if f := analyse(t, 48000, clipped); f.Clipped < 0.99 {
		t.Errorf("square wave: %g clipped", f.Clipped)
	}
	if _, err := Analyse(audio.NewMemory(audio.NewBlock(1, 10), 100)); err == nil {
		t.Error("100 hertz should be refused")
	}
	if _, err := Analyse(audio.NewMemory(audio.Block{}, 48000)); err == nil {
		t.Error("no channels should be refused")
	}
}

// failing gives some frames and then an error.
type failing struct{ left int }

var errBroken = errors.New("broken")

func (f *failing) Channels() int { return 1 }
func (f *failing) Rate() int     { return 48000 }
func (f *failing) Read(b audio.Block) (int, error) {
	if f.left == 0 {
		return 0, errBroken
	}
	f.left--
	return b.Frames(), nil
}

func TestAnalysePassesErrors(t *testing.T) {
	if _, err := Analyse(&failing{3}); !errors.Is(err, errBroken) {
		t.Errorf("got %v", err)
	}
	if _, err := MatchDevices(&failing{3}, audio.NewMemory(audio.NewBlock(1, 10), 48000)); !errors.Is(err, errBroken) {
		t.Errorf("first: got %v", err)
	}
	if _, err := MatchDevices(audio.NewMemory(audio.NewBlock(1, 10), 48000), &failing{0}); !errors.Is(err, errBroken) {
		t.Errorf("second: got %v", err)
	}
}

// trickle hands frames out in odd portions.
type trickle struct {
	src audio.Source
	n   int
}

func (s *trickle) Channels() int { return s.src.Channels() }
func (s *trickle) Rate() int     { return s.src.Rate() }
func (s *trickle) Read(b audio.Block) (int, error) {
	s.n = s.n*31%977 + 1
	return s.src.Read(b.Slice(0, min(b.Frames(), s.n)))
}

// The measurement may not depend on how the stream is cut, and must survive
// storage. (A trickling source breaks the letter of audio.Source, which fills
// its block; Analyse does not rely on it.)
func TestAnalyseIsStable(t *testing.T) {
	x := sketch(44100, 5, 5, 1, 1.7, 3.3)
	whole := analyse(t, 44100, x)
	cut, err := Analyse(&trickle{audio.NewMemory(audio.Block{x}, 44100), 7})
	if err != nil {
		t.Fatal(err)
	}
	if !reflect.DeepEqual(whole, cut) {
		t.Error("another block size gives other features")
	}
	var buf bytes.Buffer
	if err := gob.NewEncoder(&buf).Encode(whole); err != nil {
		t.Fatal(err)
	}
	var back Features
	if err := gob.NewDecoder(&buf).Decode(&back); err != nil || !reflect.DeepEqual(*whole, back) {
		t.Errorf("gob changes features: %v", err)
	}
	data, err := json.Marshal(whole)
	if err != nil {
		t.Fatal(err)
	}
	var again Features
	if err := json.Unmarshal(data, &again); err != nil || !reflect.DeepEqual(*whole, again) {
		t.Errorf("JSON changes features: %v", err)
	}
}

func TestLevelAt(t *testing.T) {
	const rate = 48000
	x := make([]float64, 2*rate)
	for i := rate; i < 2*rate; i++ {
		x[i] = 0.1 * math.Sin(2*math.Pi*1000*float64(i)/rate)
	}
	f := analyse(t, rate, x)
	// A sine of amplitude 0.1 has a mean square of -23.01 dBFS; the bands
	// overlap by about a decibel.
	if l := f.LevelAt(1.5); math.Abs(l+23) > 2.5 {
		t.Errorf("level of the sine is %g dB", l)
	}
	if l := f.LevelAt(0.5); l > -100 {
		t.Errorf("level of silence is %g dB", l)
	}
	if f.LevelAt(-1) != -120 || f.LevelAt(99) != -120 {
		t.Error("outside the file the level should be -120 dB")
	}
}

func BenchmarkAnalyse(b *testing.B) {
	x := sketch(48000, 60, 6, 10, 20, 30, 40)
	b.SetBytes(int64(len(x)))
	for b.Loop() {
		if _, err := Analyse(audio.NewMemory(audio.Block{x}, 48000)); err != nil && err != io.EOF {
			b.Fatal(err)
		}
	}
}

// BenchmarkFiveMinutes is what measuring a take of five minutes costs besides
// decoding: seconds of processor, how many times faster than real time, and
// bytes held while it runs.
func BenchmarkFiveMinutes(b *testing.B) {
	x := sketch(48000, 300, 6, 10, 20, 30, 40)
	src := audio.Block{x}
	var before, after runtime.MemStats
	runtime.GC()
	runtime.ReadMemStats(&before)
	for b.Loop() {
		if _, err := Analyse(audio.NewMemory(src, 48000)); err != nil {
			b.Fatal(err)
		}
	}
	runtime.ReadMemStats(&after)
	seconds := b.Elapsed().Seconds() / float64(b.N)
	b.ReportMetric(seconds, "s/take")
	b.ReportMetric(300/seconds, "xrealtime")
	// What was allocated in all bounds what was held at once.
	b.ReportMetric(float64(after.TotalAlloc-before.TotalAlloc)/float64(b.N)/1e6, "MB/take")
}

// BenchmarkHeldFiveMinutes is how much of the memory that listening to five minutes
// allocates lives at once, besides the sound itself.
func BenchmarkHeldFiveMinutes(b *testing.B) {
	src := audio.Block{sketch(48000, 300, 6, 10, 20, 30, 40)}
	defer debug.SetGCPercent(debug.SetGCPercent(2)) // what is dead goes at once
	var mem runtime.MemStats
	runtime.GC()
	runtime.ReadMemStats(&mem)
	before, most := mem.HeapAlloc, uint64(0)
	for b.Loop() {
		done := make(chan error)
		go func() {
			_, err := Analyse(audio.NewMemory(src, 48000))
			done <- err
		}()
		for look := time.NewTicker(time.Millisecond); ; {
			select {
			case err := <-done:
				look.Stop()
				if err != nil {
					b.Fatal(err)
				}
			case <-look.C:
				runtime.ReadMemStats(&mem)
				most = max(most, mem.HeapAlloc)
				continue
			}
			break
		}
	}
	b.ReportMetric(float64(most-before)/1e6, "MB/held")
}
