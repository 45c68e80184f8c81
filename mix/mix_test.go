package mix

import (
	"math"
	"math/rand/v2"
	"testing"

	"ripieno/mix/audio"
	"ripieno/mix/audio/audiotest"
	"ripieno/mix/loudness"
	"ripieno/mix/room"
)

const rate = audio.Rate

// sine returns n samples of a tone at rate.
func sine(hz, amplitude float64, n int) []float64 {
	x := make([]float64, n)
	for i := range x {
		x[i] = amplitude * math.Sin(2*math.Pi*hz*float64(i)/rate)
	}
	return x
}

// pink returns this package's stream of pink noise.
func pink(seed uint64, amplitude float64, n int) []float64 {
	return audiotest.Pink(seed, 11, amplitude, n)
}

// tune returns seeded playing: notes with pauses between them and a little noise
// under all.
func tune(seed uint64, amplitude, hiss float64, n int) []float64 {
	rng := rand.New(rand.NewPCG(seed, 12))
	x := make([]float64, n)
	for i := range x {
		x[i] = hiss * rng.NormFloat64()
	}
	for at := 0; at < n; at += rate * 3 / 4 {
		hz := 110 * math.Pow(2, float64(rng.IntN(36))/12)
		for i := at; i < min(n, at+rate/2); i++ {
			t := float64(i-at) / rate
			env := math.Min(1, t*50) * math.Exp(-3*t)
			x[i] += amplitude * env * (math.Sin(2*math.Pi*hz*t) + 0.5*math.Sin(4*math.Pi*hz*t+1) +
				0.3*math.Sin(6*math.Pi*hz*t+2))
		}
	}
	return x
}

// at48 opens a block as a 48 kHz recording.
func at48(channels ...[]float64) func() (audio.Source, error) {
	return func() (audio.Source, error) { return audio.NewMemory(audio.Block(channels), rate), nil }
}

func premaster(t testing.TB, strips []Strip, o Options) audio.Block {
	t.Helper()
	src, err := PreMaster(strips, o)
	if err != nil {
		t.Fatal(err)
	}
	b, err := audio.ReadAll(src)
	if err != nil {
		t.Fatal(err)
	}
	return b
}

func rms(x []float64) float64 {
	var sum float64
	for _, v := range x {
		sum += v * v
	}
	return math.Sqrt(sum / float64(len(x)))
}

func db(gain float64) float64 { return 20 * math.Log10(gain) }

// band returns a mixture of every kind of strip the mix knows.
func band(n int) []Strip {
	stereo := func() (audio.Source, error) {
		return audio.NewMemory(audio.Block{tune(3, 0.2, 1e-4, n), tune(4, 0.2, 1e-4, n)}, 44100), nil
	}
	return []Strip{
		{Name: "flute", Section: "winds", Open: at48(tune(1, 0.3, 1e-4, n)), Offset: 0.1, Drift: 37, Pan: -0.5},
		{Name: "horn", Section: "brass", Open: at48(tune(2, 0.5, 1e-4, n)), Offset: -0.3001, Gain: -3, Pan: 0.7,
			Compress: &Compressor{Threshold: -20, Ratio: 3}, From: 20000, To: 90000},
		{Name: "harp", Section: "strings", Open: stereo, Offset: 0.05, Drift: -80, Narrow: 0.4, Pan: 0.1,
			EQ: []Band{{Bell, 800, 4, 1}, {HighShelf, 6000, -3, 0}}, Mutes: []Span{{40000, 50000}}},
		{Name: "bass", Section: "strings", Open: at48(tune(5, 0.4, 1e-4, n), tune(5, 0.4, 1e-4, n)), Repair: Fold,
			Send:  -6,
			Rides: []Ride{{Span: Span{30000, 60000}, Gain: 5}}},
		{Name: "silent", Open: at48(tune(6, 1, 0, n)), Mute: true},
	}
}

