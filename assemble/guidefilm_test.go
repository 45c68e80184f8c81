package assemble

import (
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"ripieno/assemble/ffmpeg"
	"ripieno/layout/card"
	"ripieno/layout/flash"
	"ripieno/layout/shot"
	"ripieno/mix/audio"
)

const guideFilmManifest = `version: 1
title: Small Round
tempo:
  count_in: {measures: 2}
  pick_up: 1
  changes:
    - {measure: 1, meter: 3/4, bpm: 173}
    - {measure: 2, meter: 6/8, bpm: 97}
  measures: 3
guide: {tail: 0.5}
picture: {fps: RATE}
`

// A decoded guide film lights up every beat in the frame nearest to it and in none
// before, its sound has every click within 5 ms of its beat, and nothing in it flashes.
// At the rates that productions have.
func TestGuideFilmIsOnTheBeat(t *testing.T) {
	findTool(t)
	for name, rate := range map[string]shot.Rate{"24": {Num: 24, Den: 1}, "25": {Num: 25, Den: 1},
		"29.97": {Num: 30000, Den: 1001}, "30": {Num: 30, Den: 1}, "60": {Num: 60, Den: 1}} {
		p := openTest(t, t.TempDir(), strings.Replace(guideFilmManifest, "RATE", name, 1))
		r, err := p.Click(t.Context(), ClickOptions{Film: true})
		if err != nil {
			t.Fatal(err)
		}
		if filepath.Base(r.Film) != "guide.mp4" {
			t.Fatalf("film %q", r.Film)
		}
		checkGuideFilm(t, p, name, r.Film, rate)
	}
}

// checkGuideFilm compares a film with the tempo map of its production.
func checkGuideFilm(t *testing.T, p *Production, name, film string, rate shot.Rate) {
	t.Helper()
	const w, h = 640, 360
	raw, wav := filepath.Join(t.TempDir(), "film.raw"), filepath.Join(t.TempDir(), "film.wav")
	run(t, p.Tool(), ffmpeg.Command{Args: []string{"-i", film, "-map", "0:v", "-f", "rawvideo", "-pix_fmt", "rgb24", "-y",
		raw, "-map", "0:a", "-c:a", "pcm_s24le", "-y", wav}})
	pix, err := os.ReadFile(raw)
	if err != nil {
		t.Fatal(err)
	}
	flashes := flash.NewCounter(rate.FPS())
	frames := len(pix) / (3 * w * h)
	if name != "25" { // they all show the same
		frames = 0
	}
	for k := range frames {
		if err := flashes.Add(pix[3*w*h*k : 3*w*h*(k+1)]); err != nil {
			t.Fatal(err)
		}
	}
	if n := flashes.Result(); n.Flashes > 0 || n.Red > 0 {
		t.Errorf("%s: %+v", name, n)
	}
	// bright is how many pixels of the row of lights shine in a frame.
	bright := func(k int) (n int) {
		y := int(card.LightsAt * h)
		for x := range w {
			if at := 3 * (w*h*k + w*y + x); pix[at+1] > 150 {
				n++
			}
		}
		return n
	}
	wave, _ := readWAV(t, wav)
	beats, worst := 0, 0.0
	for b := range p.Manifest().Tempo.Beats() {
		beats++
		k := rate.Frame(b.Seconds)
		if bright(k) < 20 || k > 0 && bright(k-1) > 0 {
			t.Errorf("%s: beat %d of measure %d at %.4f s: frame %d has %d bright pixels, the one before %d", name, b.Number,
				b.Measure, b.Seconds, k, bright(k), bright(max(k-1, 0)))
		}
		from, to := max(0, int((b.Seconds-0.02)*audio.Rate)), int((b.Seconds+0.05)*audio.Rate)
		peak := 0.0
		for _, v := range wave[from:to] {
			peak = max(peak, math.Abs(v))
		}
		at := from
		for math.Abs(wave[at]) < 0.2*peak {
			at++
		}
		if off := math.Abs(float64(at)/audio.Rate - b.Seconds); off > 0.005 {
			t.Errorf("%s: the click at %.4f s sounds %.1f ms off", name, b.Seconds, off*1000)
		} else {
			worst = max(worst, off)
		}
	}
	t.Logf("%s: %d beats, clicks within %.2f ms", name, beats, worst*1000)
}
