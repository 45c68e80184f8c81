package assemble

import (
	"fmt"
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
    - {measure: 1, meter: 3/4, bpm: 221}
    - {measure: 2, meter: 6/8, bpm: 133}
  measures: 2
guide: {tail: 0.2MORE}
picture: {fps: RATE}
`

// guideFilmRates are those that productions have.
var guideFilmRates = map[string]shot.Rate{"24": {Num: 24, Den: 1}, "25": {Num: 25, Den: 1},
	"29.97": {Num: 30000, Den: 1001}, "30": {Num: 30, Den: 1}, "60": {Num: 60, Den: 1}}

// A decoded guide film lights up every beat in the frame nearest to it and in none
// before, its sound has every click within 5 ms of its beat, and nothing in it flashes.
func TestGuideFilmIsOnTheBeat(t *testing.T) {
	findTool(t)
	p := openTest(t, t.TempDir(), strings.NewReplacer("RATE", "25", "MORE", "").Replace(guideFilmManifest))
	r, err := p.Click(t.Context(), ClickOptions{Film: true})
	if err != nil {
		t.Fatal(err)
	}
	if filepath.Base(r.Film) != "guide.mp4" {
		t.Fatalf("film %q", r.Film)
	}
	f := decodeGuideFilm(t, p, r.Film, guideFilmRates["25"], 640, 360)
	f.checkBeats(t, p, 0)
	flashes := flash.NewCounter(25)
	for k := range f.frames() {
		if err := flashes.Add(f.frame(k)); err != nil {
			t.Fatal(err)
		}
	}
	if n := flashes.Result(); n.Flashes > 0 || n.Red > 0 {
		t.Errorf("%+v", n)
	}
}

// At every rate of productions, the conductor's film beside the beats shows in each frame
// the one of its own that is nearest by the clap in it, which was found, and is turned
// upright; beats and clicks are where they are without it. Where it has ended the beats
// are alone. The guide of a passage has the same beats of it.
func TestConductorIsOnTheBeat(t *testing.T) {
	t.Parallel()
	tool := findTool(t)
	const fps, offset = 30000.0 / 1001, -0.7313 // of the guide where the film begins
	for name, rate := range guideFilmRates {
		dir := t.TempDir()
		more := ", conductor: {video: intake/beat.mp4, release: yes}"
		if name == "25" {
			more += ", variants: [{name: end, from: m2}]"
		}
		text := strings.NewReplacer("RATE", name, "MORE", more).Replace(guideFilmManifest)
		p := openTest(t, dir, text)
		music := p.Manifest().Tempo
		ends := music.End() - 0.4
		take := marked{name: "beat.mp4", id: 5, rate: "30000/1001", fps: fps, frames: int((ends - offset) * fps),
			audio:    true,
			channels: 1, clicks: []float64{music.Cue() - offset}, storedTurned: name == "24" || name == "30"}
		take.write(t, tool, dir)
		r, err := p.Click(t.Context(), ClickOptions{Film: true})
		if err != nil {
			t.Fatal(err)
		}
		if len(r.Notes) != 1 || !strings.Contains(r.Notes[0], "beat.mp4 ends in m2, 0.4 s before the piece does") {
			t.Errorf("%s: notes %q", name, r.Notes)
		}
		f := decodeGuideFilm(t, p, r.Film, rate, 960, 540)
		f.checkBeats(t, p, 640)
		f.checkConductor(t, conducted{fps: fps, offset: offset, from: 0, to: take.frames})
		for _, v := range r.Variants { // a passage from m2 on, whose own first measure is after its count-in
			f := decodeGuideFilm(t, p, v.Film, rate, 960, 540)
			f.checkConductor(t, conducted{fps: fps, offset: offset - v.Offset, from: v.StartsAt, to: take.frames})
		}
	}
}

// guideFilm is a decoded guide film.
type guideFilm struct {
	name string
	rate shot.Rate
	w, h int
	pix  []byte // red, green, blue
	wave []float64
}

// decodeGuideFilm reads a guide's film back.
func decodeGuideFilm(t *testing.T, p *Production, film string, rate shot.Rate, w, h int) guideFilm {
	t.Helper()
	raw, wav := filepath.Join(t.TempDir(), "film.raw"), filepath.Join(t.TempDir(), "film.wav")
	run(t, p.Tool(), ffmpeg.Command{Args: []string{"-i", film, "-map", "0:v", "-f", "rawvideo", "-pix_fmt", "rgb24",
		"-y",
		raw, "-map", "0:a", "-c:a", "pcm_s24le", "-y", wav}})
	pix, err := os.ReadFile(raw)
	if err != nil {
		t.Fatal(err)
	}
	wave, _ := readWAV(t, wav)
	return guideFilm{fmt.Sprintf("%s at %s", filepath.Base(film), rate), rate, w, h, pix, wave}
}

// frames returns how many there are.
func (f guideFilm) frames() int { return len(f.pix) / (3 * f.w * f.h) }

// frame returns the pixels of frame k.
func (f guideFilm) frame(k int) []byte { return f.pix[3*f.w*f.h*k : 3*f.w*f.h*(k+1)] }

// bright returns how many pixels of the row of lights shine in frame k, from a column on.
func (f guideFilm) bright(k, from int) (n int) {
	y := int(card.LightsAt * float64(f.h))
	for x := from; x < f.w; x++ {
		if f.frame(k)[3*(f.w*y+x)+1] > 150 {
			n++
		}
	}
	return n
}

// checkBeats compares the lights, which are at the right of a column, and the clicks with
// the tempo map of the production.
func (f guideFilm) checkBeats(t *testing.T, p *Production, column int) {
	t.Helper()
	beats, worst := 0, 0.0
	for b := range p.Manifest().Tempo.Beats() {
		beats++
		k := f.rate.Frame(b.Seconds)
		if f.bright(k, column) < 20 || k > 0 && f.bright(k-1, column) > 0 {
			t.Errorf("%s: beat %d of measure %d at %.4f s: frame %d has %d bright pixels, the one before %d", f.name,
				b.Number,
				b.Measure, b.Seconds, k, f.bright(k, column), f.bright(max(k-1, 0), column))
		}
		from, to := max(0, int((b.Seconds-0.02)*audio.Rate)), int((b.Seconds+0.05)*audio.Rate)
		peak := 0.0
		for _, v := range f.wave[from:to] {
			peak = max(peak, math.Abs(v))
		}
		at := from
		for math.Abs(f.wave[at]) < 0.2*peak {
			at++
		}
		if off := math.Abs(float64(at)/audio.Rate - b.Seconds); off > 0.005 {
			t.Errorf("%s: the click at %.4f s sounds %.1f ms off", f.name, b.Seconds, off*1000)
		} else {
			worst = max(worst, off)
		}
	}
	t.Logf("%s: %d beats, clicks within %.2f ms", f.name, beats, worst*1000)
}

// conducted is where a marked film truly lies in that of a guide.
type conducted struct {
	fps, offset float64 // of the marked film, and guide time where it begins
	from        float64 // guide time from which it is seen
	to          int     // its first frame that does not exist
}

// clapError is how far off a clap may be found, in seconds; see TestConductorIsOnTheBeat.
const clapError = 0.001

// checkConductor compares every frame with the one of the marked film that is nearest.
func (f guideFilm) checkConductor(t *testing.T, c conducted) {
	t.Helper()
	seen, worst := 0, 0.0
	gray := make([]byte, f.w*f.h)
	for k := range f.frames() {
		frame := f.frame(k)
		for i := range gray {
			gray[i] = frame[3*i+1]
		}
		id, n := readMark(gray, f.w, 0, 90, 640, 360)
		at := f.rate.Seconds(k)
		want := (at - c.offset) * c.fps // in frames of the marked film
		exists := at > c.from-0.5/f.rate.FPS() && want < float64(c.to)-0.5
		edge := math.Abs(want-float64(c.to)+0.5) < 0.1
		switch {
		case n < 0 && exists && !edge:
			t.Errorf("%s: frame %d shows nobody", f.name, k)
		case n >= 0 && !exists && want > float64(c.to)+2: // a frame or two stay at the end
			t.Errorf("%s: frame %d still shows frame %d", f.name, k, n)
		case n >= 0 && at < c.from-0.5/f.rate.FPS():
			t.Errorf("%s: frame %d shows frame %d before it should", f.name, k, n)
		case n >= 0 && exists:
			seen++
			off := math.Abs(float64(n) - want)
			if worst = max(worst, off); id != 5 || off > 0.5+clapError*c.fps {
				t.Errorf("%s: frame %d shows frame %d of %d, %.2f frames off", f.name, k, n, id, off)
			}
		}
	}
	if seen < int((f.rate.Seconds(f.frames())-c.from-1)*f.rate.FPS()) {
		t.Errorf("%s: only %d frames of %d show the conductor", f.name, seen, f.frames())
	}
	t.Logf("%s: %d frames of the conductor, at most %.3f frames off", f.name, seen, worst)
}