func TestBusIsTheSameForAnyBlockSizeAndWorkers(t *testing.T) {
	o := Options{Start: 1000, Length: 30000, Room: 0.2, FadeIn: 500, FadeOut: 5000}
	var first audio.Block
	for _, workers := range []int{1, 2, 7} {
		o.Workers = workers
		got := premaster(t, band(40000), o)
		if first == nil {
			first = got
		}
		for c := range got {
			for i := range got[c] {
				if got[c][i] != first[c][i] {
					t.Fatalf("%d workers: channel %d sample %d is %v, not %v", workers, c, i, got[c][i], first[c][i])
				}
			}
		}
	}
	o.Length = 12000
	audiotest.Source(t, func() audio.Source {
		src, err := PreMaster(band(20000), o)
		if err != nil {
			t.Fatal(err)
		}
		return src
	})
}

// Stems add up to the pre-master, room included, to the rounding of doubles,
// with either kind of room.
func TestStemsAddUp(t *testing.T) {
	hall, err := room.NewImpulse(audio.NewMemory(audio.Block{tune(9, 1, 0.1, 9000), tune(8, 1, 0.1, 9000)}, 44100))
	if err != nil {
		t.Fatal(err)
	}
	stemsAddUp(t, Options{Length: 60000, Room: 0.3})
	stemsAddUp(t, Options{Start: 10000, Length: 60000, Room: 0.3, Impulse: hall})
}

func stemsAddUp(t *testing.T, o Options) {
	t.Helper()
	strips := band(96000)
	whole := premaster(t, strips, o)
	sum := audio.NewBlock(2, int(o.Length))
	for i := range strips {
		stem := premaster(t, strips[i:i+1], o)
		for c := range sum {
			accumulate(sum[c], stem[c], 1)
		}
	}
	if rms(whole[0]) < 0.01 {
		t.Fatal("the mix is silent")
	}
	for c := range sum {
		for i := range sum[c] {
			if d := math.Abs(sum[c][i] - whole[c][i]); d > 1e-13 {
				t.Fatalf("channel %d sample %d: stems give %v, the mix %v", c, i, sum[c][i], whole[c][i])
			}
		}
	}
}

// A strip without drift and filters is the recording times gain and pan, at
// its place, to the last bits.
func TestGainAndPlaceAreExact(t *testing.T) {
	x := tune(1, 0.5, 1e-3, 30000)
	strip := Strip{Name: "a", Open: at48(x), Offset: 0.25, Gain: -6, Pan: -0.5, LowCut: -1}
	b := premaster(t, []Strip{strip}, Options{Start: 6000, Length: 20000})
	left, right := math.Cos(math.Pi/8)*math.Pow(10, -0.3), math.Sin(math.Pi/8)*math.Pow(10, -0.3)
	for i := range 6000 {
		if b[0][i] != 0 || b[1][i] != 0 {
			t.Fatalf("sample %d before the recording is %v", i, b[0][i])
		}
	}
	for i := 6000 + int(DefaultFade); i < 20000; i++ {
		want := x[i-6000]
		if math.Abs(b[0][i]-want*left) > 1e-15 || math.Abs(b[1][i]-want*right) > 1e-15 {
			t.Fatalf("sample %d: %v %v, want %v %v", i, b[0][i], b[1][i], want*left, want*right)
		}
	}
}

// Trims and mutes: exactly silent outside, untouched inside, a cosine of 10 ms
// between, and no step larger than the fade allows.
func TestTrimsAndMutes(t *testing.T) {
	ones := make([]float64, 100000)
	for i := range ones {
		ones[i] = 1
	}
	strip := Strip{Name: "dc", Open: at48(ones), LowCut: -1, Pan: -1, Offset: -0.5, From: 10000, To: 40000,
		Mutes: []Span{{20000, 25000}}}
	x := premaster(t, []Strip{strip}, Options{Start: 0, Length: 50000})[0]
	for i, v := range x {
		var want float64
		switch fade := int(DefaultFade); {
		case i < 10000, i >= 40000, i >= 20000 && i < 25000:
			want = 0
		case i < 10000+fade:
			want = fadeGain(audio.Frames(i-10000), DefaultFade)
		case i >= 40000-fade:
			want = 1 - fadeGain(audio.Frames(i-40000+fade), DefaultFade)
		case i >= 20000-fade && i < 20000:
			want = 1 - fadeGain(audio.Frames(i-20000+fade), DefaultFade)
		case i >= 25000 && i < 25000+fade:
			want = fadeGain(audio.Frames(i-25000), DefaultFade)
		default:
			want = 1
		}
		if math.Abs(v-want) > 1e-15 {
			t.Fatalf("sample %d is %v, want %v", i, v, want)
		}
		if i > 0 && math.Abs(v-x[i-1]) > 0.004 {
			t.Fatalf("a step of %v at sample %d", v-x[i-1], i)
		}
	}
}

