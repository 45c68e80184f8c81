package desk_test

import (
	"flag"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"ripieno/assemble/ffmpeg"
	"ripieno/assemble/ffmpeg/ffmpegtest"
	"ripieno/assemble/media"
	"ripieno/assemble/report/pagetest"
	"ripieno/mix/audio"
)

// The production of the tests: four players clapped twice, equally clearly and a
// measure apart, and then play an even pulse in which nothing tells a measure from
// the next, so that nobody can say where they lie. The fifth clapped once and plays
// what tells the measures.
const round = `version: 1
title: The Lamplighter's Round   # four of them clapped twice
tempo:
  count_in: {measures: 4}
  changes: [{measure: 1, meter: 4/4, bpm: 120}]
  measures: 6
release: yes
sections: [{name: winds}, {name: strings, gain: -1.5}]   # the strings sat near
takes:
  - {name: horn, player: Ilse Brandt, part: Horn, section: winds, video: {file: intake/horn.mp4}}  # her kitchen
  - name: flute
    player: Nell Orrin
    section: winds
    audio: {file: intake/flute.wav}    # a recorder of her own
  - name: viola
    section: strings
    gain: -2                           # loud
    audio:
      file: intake/viola.wav
  - {"name": "bassoon", "section": "winds", "audio": {"file": "intake/bassoon.wav"}}
  - {name: bell, section: strings, audio: {file: intake/bell.wav}, pan: 30}
mix: {room: 0, clean: off}
`

// offsets are the offsets of the players, by their names.
var offsets = map[string]float64{"horn": -1.5, "flute": -2.25, "viola": -0.5, "bassoon": -3, "bell": -1}

// seconds is how long their recordings are.
const seconds = 25

// made is the folder in which the production of the tests lies. They have it one
// after the other, so that takes are decoded and measured once.
var made string

// TestMain takes the folder and the browser away.
func TestMain(m *testing.M) {
	flag.Parse()
	code := m.Run()
	pagetest.Close()
	if made != "" {
		os.RemoveAll(made)
	}
	os.Exit(code)
}

// writeRound makes the production, or its manifest anew, and returns its folder.
func writeRound(t *testing.T) string {
	t.Helper()
	if made == "" {
		dir, err := os.MkdirTemp("", "desk-")
		if err != nil {
			t.Fatal(err)
		}
		made = dir
		writeTakes(t, filepath.Join(dir, "intake"))
	}
	if err := os.WriteFile(filepath.Join(made, "production.yaml"), []byte(round), 0o600); err != nil {
		t.Fatal(err)
	}
	return made
}

// writeTakes writes what the players have sent.
func writeTakes(t *testing.T, dir string) {
	t.Helper()
	if err := os.MkdirAll(dir, 0o777); err != nil {
		t.Fatal(err)
	}
	for name, offset := range offsets {
		pings := []ping{{4 - offset, 0, 0.08}}
		if name != "bell" {
			pings = append(pings, ping{2 - offset, 0, 0.08})
		}
		hz := map[string]float64{"horn": 220, "flute": 660, "viola": 330, "bassoon": 165, "bell": 880}[name]
		for i, g := 0, 7.0; g < 22; g, i = g+0.5, i+1 {
			if name != "bell" || (i*i+i/3)%5 >= 2 {
				pings = append(pings, ping{g - offset, hz, 0.25})
			}
		}
		writePings(t, filepath.Join(dir, name+".wav"), pings)
	}
	film(t, dir)
}

// film gives the horn a picture.
func film(t *testing.T, dir string) {
	t.Helper()
	wav := filepath.Join(dir, "horn.wav")
	err := ffmpegtest.Tool(t).Run(t.Context(), ffmpeg.Command{Args: []string{"-f", "lavfi", "-i",
		fmt.Sprintf("testsrc2=s=160x90:r=15:d=%d", seconds), "-i", wav, "-c:v", "libx264", "-preset", "ultrafast",
		"-c:a", "aac", "-y", strings.TrimSuffix(wav, ".wav") + ".mp4"}})
	if err != nil {
		t.Fatal(err)
	}
	if err := os.Remove(wav); err != nil {
		t.Fatal(err)
	}
}

// ping is a sound in a recording: a clap where it has no pitch.
type ping struct{ at, hz, seconds float64 }

// writePings writes a recording of a soft noise and some sounds, at times of the file.
func writePings(t *testing.T, path string, pings []ping) {
	t.Helper()
	rng := rand.New(rand.NewPCG(3, uint64(len(path))))
	wave := make([]float64, seconds*audio.Rate)
	for i := range wave {
		wave[i] = 1e-4 * (2*rng.Float64() - 1)
	}
	for _, p := range pings {
		for i := range int(p.seconds * audio.Rate) {
			k := int(p.at*audio.Rate) + i
			if k >= len(wave) {
				break
			}
			x := float64(i) / audio.Rate
			if p.hz == 0 {
				wave[k] += 0.6 * (2*rng.Float64() - 1) * math.Exp(-60*x)
				continue
			}
			wave[k] += 0.2 * math.Sin(2*math.Pi*p.hz*x) * math.Min(1, x/0.004) * math.Exp(-3*x)
		}
	}
	block := audio.Block{wave}
	if strings.HasSuffix(path, "bell.wav") { // two microphones, the second one farther away
		other := make([]float64, len(wave))
		for i := 40; i < len(wave); i++ {
			other[i] = 0.5 * wave[i-40]
		}
		block = append(block, other)
	}
	_, err := media.CreateWAV(t.Context(), path, audio.NewMemory(block, audio.Rate), media.PCM16)
	if err != nil {
		t.Fatal(err)
	}
}
