package assemble

import (
	"fmt"
	"math"
	"strings"
	"testing"

	"ripieno/mix/audio"
)

// brokenTake is a marked take that is not one piece of time.
type brokenTake struct {
	placedTake
	parts audio.Parts
	text  string // as the manifest has them
	sound bool   // the parts are of the sound only
}

// at is the guide time of a file time, NaN where that is in no part.
func (b brokenTake) at(parts audio.Parts, file float64) float64 {
	for _, p := range parts {
		if file >= p.From && file < p.To {
			return b.guide(file + p.Shift)
		}
	}
	if len(parts) == 0 {
		return b.guide(file)
	}
	return math.NaN()
}

// brokenCast is takes of whose sound and picture 1.3 s are missing, 1.1 s are too much,
// both, and of one 0.9 s of the sound only. All clicks and marks are in file time.
func brokenCast() []brokenTake {
	list := []brokenTake{
		{placedTake: placedTake{marked: marked{name: "a.mp4", rate: "30", fps: 30, frames: 300, channels: 1},
			offset: 1.1},
			parts: audio.Break(3.4, 1.3), text: "[{to: 3.4}, {from: 3.4, shift: 1.3}]"},
		{placedTake: placedTake{marked: marked{name: "b.mov", rate: "25", fps: 25, frames: 300, channels: 2},
			offset: 0.303, drift: 400},
			parts: audio.Break(4.2, -1.1), text: "[{to: 4.2}, {from: 5.3, shift: -1.1}]"},
		{placedTake: placedTake{marked: marked{name: "c.mp4", rate: "60", fps: 60, frames: 600, channels: 1},
			offset: -0.25, drift: -300},
			parts: audio.Parts{{From: 0, To: 4.5}, {From: 4.5, To: 6, Shift: 0.4},
				{From: 7, To: math.Inf(1), Shift: -0.6}},
			text: "[{to: 4.5}, {to: 6, shift: 0.4}, {from: 7, shift: -0.6}]"},
		{placedTake: placedTake{marked: marked{name: "d.mp4", rate: "30000/1001", fps: 30000.0 / 1001, frames: 330,
			channels: 1}, offset: 1.2},
			parts: audio.Break(4, 0.9), text: "[{to: 4}, {from: 4, shift: 0.9}], parts_of: sound", sound: true},
	}
	for i := range list {
		b := &list[i]
		b.id, b.audio = i+1, true
		// Each player clicks alone, 30 ms and more from all others on either side of every
		// break: a click takes a few milliseconds.
		phase := []float64{0.4, 0.12, 0.05, 0.35}[i] // of guide time
		for c := 0.3 + math.Mod(phase-b.offset+9.7, 0.5); c < 10; c += 0.5 {
			b.clicks = append(b.clicks, c)
		}
	}
	return list
}

