package soundtrack

import (
	"crypto/sha256"
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"testing"

	"ripieno/assemble/ffmpeg/ffmpegtest"
	"ripieno/assemble/graph"
	"ripieno/assemble/media"
	"ripieno/mix"
	"ripieno/mix/audio"
)

// joinsAt is a length, in samples, with two joins and a last frame that is not full.
const joinsAt = (2*pieceFrames+pieceFrames*2/3)*graph.AACFrame + 333

// sounds are what is listened to across joins.
var sounds = map[string]func() audio.Block{
	"sines": func() audio.Block {
		return fill(func(n int) (float64, float64) {
			t := float64(n) / audio.Rate
			return 0.4*math.Sin(2*math.Pi*441*t) + 0.2*math.Sin(2*math.Pi*3217.3*t), 0.5 * math.Sin(2*math.Pi*97.1*t)
		})
	},
	// Notes with harmonics that begin and die away, one of them a hundredth of a second
	// before each join, over a little noise: windows change from long to short there.
	"music": func() audio.Block {
		rng := rand.New(rand.NewPCG(5, 1))
		at := []int{(pieceFrames-1)*graph.AACFrame - 480, (2*pieceFrames-1)*graph.AACFrame - 480}
		return fill(func(n int) (float64, float64) {
			noise, left, right := 0.002*rng.NormFloat64(), 0.0, 0.0
			for k, step := range []int{11000, 17000, 23500} {
				since := float64((n+step/2)%step) / audio.Rate
				f := 130.8 * math.Pow(2, float64((n/step*7+5*k)%24)/12)
				for h := 1.0; h <= 8; h++ {
					v := 0.1 / h * math.Exp(-4*h*since) * math.Sin(2*math.Pi*f*h*since)
					left, right = left+v, right+v*float64(k)/2
				}
			}
			for _, a := range at {
				if since := float64(n-a) / audio.Rate; since >= 0 && since < 0.5 {
					v := 0.4 * math.Exp(-30*since) * math.Sin(2*math.Pi*1900*since)
					left, right = left+v, right-v/2
				}
			}
			return left + noise, right + noise
		})
	},
}

// fill returns a stereo sound that is joinsAt long.
func fill(at func(n int) (left, right float64)) audio.Block {
	b := audio.NewBlock(2, joinsAt)
	for n := range joinsAt {
		b[0][n], b[1][n] = at(n)
	}
	return b
}

// encoded encodes a sound with a number of workers, whole with 0, and returns what a
// decoder gives, the file's bytes and the meter's words.
func encoded(t *testing.T, wav string, workers int) (audio.Block, []byte, mix.Measured) {
	t.Helper()
	b := bus{tool: ffmpegtest.Tool(t), workers: workers}
	m4a := filepath.Join(t.TempDir(), "film.m4a")
	var m mix.Measured
	var err error
	if workers > 0 {
		m, err = b.encode(t.Context(), wav, m4a, joinsAt)
	} else if err = encodeWhole(t.Context(), b.tool, wav, m4a); err == nil {
		m, err = measureFile(t.Context(), b.tool, m4a)
	}
	data, err2 := os.ReadFile(m4a)
	dst := m4a + ".wav"
	err3 := media.DecodeAudio(t.Context(), b.tool, media.Info{Path: m4a, Own: true,
		Audio: &media.Audio{Rate: audio.Rate, Channels: 2}}, dst)
	if err := errors.Join(err, err2, err3); err != nil {
		t.Fatal(err)
	}
	src, err := media.OpenWAV(dst)
	if err != nil {
		t.Fatal(err)
	}
	defer src.Close()
	all, err := audio.ReadAll(src)
	if err != nil {
		t.Fatal(err)
	}
	if left, _ := filepath.Glob(m4a + ".*aac"); len(left) > 0 {
		t.Errorf("%q are left", left)
	}
	return all, data, m
}

