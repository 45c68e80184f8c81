package mix_test

import (
	"fmt"
	"math"

	"ripieno/mix"
	"ripieno/mix/audio"
)

// tone returns a way to open a sine of so many hertz and seconds.
func tone(hz, level, seconds float64) func() (audio.Source, error) {
	b := audio.NewBlock(1, int(audio.FramesAt(seconds)))
	for i := range b[0] {
		b[0][i] = level * math.Sin(2*math.Pi*hz*float64(i)/audio.Rate)
	}
	return func() (audio.Source, error) { return audio.NewMemory(b, audio.Rate), nil }
}

// Two takes, each with its own offset, clock and place, are mixed in a room
// and mastered to -16 LUFS under true peaks of -1 dBTP.
func ExamplePreMaster() {
	strips := []mix.Strip{
		{Name: "flute", Open: tone(880, 0.1, 10), Offset: 0.25, Pan: -0.4},
		{Name: "cello", Open: tone(110, 0.1, 10), Offset: -1.5, Drift: 35, Pan: 0.4, Gain: -2},
	}
	open := func() (audio.Source, error) {
		return mix.PreMaster(strips, mix.Options{Length: 8 * audio.Rate, Room: 0.1, FadeOut: audio.Rate})
	}
	programme, report, err := mix.Master(open, -16, -1)
	if err != nil {
		fmt.Println(err)
		return
	}
	b, err := audio.ReadAll(mix.Dither(programme, 24, 1))
	fmt.Printf("%d frames at %.1f LUFS, %v\n", b.Frames(), float64(report.After.Integrated), err)
	// Output: 384000 frames at -16.0 LUFS, <nil>
}

// Balance brings takes to one loudness: the soft recording is lifted, the loud
// one lowered, and the section of the cello moved by its own gain.
func ExampleBalance() {
	strips := []mix.Strip{
		{Name: "flute", Section: "winds", Open: tone(880, 0.02, 3)},
		{Name: "cello", Section: "strings", Open: tone(220, 0.2, 3)},
	}
	var analyses []mix.Analysis
	for _, s := range strips {
		a, err := mix.AnalyseStrip(s, mix.Span{To: 3 * audio.Rate})
		if err != nil {
			fmt.Println(err)
			return
		}
		analyses = append(analyses, a)
	}
	gains := mix.Balance(strips, analyses, map[string]audio.Decibels{"strings": -1.5})
	for i, s := range strips {
		fmt.Printf("%s: recorded at %.1f LUFS, gain %+.1f dB\n", s.Name, float64(analyses[i].Integrated),
			float64(gains[i]))
	}
	// Output:
	// flute: recorded at -37.2 LUFS, gain +7.2 dB
	// cello: recorded at -17.9 LUFS, gain -13.6 dB
}

// A high-pass leaves every note of the part, and takes away what is below.
func ExampleLowCutFor() {
	for _, part := range []string{"Double bass", "Viola", "Flute 2"} {
		fmt.Printf("%s: %.0f Hz\n", part, mix.LowCutFor(part))
	}
	// Output:
	// Double bass: 21 Hz
	// Viola: 87 Hz
	// Flute 2: 120 Hz
}

// Measure says how loud a programme is. A sine of 997 Hz at full scale in one
// channel has -3.01 LUFS (ITU-R BS.1770); at a tenth of that, 20 dB less.
func ExampleMeasure() {
	mono, _ := tone(997, 0.1, 4)()
	m, err := mix.Measure(mono)
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Printf("%.1f LUFS, true peak %.1f dBTP\n", float64(m.Integrated), float64(m.TruePeak))
	// Output:
	// -23.0 LUFS, true peak -20.0 dBTP
}