// TestPartsOfATakeAreEachInTheirPlace measures a film of broken takes: before the break
// and after it every frame and every click is where it belongs, in between the last
// frame stays and nothing sounds.
func TestPartsOfATakeAreEachInTheirPlace(t *testing.T) {
	t.Parallel()
	tool, dir := findTool(t), t.TempDir()
	cast, lines := brokenCast(), ""
	for i, take := range cast {
		take.write(t, tool, dir)
		lines += fmt.Sprintf("  - {name: take-%d, player: P%d, part: Q, pan: 0, video: {file: intake/%s, "+
			"offset: %.6f, "+
			"drift_ppm: %g, parts: %s}}\n", take.id, i, take.name, take.offset, take.drift, take.text)
	}
	p := openTest(t, dir, fmt.Sprintf(testManifest, lines))
	r, err := p.Render(t.Context(), RenderOptions{})
	if err != nil || len(r.Faults) > 0 {
		t.Fatal(err, r.Faults)
	}
	mixed, err := p.Mix(t.Context(), MixOptions{Stems: true})
	if err != nil {
		t.Fatal(err)
	}
	grid, err := p.Grid(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	f := decodeFilm(t, tool, r.Output, 640, 360)
	for i, take := range cast {
		t.Run(take.name, func(t *testing.T) {
			checkBrokenPicture(t, f, grid.Shots[0].Tiles[i], take)
			// The others sound in the gaps of this one, so the film's sound tells its clicks
			// and the stem its silence too.
			checkBrokenSound(t, f, take, false)
			alone, stem := film{start: filmStart}, readSound(t, mixed.Stems[i].File)
			for k := filmStart * clickRate; k < float64(stem.Frames()); k++ {
				alone.sound = append(alone.sound, stem[0][int(k)], stem[1][int(k)])
			}
			checkBrokenSound(t, alone, take, true)
		})
	}
}

// checkBrokenPicture follows the marks of a broken take: a frame is at most half its
// length from its time, and where there is none, the last one before stays.
func checkBrokenPicture(t *testing.T, f film, tile GridTile, take brokenTake) {
	t.Helper()
	parts := take.parts
	if take.sound {
		parts = nil
	}
	half, seen, held := 0.5/math.Min(take.fps, f.fps)+0.0005, 0, 0
	for k, pix := range f.frames {
		now := f.start + float64(k)/f.fps
		id, counter := readMark(pix, f.w, tile.X, tile.Y, tile.W, tile.H)
		if id != take.id || counter < 0 {
			t.Fatalf("frame %d: read player %d, frame %d", k, id, counter)
		}
		got := take.at(parts, float64(counter)/take.fps)
		if math.IsNaN(got) {
			t.Errorf("frame %d: shows frame %d, which is in no part", k, counter)
			continue
		}
		if math.Abs(got-now) <= half {
			seen++
			continue
		}
		// Held: nothing was recorded then, and this is the last frame before.
		next := take.at(parts, float64(counter+1)/take.fps)
		if got > now || !(next > now+0.5/take.fps-0.001 || math.IsNaN(next)) {
			t.Errorf("frame %d at %.3f s: shows frame %d of %.3f s", k, now, counter, got)
		}
		held++
	}
	most := int(parts.Missing()*f.fps) + 3
	if seen < len(f.frames)-most || held > most || parts.Missing() > 0.1 && held < most-6 {
		t.Errorf("%d frames are right and %d held of %d; %.2f s are missing", seen, held, len(f.frames),
			parts.Missing())
	}
}

// checkBrokenSound compares the clicks with the truth, within 1 ms, and expects none
// from what is in no part where the sound is that of this take alone.
func checkBrokenSound(t *testing.T, f film, take brokenTake, alone bool) {
	t.Helper()
	end := filmStart + filmLen/filmFPS
	var want []float64
	reach := 0.025 // the others' clicks are further away
	if alone {
		reach = 0.1
	}
	for _, c := range take.clicks {
		g := take.at(take.parts, c)
		if math.IsNaN(g) || g < filmStart+0.05 || g > end-0.05 {
			continue
		}
		want = append(want, g)
		if at := f.peakNear(g-filmStart, reach); math.IsNaN(at) || math.Abs(at-(g-filmStart)) > 0.001 {
			t.Errorf("the click at %.3f s of the file sounds at %.4f s, want %.4f", c, at, g-filmStart)
		}
	}
	if len(want) < 6 {
		t.Fatalf("only %d clicks are in the film", len(want))
	}
	for i := 1; i < len(want) && alone; i++ {
		if gap := want[i] - want[i-1]; gap > 0.8 {
			from, to := want[i-1]-filmStart+0.1, want[i]-filmStart-0.1
			for k := int(from * clickRate); k < int(to*clickRate); k++ {
				if v := math.Abs(f.sound[2*k]); v > 0.05 {
					t.Fatalf("something sounds at %.3f s, where nothing was recorded: %.3f", float64(k)/clickRate, v)
				}
			}
		}
	}
}

// TestOnePartIsAWholeTake: saying that a take is not broken leaves every key as it was.
func TestOnePartIsAWholeTake(t *testing.T) {
	t.Parallel()
	tool := findTool(t)
	dir := t.TempDir()
	takes := cast()[:1]
	takes[0].write(t, tool, dir)
	plain := manifestOf(takes, "")
	p := openTest(t, dir, plain)
	if _, err := p.Render(t.Context(), RenderOptions{Rough: true}); err != nil {
		t.Fatal(err)
	}
	p.Close()
	p = openTest(t, dir, plain)
	again, err := p.Render(t.Context(), RenderOptions{Rough: true})
	if err != nil {
		t.Fatal(err)
	}
	p.Close()
	q := openTest(t, dir, strings.Replace(plain, "drift_ppm: 0}", "drift_ppm: 0, parts: [{from: 0}]}", 1))
	r, err := q.Render(t.Context(), RenderOptions{Rough: true})
	if err != nil {
		t.Fatal(err)
	}
	if r.Tasks != again.Tasks {
		t.Errorf("%+v, without %+v", r.Tasks, again.Tasks)
	}
}
