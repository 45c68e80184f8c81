package intake

import (
	"encoding/json"
	"math"
	"reflect"
	"slices"
	"testing"

	"ripieno/assemble/media"
	"ripieno/mix/audio"
)

// A gain moves every level by itself and nothing else.
func TestGainMovesLevels(t *testing.T) {
	x := instruments[3].play(6, -60)
	y := make([]float64, len(x))
	const gain = -12.0
	for i := range x {
		y[i] = x[i] * math.Pow(10, gain/20)
	}
	a, b := listen(t, x), listen(t, y)
	for _, c := range []struct {
		what string
		a, b float64
	}{
		{"loudness", a.LoudnessLUFS, b.LoudnessLUFS}, {"loud passages", a.LoudDB, b.LoudDB}, {"noise", a.NoiseDB,
			b.NoiseDB},
		{"peak", a.Channels[0].PeakDB, b.Channels[0].PeakDB}, {"effective value", a.Channels[0].RMSDB,
			b.Channels[0].RMSDB},
		{"hum", a.HumDB, b.HumDB},
	} {
		near(t, c.what, c.b-c.a, gain, 0.05)
	}
	near(t, "rest", b.RestSeconds, a.RestSeconds, 0)
	near(t, "prominence of hum", b.HumProminenceDB, a.HumProminenceDB, 0.01)
}

// Swapping the channels swaps what is said of them.
func TestChannelsAreEqual(t *testing.T) {
	x, y := scale(instruments[0].play(4, -60), 0.5), scale(instruments[4].play(4, -50), 2)
	n := min(len(x), len(y))
	a, b := listen(t, x[:n], y[:n]), listen(t, y[:n], x[:n])
	slices.Reverse(b.Channels)
	if !reflect.DeepEqual(a, b) {
		t.Errorf("\n%+v\n%+v", a, b)
	}
}

// The rate is no matter: the same sound at 44.1 and 48 kHz measures the same.
func TestRatesAgree(t *testing.T) {
	at := func(rate int) Sound {
		x := make([]float64, 6*rate)
		for i := range x {
			s := float64(i) / float64(rate)
			x[i] = 0.001*math.Sin(2*math.Pi*50*s) + 0.0003*math.Sin(2*math.Pi*150*s)
			if s > 3 {
				x[i] += 0.2 * math.Sin(2*math.Pi*600*s) * (1 + 0.5*math.Sin(2*math.Pi*3*s))
			}
		}
		s, err := Listen(audio.NewMemory(audio.Block{x}, rate))
		if err != nil {
			t.Fatal(err)
		}
		return s
	}
	want := at(48000)
	for _, rate := range []int{44100, 22050, 11025, 96000} {
		got := at(rate)
		// the weighting is a little off near half of a low rate
		near(t, "loudness", got.LoudnessLUFS, want.LoudnessLUFS, 0.2)
		near(t, "hum", got.HumDB, want.HumDB, 0.3)
		near(t, "noise", got.NoiseDB, want.NoiseDB, 0.1)
		if got.HumHz != 50 || got.HumProminenceDB < 25 {
			t.Errorf("%d Hz: %+v", rate, got)
		}
	}
}

// Whatever the facts, judging gives findings that can be printed, in order,
// and the same ones again.
func FuzzJudge(f *testing.F) {
	for _, facts := range []Facts{good(), {Take: "x", Expected: true}} {
		text, err := json.Marshal(facts)
		if err != nil {
			f.Fatal(err)
		}
		f.Add(text)
	}
	f.Add([]byte(`{"shape":-1,"files":[{"role":"video","info":{"Duration":1e300,"Video":{"W":1,"H":1,"FPSDen":1},"Audio":{"Rate":1}},"sound":{"channels":[]},"picture":{"frames":9},"sync":{"confidence":-5}}]}`))
	f.Fuzz(func(t *testing.T, data []byte) {
		var facts Facts
		if json.Unmarshal(data, &facts) != nil {
			return
		}
		for i := range facts.Files { // what media.Probe guarantees
			if v := facts.Files[i].Info.Video; v != nil && (v.W < 1 || v.H < 1 || v.W > media.MaxPixels ||
				v.H > media.MaxPixels || v.FPSDen < 1) {
				return
			}
		}
		found := Judge(facts)
		for i, x := range found {
			if !(x.Sure >= 0.5 && x.Sure <= 1) || x.What == "" || x.Level < OK || x.Level > Redo ||
				i > 0 && x.Level > found[i-1].Level {
				t.Fatalf("finding %d of %+v", i, found)
			}
		}
		if !reflect.DeepEqual(found, Judge(facts)) {
			t.Fatal("judging again gives something else")
		}
		if _, err := json.Marshal(found); err != nil {
			t.Fatal(err)
		}
	})
}
