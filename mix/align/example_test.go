package align_test

import (
	"fmt"
	"math"
	"math/rand/v2"

	"ripieno/mix/align"
	"ripieno/mix/audio"
	"ripieno/mix/tempo"
)

// notes returns a mono recording of struck tones that begin at some seconds.
func notes(seconds float64, at ...float64) audio.Block {
	b := audio.NewBlock(1, int(audio.FramesAt(seconds)))
	for n, t := range at {
		hz := 220 * math.Pow(2, float64(n%12)/12)
		for i, from := 0, int(audio.FramesAt(t)); i < audio.Rate/2 && from+i < len(b[0]); i++ {
			s := float64(i) / audio.Rate
			b[0][from+i] += 0.3 * math.Exp(-8*s) * math.Sin(2*math.Pi*hz*s)
		}
	}
	return b
}

// The camera of a player runs, and 2.5 s later the microphone as well: the
// microphone's time zero is 2.5 s on the camera's time line.
func ExampleMatchDevices() {
	r := rand.New(rand.NewPCG(1, 2))
	var at []float64
	for t := 3.0; t < 40; t += 0.2 + 0.4*r.Float64() {
		at = append(at, t)
	}
	camera := notes(42, at...)
	microphone := camera.Slice(int(audio.FramesAt(2.5)), camera.Frames())
	m, err := align.MatchDevices(audio.NewMemory(camera, audio.Rate), audio.NewMemory(microphone, audio.Rate))
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Printf("offset %.3f s, sure: %v\n", m.OffsetSeconds, m.Sure())
	// Output:
	// offset 2.500 s, sure: true
}

// A player claps on the cue and plays on the beats. Their recording began
// 1.75 s before the guide, so its offset is -1.75 s.
func ExamplePlace() {
	four, _ := tempo.ParseMeter("4/4")
	m, err := tempo.New(tempo.Spec{
		CountIn:  tempo.CountIn{Measures: 4},
		Measures: 16,
		Changes:  []tempo.Change{{Measure: 1, Meter: four, BPM: 100}},
	})
	if err != nil {
		fmt.Println(err)
		return
	}
	const began = -1.75 // guide time at the file's time zero
	at := []float64{m.Cue() - began}
	for b := range m.Beats() {
		if !b.CountIn {
			at = append(at, b.Seconds-began)
		}
	}
	f, err := align.Analyse(audio.NewMemory(notes(m.End()-began+1, at...), audio.Rate))
	if err != nil {
		fmt.Println(err)
		return
	}
	p := align.Place(m, []align.Recording{{Name: "oboe/audio", Take: "oboe", Role: "audio", Features: f}}, nil)[0]
	fmt.Printf("offset %.2f s by %s, sure: %v\n", p.Offset, p.Method, p.Sure)
	// Output:
	// offset -1.75 s by cue+playing, sure: true
}

// What the user fixed wins over whatever is heard.
func ExamplePlace_fixed() {
	four, _ := tempo.ParseMeter("4/4")
	m, err := tempo.New(tempo.Spec{
		CountIn:  tempo.CountIn{Measures: 4}, // the cue is in measure 3, at 4.8 s
		Measures: 16,
		Changes:  []tempo.Change{{Measure: 1, Meter: four, BPM: 100}},
	})
	if err != nil {
		fmt.Println(err)
		return
	}
	f, err := align.Analyse(audio.NewMemory(notes(30), audio.Rate)) // silence
	if err != nil {
		fmt.Println(err)
		return
	}
	clap := 6.3 // seconds of the file
	p := align.Place(m, []align.Recording{{Name: "viola/video", Take: "viola", Role: "video", Features: f,
		CueAt: &clap}}, nil)[0]
	fmt.Printf("offset %.2f s by %s, sure: %v\n", p.Offset, p.Method, p.Sure)
	// Output:
	// offset -1.50 s by cue given, sure: true
}
