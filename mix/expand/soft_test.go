package expand

import (
	"math"
	"testing"

	"ripieno/mix/audio"
	"ripieno/mix/denoise"
)

// A note that rises out of the noise is open before it sounds: the gain moves by no more than
// 40 dB a second from the moment in which the note stands 50 dB under its height.
func TestSoftBeginningsDoNotPump(t *testing.T) {
	const begins, rises = 8.0, 0.5
	for _, noise := range []float64{-60, -44, -36, -32, -28} {
		x := hiss(21, 14, noise)
		for i := int(begins * rate); i < 12*rate; i++ {
			at := float64(i)/rate - begins
			x[i] += 0.1 * math.Min(1, at/rises) * math.Sin(2*math.Pi*130*at)
		}
		known, err := denoise.Listen(audio.NewMemory(audio.Block{x}, rate), int64((begins-0.3)*rate))
		if err != nil {
			t.Fatal(err)
		}
		playing, err := Find(audio.NewMemory(audio.Block{x}, rate), known, Piece{From: begins, To: 12})
		if err != nil || len(playing.Phrases) == 0 {
			t.Fatalf("noise %v: %v, %v", noise, playing.Phrases, err)
		}
		var c Curve
		for _, p := range playing.Phrases {
			c = append(c, Span{From: audio.FramesAt(p.From), To: audio.FramesAt(p.To)})
		}
		// 50 dB under its height, which a rise in a straight line reaches at once.
		heard := begins + rises*math.Pow(10, -50.0/20)
		for at := heard; at < 11.5; at += 0.005 {
			if rate := math.Abs(c.DB(audio.FramesAt(at+0.005))-c.DB(audio.FramesAt(at))) / 0.005; rate > 40 {
				t.Errorf("noise %v: %.0f dB a second, %.0f ms into the note; it opens at %.3f s", noise, rate,
					1000*(at-begins), playing.Phrases[0].From)
				break
			}
		}
	}
}