// A recording that begins and ends in the middle of a tone is faded there.
func TestRecordingEdgesDoNotClick(t *testing.T) {
	x := make([]float64, 20000)
	for i := range x {
		x[i] = 0.5
	}
	strip := Strip{Name: "dc", Open: at48(x), LowCut: -1, Pan: -1, Offset: 0.1}
	y := premaster(t, []Strip{strip}, Options{Length: 40000})[0]
	for i := 1; i < len(y); i++ {
		if math.Abs(y[i]-y[i-1]) > 0.002 {
			t.Fatalf("a step of %v at sample %d", y[i]-y[i-1], i)
		}
	}
	if y[15000] != 0.5 {
		t.Errorf("in the middle %v", y[15000])
	}
}

// Direct current is gone by default, and does not thump when the programme
// starts in the middle of the recording.
func TestDirectCurrentIsRemoved(t *testing.T) {
	x := sine(440, 0.1, 5*rate)
	for i := range x {
		x[i] += 0.5
	}
	y := premaster(t, []Strip{{Name: "a", Open: at48(x), Pan: -1}}, Options{Start: rate, Length: rate})[0]
	var mean float64
	for _, v := range y {
		mean += v / float64(len(y))
		if math.Abs(v) > 0.11 {
			t.Fatalf("a sample of %v", v)
		}
	}
	if math.Abs(mean) > 1e-4 {
		t.Errorf("mean %v", mean)
	}
	if got := db(rms(y) / (0.1 / math.Sqrt2)); math.Abs(got) > 0.01 {
		t.Errorf("the tone changed by %.3f dB", got)
	}
}

// Delay and Offset move a strip alike.
func TestDelay(t *testing.T) {
	x := tune(1, 0.5, 1e-3, 30000)
	a := premaster(t, []Strip{{Name: "a", Open: at48(x), Offset: 0.1234}}, Options{Length: 20000})
	b := premaster(t, []Strip{{Name: "a", Open: at48(x), Offset: 0.2, Delay: -0.0766}}, Options{Length: 20000})
	for i := range a[0] {
		if math.Abs(a[0][i]-b[0][i]) > 1e-9 {
			t.Fatalf("sample %d: %v and %v", i, a[0][i], b[0][i])
		}
	}
}

func TestRide(t *testing.T) {
	ones := make([]float64, 200000)
	for i := range ones {
		ones[i] = 0.1
	}
	strip := Strip{Name: "solo", Open: at48(ones), LowCut: -1, Pan: -1, Rides: []Ride{{Span{60000, 90000}, 6, 12000}}}
	y := premaster(t, []Strip{strip}, Options{Length: 150000})[0]
	for i, want := range map[int]float64{40000: 0, 54000: 3, 60001: 6, 89999: 6, 96000: 3, 110000: 0} {
		if got := db(y[i] / 0.1); math.Abs(got-want) > 0.001 {
			t.Errorf("at %d the gain is %.4f dB, want %v", i, got, want)
		}
	}
}

// The room answers at the level Room says: with unrelated steady noise on both
// sides, Room 1 adds as much power as is there.
func TestRoomLevel(t *testing.T) {
	strip := Strip{Name: "noise", Open: at48(pink(1, 0.05, 8*rate), pink(2, 0.05, 8*rate)), LowCut: 300}
	o := Options{Start: 4 * rate, Length: 3 * rate}
	dry := premaster(t, []Strip{strip}, o)
	// Start at 0, so that the room is full when it is measured.
	o.Start, o.Length, o.Room, o.Hall = 0, 7*rate, 1, room.Hall{High: 1}
	wet := premaster(t, []Strip{strip}, o)
	ratio := rms(wet[0][4*rate:]) / rms(dry[0])
	if math.Abs(db(ratio)-3.01) > 1 {
		t.Errorf("Room 1 raises the level by %.2f dB, want about 3", db(ratio))
	}
}

func meanLoudness(t *testing.T, b audio.Block) float64 {
	t.Helper()
	m := loudness.NewMeter(len(b), rate)
	m.Write(b)
	return float64(m.Integrated())
}
