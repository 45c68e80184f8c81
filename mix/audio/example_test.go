package audio_test

import (
	"errors"
	"fmt"
	"io"

	"ripieno/mix/audio"
)

// Decibels are 20 times the logarithm of an amplitude.
func ExampleDecibelsOf() {
	fmt.Printf("%.2f dB\n", audio.DecibelsOf(0.5))
	fmt.Printf("%.3f\n", audio.Decibels(-6).Gain())
	fmt.Println(audio.DecibelsOf(0))
	// Output:
	// -6.02 dB
	// 0.501
	// -Inf
}

// Guide time in the mix is a whole number of samples.
func ExampleFramesAt() {
	at := audio.FramesAt(11.48201)
	fmt.Println(at, at.Seconds())
	// Output:
	// 551136 11.482
}

// A recorder whose clock is 40 ppm slow against the guide: in an hour of its
// file, the guide runs 0.144 s further.
func ExamplePPM() {
	fmt.Printf("%.3f s\n", 3600*audio.PPM(40).Ratio())
	// Output:
	// 3600.144 s
}

// A source is read in blocks of any size until io.EOF.
func ExampleSource() {
	var src audio.Source = audio.NewMemory(audio.Block{{0.1, 0.2, 0.3, 0.4, 0.5}}, audio.Rate)
	dst := audio.NewBlock(src.Channels(), 2)
	for {
		n, err := src.Read(dst)
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			fmt.Println(err)
			return
		}
		fmt.Println(dst.Slice(0, n)[0])
	}
	// Output:
	// [0.1 0.2]
	// [0.3 0.4]
	// [0.5]
}
