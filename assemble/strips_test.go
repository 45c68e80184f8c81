package assemble

import (
	"fmt"
	"math"
	"path/filepath"
	"strings"
	"testing"

	"ripieno/assemble/media"
	"ripieno/mix/audio"
)

// toneAt returns the test tone at a time, in seconds.
func toneAt(hz, t float64) float64 { return 0.1 * math.Sin(2*math.Pi*hz*t) }

// toneTake returns eight seconds of a tone from guide time 0 on.
func toneTake(hz float64) []float64 {
	x := make([]float64, 8*audio.Rate)
	for i := range x {
		x[i] = toneAt(hz, float64(i)/audio.Rate)
	}
	return x
}

// stemsOf mixes takes of tones as they are, dry, and reads their stems.
func stemsOf(t *testing.T, law, takes string) (map[string]audio.Block, MixResult) {
	t.Helper()
	dir := t.TempDir()
	writeWAV(t, filepath.Join(dir, "in/tone.wav"), audio.Block{toneTake(1000)}, audio.Rate, media.Float32)
	writeWAV(t, filepath.Join(dir, "in/two.wav"), audio.Block{toneTake(1000), toneTake(700)}, audio.Rate, media.Float32)
	stage := ""
	if strings.Contains(takes, "winds") {
		stage = ", stage: [{section: winds, from: -60, to: -20}]"
	}
	more := "takes:\n" + takes + fmt.Sprintf(`mix: {balance: manual, pan_law: %s, fade_in: 0.5, fade_out: 1, solo_lift: 3%s}
shots: [{from: m2, to: m3, show: solo, take: solo}]`, law, stage)
	r := mixSound(t, dir, strings.ReplaceAll(more, "TONE", "audio: {file: in/tone.wav, offset: 0}, low_cut: none"), 2,
		MixOptions{Stems: true})
	stems := map[string]audio.Block{}
	for _, s := range r.Stems {
		if s.Take != "" {
			stems[s.Take] = readSound(t, s.File)
		}
	}
	return stems, r
}

// programmeGain returns the gain of the mix's own fades at a guide frame, half a
// period of a cosine from 1 s to 1.5 s and from 6 s to 7 s, and of the fades of
// 10 ms that every strip has where the film begins and ends.
func programmeGain(i int) float64 {
	if i < soundFrom || i >= soundTo {
		return 0
	}
	return rising(i-soundFrom, 24000) * rising(i-soundFrom, 480) * rising(soundTo-1-i, 48000) * rising(soundTo-1-i, 480)
}

// rising returns the gain of frame k of a fade of n frames; what is beyond its ends
// is 0 or 1. Read backwards it is the fade out.
func rising(k, n int) float64 {
	return 0.5 - 0.5*math.Cos(math.Pi*min(1, max(0, (float64(k)+0.5)/float64(n))))
}

// near compares every sample of a stem's side with what it must be.
func near(t *testing.T, what string, got []float64, want func(i int) float64) {
	t.Helper()
	if len(got) != soundTo {
		t.Fatalf("%s: %d samples", what, len(got))
	}
	for i, v := range got {
		if w := want(i); math.Abs(v-w) > 2e-8 {
			t.Errorf("%s: sample %d is %.9f, want %.9f", what, i, v, w)
			return
		}
	}
}