// faults returns the energy of what a decoder adds to a sound between two samples, all
// of it and what is sharp in it: the second difference, which a click is seen in
// before all else. peak is the sharpest sample.
func faults(got, want audio.Block, from, to int) (noise, sharp, peak float64) {
	for c := range want {
		d := func(n int) float64 { return got[c][n] - want[c][n] }
		for n := max(1, from); n < min(to, len(want[c])-1); n++ {
			e, s := d(n), d(n-1)-2*d(n)+d(n+1)
			noise, sharp, peak = noise+e*e, sharp+s*s, max(peak, math.Abs(s))
		}
	}
	return noise, sharp, peak
}

// TestJoinsOfEncodedPiecesAreNotHeard encodes sounds in pieces and whole: the lengths
// are the same to the sample, and what the encoder adds to the sound around the joins
// is as little as what one encoder adds there.
func TestJoinsOfEncodedPiecesAreNotHeard(t *testing.T) {
	t.Parallel()
	for name, make := range sounds {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			want, wav := make(), filepath.Join(t.TempDir(), "master.wav")
			if _, err := media.CreateWAV(t.Context(), wav, audio.NewMemory(want, audio.Rate),
				media.PCM24); err != nil {
				t.Fatal(err)
			}
			whole, _, mw := encoded(t, wav, 0)
			pieces, bytes, mp := encoded(t, wav, 1)
			if _, others, _ := encoded(t, wav, 8); sha256.Sum256(others) != sha256.Sum256(bytes) {
				t.Error("with 8 workers other bytes come out than with 1")
			}
			// A decoder fills the last frame, which is the same for both.
			if len(pieces[0]) != len(whole[0]) || len(pieces[0]) < joinsAt ||
				len(pieces[0]) >= joinsAt+2*graph.AACFrame {
				t.Errorf("%d samples instead of %d (and %d)", len(pieces[0]), len(whole[0]), joinsAt)
			}
			// An encoder's noise is 10 dB up and down from sound to sound; a join that is
			// heard adds as much as a window of the sound itself.
			for _, edge := range encodedPieces(joinsAt)[1:3] {
				for _, width := range []int{1, 8} { // frames to each side
					at := (edge - 1) * graph.AACFrame
					from, to := at-width*graph.AACFrame, at+width*graph.AACFrame
					n1, s1, p1 := faults(whole, want, from, to)
					n2, s2, p2 := faults(pieces, want, from, to)
					db := func(a, b float64) float64 { return 10 * math.Log10(b/a) }
					says := fmt.Sprintf("%d frames round frame %d: noise %+.2f dB, sharp %+.2f dB, peak %+.2f dB",
						width, edge,
						db(n1, n2), db(s1, s2), 2*db(p1, p2))
					t.Log(says)
					if db(n1, n2) > 1.5 || db(s1, s2) > 1.5 || 2*db(p1, p2) > 4 {
						t.Error(says)
					}
				}
			}
			if d := float64(mp.Integrated - mw.Integrated); math.Abs(d) > 0.02 {
				t.Errorf("the loudness is %+.3f LU off", d)
			}
			if d := float64(mp.TruePeak - mw.TruePeak); math.Abs(d) > 0.2 {
				t.Errorf("the true peak is %+.3f dB off", d)
			}
		})
	}
}

// TestPiecesOfEncoding: pieces lie one behind the other, none is short, and the frames
// hold all samples.
func TestPiecesOfEncoding(t *testing.T) {
	t.Parallel()
	for _, n := range []audio.Frames{0, 1, 1023, 1024, 1025, pieceFrames * 1024, pieceFrames*1536 - 1025,
		pieceFrames * 1536,
		joinsAt, 3600 * audio.Rate} {
		edges := encodedPieces(n)
		end := edges[len(edges)-1]
		if edges[0] != 0 || audio.Frames(end-1)*graph.AACFrame < n || audio.Frames(end-2)*graph.AACFrame >= max(1, n) {
			t.Errorf("%d samples are held by frames %v", n, edges)
		}
		for i := 1; i < len(edges); i++ {
			if long := edges[i] - edges[i-1]; len(edges) > 2 && (long < pieceFrames/2 || long > pieceFrames*3/2) {
				t.Errorf("%d samples: a piece of %d frames", n, long)
			}
		}
	}
	if _, err := graph.WrapAAC("a", 10, 8*graph.AACFrame, "b"); err == nil {
		t.Error("a frame more than there are samples for is no error")
	}
}
