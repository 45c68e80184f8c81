package assemble

import (
	"math"
	"testing"
)

// In this production measure 1 begins at guide time 4, all clap at guide time
// 2, and the film goes from 3 to 63.
const driftManifest = `version: 1
title: Long Round
tempo:
  count_in: {measures: 2, cue: {measure: 2, beat: 1}}
  changes: [{measure: 1, meter: 4/4, bpm: 120}]
  measures: 29
release: yes
takes:
  - {name: fast, pan: -100, video: {file: intake/fast.mov}}
  - {name: slow, pan: 100, video: {file: intake/slow.mov, cue_at: 1.55031}}
mix: {loudness: -36, true_peak: -1, balance: manual}
picture: {fps: 24, gutter: 0, labels: false, lead_in: 1, tail: 1}
shots: [{from: start, show: tutti}, {from: m7, show: card, text: A minute}, {from: m24, show: tutti}]
deliver: [{name: final, canvas: 256x72}]
`

// TestDriftOverAMinute: two phones whose clocks are 400 ppm off, one to each
// side, recorded a minute. Sync finds that out by itself, and in the film
// sound and picture of minute 1 lie where they lay at minute 0: the sound within
// 1 ms, every frame within half a frame. Without drift the end would be 24 ms
// off, as after five minutes with clocks that are 80 ppm off.
func TestDriftOverAMinute(t *testing.T) {
	t.Parallel()
	tool := findTool(t)
	dir := t.TempDir()
	takes := []placedTake{
		{marked: marked{name: "fast.mov", id: 1, rate: "15", fps: 15}, offset: -1.3, drift: 400},
		{marked: marked{name: "slow.mov", id: 2, rate: "24", fps: 24}, offset: 0.45, drift: -400},
	}
	for i := range takes {
		p := &takes[i]
		p.frames, p.audio, p.channels, p.wide, p.high = int((64.5-p.offset)*p.fps), true, 1, 128, 72
		p.extra = []string{"-c:a", "pcm_s16le"} // quicker to make than AAC
		// All clap; then one plays all beats but the third of each measure,
		// the other the first and the fourth. In that nothing tells a measure
		// from the next, and a clap that sounds like the notes does not either, so
		// the manifest says where it is.
		guide := []float64{2}
		for beat := range 4 * 29 {
			if k := beat % 4; i == 0 && k != 2 || i == 1 && k%3 == 0 {
				guide = append(guide, 4+0.5*float64(beat))
			}
		}
		for _, g := range guide {
			p.clicks = append(p.clicks, (g-p.offset)/(1+p.drift*1e-6))
		}
		p.write(t, tool, dir)
	}
	p := openTest(t, dir, driftManifest)
	// A card in the middle, since only the ends are looked at.
	r, err := p.Render(t.Context(), RenderOptions{Rough: true})
	if err != nil || len(r.Faults) > 0 {
		t.Fatal(err, r.Faults)
	}
	f := decodeFilm(t, tool, r.Output, 256, 72)
	if len(f.frames) != 1440 {
		t.Fatalf("%d frames", len(f.frames))
	}
	for i, take := range takes {
		soundStays(t, f.side(i), take)
		pictureStays(t, f, take, 128*i)
	}
}

// soundStays compares the clicks of the film's first and last seconds with
// where they belong.
func soundStays(t *testing.T, f film, take placedTake) {
	t.Helper()
	offs := map[bool][]float64{}
	for _, c := range take.clicks[1:] {
		g := take.guide(c)
		if g > 14 && g < 52 {
			continue
		}
		offs[g > 50] = append(offs[g > 50], f.peakNear(g-filmStart, 0.1)-(g-filmStart))
	}
	begin, end := mean(offs[false]), mean(offs[true])
	t.Logf("%s: sound off by %.3f ms in the beginning, %.3f ms at minute 1", take.name, 1000*begin, 1000*end)
	if !(math.Abs(end-begin) < 0.001) {
		t.Errorf("%s: from minute 0 to 1 the sound moves by %.2f ms", take.name, 1000*(end-begin))
	}
}

// pictureStays does the same for the frames shown.
func pictureStays(t *testing.T, f film, take placedTake, x int) {
	t.Helper()
	const span = 220 // frames
	var means [2]float64
	for half, from := range []int{0, len(f.frames) - span} {
		var offs []float64
		for k := from; k < from+span; k++ {
			now := filmStart + float64(k)/24
			id, counter := readMark(f.frames[k], f.w, x, 0, 128, 72)
			if id != take.id {
				t.Fatalf("%s frame %d: read player %d, frame %d", take.name, k, id, counter)
			}
			// The mark has 12 bits: take the turn nearest to the truth.
			want := (now - take.offset) / (1 + take.drift*1e-6) * take.fps
			counter += int(math.Round((want-float64(counter))/4096)) * 4096
			off := take.guide(float64(counter)/take.fps) - now
			if math.Abs(off) > 0.5/take.fps+0.0015 {
				t.Fatalf("%s frame %d is %.1f ms off", take.name, k, 1000*off)
			}
			offs = append(offs, off)
		}
		means[half] = mean(offs)
	}
	t.Logf("%s: picture off by %.2f ms in the beginning, %.2f ms at minute 1", take.name, 1000*means[0], 1000*means[1])
}

func mean(list []float64) float64 {
	sum := 0.0
	for _, v := range list {
		sum += v
	}
	return sum / float64(len(list))
}