// What the manifest says of a strip is in the samples of its stem: place under
// each law, width, delay by a part of a sample, trim and mutes with their
// fades, the lift of a soloist, the fades of the mix. Laws are those of the
// table in mix/pan's tests; fades are 10 ms along a cosine.
func TestStripsSoundAsWritten(t *testing.T) {
	t.Parallel()
	findTool(t)
	stems, r := stemsOf(t, "power", `  - {name: plain, pan: -100, TONE}
  - {name: late, pan: -100, delay: 0.0001, TONE}
  - {name: solo, pan: -100, TONE}
  - {name: cut, pan: -100, trim: {from: m1, to: 5.5}, mutes: [{from: m2, to: m2.2}, {from: 3, to: 3.25}], TONE}
  - {name: seated, section: winds, TONE}
  - {name: wide, pan: 0, width: 2, audio: {file: in/two.wav, offset: 0}, low_cut: none}
  - {name: point, pan: 0, width: 0, audio: {file: in/two.wav, offset: 0}, low_cut: none}
`)
	at := func(i int) float64 { return float64(i) / audio.Rate }
	plain := func(i int) float64 { return programmeGain(i) * toneAt(1000, at(i)) }
	near(t, "plain", stems["plain"][0], plain)
	near(t, "the other side of plain", stems["plain"][1], func(int) float64 { return 0 })
	near(t, "late by 4.8 samples", stems["late"][0],
		func(i int) float64 { return programmeGain(i) * toneAt(1000, at(i)-0.0001) })

	// The lift moves half a second before and after the shot, from 4 s to 6 s.
	near(t, "solo", stems["solo"][0], func(i int) float64 {
		lift := 3 * min(1, max(0, (at(i)-3.5+0.5/audio.Rate)*2), max(0, (6.5-at(i)-0.5/audio.Rate)*2))
		return plain(i) * math.Pow(10, lift/20)
	})

	// Silent outside 2 s to 5.5 s, from 4 s to 4.5 s and from 3 s to 3.25 s;
	// fades of trims lie inside, those of mutes outside.
	near(t, "cut", stems["cut"][0], func(i int) float64 {
		second := audio.Rate
		g := rising(i-2*second, 480) * rising(5*second+second/2-1-i, 480)
		for _, mute := range [][2]int{{4 * second, 4*second + second/2}, {3 * second, 3*second + second/4}} {
			g *= 1 - rising(i-mute[0]+480, 480) + rising(i-mute[1], 480)
		}
		return plain(i) * g
	})

	// One seat in a section that stands from -60 to -20 is in its middle.
	if pan := r.Strips[4].Pan; pan != -40 {
		t.Errorf("the seat is at %v", pan)
	}
	left, right := math.Cos(0.6*math.Pi/4), math.Sin(0.6*math.Pi/4)
	near(t, "seated, left", stems["seated"][0], func(i int) float64 { return left * plain(i) })
	near(t, "seated, right", stems["seated"][1], func(i int) float64 { return right * plain(i) })

	checkWidths(t, stems)
}

// checkWidths measures the width of stereo takes: a point is the same on both
// sides; twice as wide has twice the share of the difference of the sides.
func checkWidths(t *testing.T, stems map[string]audio.Block) {
	t.Helper()
	amplitude := func(x []float64, hz float64) (sin, cos float64) {
		for i := 2 * audio.Rate; i < 4*audio.Rate; i++ {
			s, c := math.Sincos(2 * math.Pi * hz * float64(i) / audio.Rate)
			sin, cos = sin+x[i]*s/audio.Rate, cos+x[i]*c/audio.Rate
		}
		return sin, cos
	}
	point, wide := stems["point"], stems["wide"]
	near(t, "one point", point[1], func(i int) float64 { return point[0][i] })
	l, _ := amplitude(wide[0], 1000)
	r, _ := amplitude(wide[1], 1000) // upside down: wider than the recording
	if side, middle := (l-r)/2, (l+r)/2; math.Abs(side/middle-2) > 1e-6 || l < 0.05 {
		t.Errorf("twice as wide has side to middle %.6f, left %.4f", side/middle, l)
	}
}

// The laws of the table, in the decibels of the samples, to 0.001 dB.
func TestPanLawsAreHeard(t *testing.T) {
	t.Parallel()
	findTool(t)
	takes := "  - {name: solo, pan: 0, TONE}\n  - {name: middle, pan: 0, TONE}\n  - {name: aside, pan: -50, TONE}\n"
	for law, want := range map[string][3]float64{
		// Middle; left and right at -50: sin and cos, their geometric mean
		// with the linear law, linear.
		"power":      {-3.0103, -0.6877, -8.3431},
		"compromise": {-4.5154, -1.5933, -10.1922},
		"linear":     {-6.0206, -2.4988, -12.0412},
	} {
		stems, _ := stemsOf(t, law, takes)
		level := func(x []float64) float64 {
			var sum float64
			for _, v := range x[2*audio.Rate : 3*audio.Rate] {
				sum += v * v
			}
			return 10*math.Log10(sum/audio.Rate) - 20*math.Log10(0.1/math.Sqrt2)
		}
		middle, aside := stems["middle"], stems["aside"]
		for _, c := range []struct {
			what      string
			got, want float64
		}{
			{"middle left", level(middle[0]), want[0]}, {"middle right", level(middle[1]), want[0]},
			{"aside left", level(aside[0]), want[1]}, {"aside right", level(aside[1]), want[2]},
		} {
			if math.Abs(c.got-c.want) > 0.001 {
				t.Errorf("%s, %s: %.4f dB, want %.4f", law, c.what, c.got, c.want)
			}
		}
	}
}
