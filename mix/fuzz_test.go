package mix

import (
	"math"
	"testing"

	"ripieno/mix/audio"
)

// FuzzPreMaster looks for settings that are accepted and then make the bus
// panic, deliver something that is not a number, or the wrong length.
func FuzzPreMaster(f *testing.F) {
	f.Add(48000, 1, 0.0, 0.0, int64(0), int64(0), 0.0, 0.0, 0.0, int64(0), int64(5000), 0.2)
	f.Add(44100, 2, -0.05, 80.0, int64(700), int64(2500), -6.0, 0.4, 0.5, int64(600), int64(3000), 0.0)
	f.Add(8000, 3, 0.02, -450.0, int64(-9), int64(-1), 90.0, -3.0, -1.0, int64(-4000), int64(9000), 1.0)
	f.Add(192000, 6, 1e-7, 1e-3, int64(5), int64(6), math.Inf(-1), 1.0, 1.0, int64(1)<<40, int64(10), 4.0)
	x := tune(1, 0.5, 1e-3, 6000)
	x[100], x[101] = math.NaN(), math.Inf(1)
	f.Fuzz(func(t *testing.T, hz, channels int, offset, drift float64, from, to int64, gain, place, narrow float64,
		start, length int64, amount float64) {
		if channels < 1 || channels > 8 || length > 20000 {
			return
		}
		b := make(audio.Block, channels)
		for c := range b {
			b[c] = x[c*10 : 5000+c*10]
		}
		s := Strip{
			Name: "a", Open: func() (audio.Source, error) { return audio.NewMemory(b, hz), nil },
			Offset: offset, Drift: audio.PPM(drift), From: audio.Frames(from), To: audio.Frames(to),
			Gain: audio.Decibels(gain), Pan: place, Narrow: narrow, LowCut: place * 100,
			Mutes: []Span{{audio.Frames(from) + 100, audio.Frames(to)}},
			Rides: []Ride{{Span: Span{audio.Frames(to), audio.Frames(from)}, Gain: 3}},
		}
		src, err := PreMaster([]Strip{s},
			Options{Start: audio.Frames(start), Length: audio.Frames(length), Room: amount})
		if err != nil {
			return
		}
		got, err := audio.ReadAll(src)
		if err != nil {
			return
		}
		if int64(got.Frames()) != length {
			t.Fatalf("%d frames, want %d", got.Frames(), length)
		}
		most := 1e3 * math.Pow(10, math.Max(0, gain)/20) * (1 + amount)
		for c := range got {
			for i, v := range got[c] {
				if !(math.Abs(v) <= most) {
					t.Fatalf("channel %d frame %d is %v", c, i, v)
				}
			}
		}
	})
}
