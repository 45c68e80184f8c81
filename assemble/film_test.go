package assemble

import (
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"ripieno/assemble/ffmpeg"
	"ripieno/assemble/progress"
)

// The production of these tests: 2 measures of 4/4 at 120 after a count-in of
// 2, so measure 1 begins at guide time 4 and the piece ends at 8. With a lead
// of 1 s and a tail of 1 s the film runs from guide time 3 to 9.
const testManifest = `version: 1
title: Test Round
tempo:
  count_in: {measures: 2, cue: {measure: 2, beat: 1}}
  changes: [{measure: 1, meter: 4/4, bpm: 120}]
  measures: 2
release: yes
takes:
%s
mix: {loudness: -20, true_peak: -2, balance: manual}
picture: {fps: 30, aspect: 16:9, gutter: 6, margin: 12, background: "#204060", labels: false, lead_in: 1, tail: 1}
deliver: [{name: final, canvas: 640x360}]
`

const (
	filmStart = 3.0
	filmFPS   = 30.0
	filmLen   = 180
)

// openTest opens a production made of a manifest and takes.
func openTest(t *testing.T, dir, manifest string) *Production {
	t.Helper()
	if err := os.WriteFile(filepath.Join(dir, "production.yaml"), []byte(manifest), 0o666); err != nil {
		t.Fatal(err)
	}
	return openWith(t, Settings{Dir: dir})
}

// openWith opens the production that is in a folder, without a word unless the
// settings have a reporter. It is closed when the test ends.
func openWith(t testing.TB, set Settings) *Production {
	t.Helper()
	if set.Report == nil {
		set.Report = progress.New(nil, progress.Quiet)
	}
	set.Programs.Found = findTool(t)
	p, err := Open(t.Context(), set)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { p.Close() })
	return p
}

// placedTake is a marked take with the exact place it is given.
type placedTake struct {
	marked
	offset, drift float64
	manifest      string // more keys of the take
}

func (p placedTake) guide(file float64) float64 { return p.offset + file*(1+p.drift*1e-6) }

// shownFrom and shownTo are guide times between which its picture exists.
func (p placedTake) shownFrom() float64 { return p.guide(0) }
func (p placedTake) shownTo() float64   { return p.guide(float64(p.frames) / p.fps) }

// cast returns the takes of the film test: constant rates above, at and below the
// film's, one with uneven frames, one stored sideways, one that starts late and
// ends early, with drifts a phone never has, so that an ignored one shows.
func cast() []placedTake {
	clicks := func(id int, p placedTake) []float64 {
		// Each player clicks alone, a quarter of a second from the others.
		var at []float64
		for g := 3.2 + 0.25*float64(id); g < 9; g += 1.5 {
			at = append(at, (g-p.offset)/(1+p.drift*1e-6))
		}
		return at
	}
	list := []placedTake{
		{marked: marked{name: "a.mp4", rate: "30000/1001", fps: 30000.0 / 1001, frames: 400, channels: 1},
			offset: -2.517},
		{marked: marked{name: "b.mov", rate: "25", fps: 25, frames: 300, channels: 2}, offset: 0.303, drift: 400},
		{marked: marked{name: "c.mp4", rate: "60", fps: 60, frames: 600, channels: 1, storedTurned: true},
			offset: -0.25, drift: -300},
		{marked: marked{name: "d.mp4", rate: "30", fps: 30, frames: 75, channels: 1}, offset: 4.605},
	}
	for i := range list {
		p := &list[i]
		p.id, p.audio = i+1, true
		p.clicks = clicks(p.id, *p)
	}
	return list
}

func manifestOf(takes []placedTake, more string) string {
	return fmt.Sprintf(testManifest, manifestLines(takes)+more)
}

func manifestLines(takes []placedTake) string {
	var b strings.Builder
	for _, p := range takes {
		fmt.Fprintf(&b, "  - {name: take-%d, player: Player %d, part: Part %d, pan: 0, video: {file: intake/%s, "+
			"offset: %.6f, drift_ppm: %g}%s}\n",
			p.id, p.id, p.id, p.name, p.offset, p.drift, p.manifest)
	}
	return b.String()
}

// TestFilmShowsEveryPlayerAtTheRightMoment measures a finished film: who is in
// each tile, which of their frames, what surrounds them, and when each sounds.
func TestFilmShowsEveryPlayerAtTheRightMoment(t *testing.T) {
	t.Parallel()
	tool := findTool(t)
	dir := t.TempDir()
	takes := cast()
	for _, p := range takes {
		p.write(t, tool, dir)
	}
	p := openTest(t, dir, manifestOf(takes, "  - {name: take-5, player: Player 5, part: Part 5, expected: true}\n"))
	r, err := p.Render(t.Context(), RenderOptions{})
	if err != nil {
		t.Fatal(err)
	}
	if len(r.Faults) != 1 || r.Faults[0].Kind != "missing" || r.Faults[0].Take != "take-5" {
		t.Errorf("faults are %+v, want only that take-5 is missing", r.Faults)
	}
	if r.Frames != filmLen || r.Output != filepath.Join(p.Settings().Out, "final.mp4") {
		t.Errorf("%d frames in %s", r.Frames, r.Output)
	}
	grid, err := p.Grid(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	f := decodeFilm(t, tool, r.Output, 640, 360)
	if len(f.frames) != filmLen {
		t.Fatalf("%d frames decoded, want %d", len(f.frames), filmLen)
	}
	tiles := grid.Shots[0].Tiles
	for i, take := range takes {
		checkTile(t, f, tiles[i], take)
	}
	checkBackground(t, f, tiles)
	for _, take := range takes {
		checkClicks(t, f, take)
	}
}

// checkTile follows one take through the film.
func checkTile(t *testing.T, f film, tile GridTile, take placedTake) {
	t.Helper()
	// Half a frame of whichever is slower, the take or the film.
	half := 0.5 / math.Min(take.fps, f.fps)
	sum, n, worst := 0.0, 0, 0.0
	for k, pix := range f.frames {
		now := f.start + float64(k)/f.fps
		id, counter := readMark(pix, f.w, tile.X, tile.Y, tile.W, tile.H)
		if now < take.shownFrom()-half || now > take.shownTo()+half {
			if counter != -1 {
				t.Errorf("%s frame %d: shows frame %d of %d while its take is not there", take.name, k, counter, id)
			} else if v := pix[(tile.Y+tile.H/2)*f.w+tile.X+tile.W/2]; v < 50 || v > 70 {
				t.Errorf("%s frame %d: grey value %d where the background is 61", take.name, k, v)
			}
			continue
		}
		if now < take.shownFrom()+half || now > take.shownTo()-half {
			continue // either is right within half a frame of the ends
		}
		if id != take.id || counter < 0 {
			t.Fatalf("%s frame %d: read player %d, frame %d", take.name, k, id, counter)
		}
		off := take.guide(float64(counter)/take.fps) - now
		worst = math.Max(worst, math.Abs(off))
		sum += off
		n++
	}
	if n == 0 {
		t.Fatalf("%s is never shown", take.name)
	}
	const clock = 0.0005 // the encoder's time stamps are rounded
	if nearest := 0.5 / take.fps; worst > nearest+clock {
		t.Errorf("%s is up to %.1f ms from the truth, half of its frames is %.1f", take.name, worst*1000, nearest*1000)
	}
	// The sound is exact (see checkClicks), so the mean error of the picture is
	// how far sound and picture are apart.
	if mean := sum / float64(n); math.Abs(mean) > 0.010 {
		t.Errorf("%s: picture and sound are %.1f ms apart", take.name, mean*1000)
	}
	t.Logf("%s: %d frames, worst %.2f ms, mean %.2f ms", take.name, n, worst*1000, sum/float64(n)*1000)
}

// checkBackground looks at everything outside the tiles. #204060 is 61 as
// luma of BT.709 in limited range: 16 + 219·(0.2126·32 + 0.7152·64 + 0.0722·96)/255.
func checkBackground(t *testing.T, f film, tiles []GridTile) {
	t.Helper()
	for _, k := range []int{0, 50, 179} {
		for y := 2; y < f.h; y += 4 {
			for x := 2; x < f.w; x += 4 {
				inside := false
				for _, r := range tiles {
					// The encoder smears a few pixels over an edge.
					if x >= r.X-4 && x < r.X+r.W+4 && y >= r.Y-4 && y < r.Y+r.H+4 {
						inside = true
					}
				}
				if v := f.frames[k][y*f.w+x]; !inside && (v < 57 || v > 65) {
					t.Fatalf("frame %d: grey value %d at %d,%d outside all tiles", k, v, x, y)
				}
			}
		}
	}
}

// checkClicks compares the sound with the truth, within 1 ms.
func checkClicks(t *testing.T, f film, take placedTake) {
	t.Helper()
	heard := 0
	for _, c := range take.clicks {
		g := take.guide(c)
		if g < take.shownFrom()+0.1 || g > take.shownTo()-0.1 || g > filmStart+filmLen/filmFPS-0.1 {
			continue
		}
		heard++
		if at := f.peakNear(g-filmStart, 0.1); math.IsNaN(at) || math.Abs(at-(g-filmStart)) > 0.001 {
			t.Errorf("%s: the click of guide time %.3f sounds at %.4f, want %.4f", take.name, g, at, g-filmStart)
		}
	}
	if heard == 0 {
		t.Errorf("%s has no click in the film", take.name)
	}
}

// TestSoundIsAsAskedFor measures the delivered sound with ffmpeg's meter,
// which is not ours (ITU-R BS.1770-4; EBU R 128 tolerance ±0.5 LU, here 0.3).
func TestSoundIsAsAskedFor(t *testing.T) {
	t.Parallel()
	tool := findTool(t)
	dir := t.TempDir()
	takes := cast()[:2]
	for i := range takes {
		takes[i].clicks = nil
		for c := 0.0; c < 12; c += 0.01 {
			takes[i].clicks = append(takes[i].clicks, c)
		}
		takes[i].write(t, tool, dir)
	}
	p := openTest(t, dir, manifestOf(takes, ""))
	r, err := p.Render(t.Context(), RenderOptions{Rough: true})
	if err != nil {
		t.Fatal(err)
	}
	var log strings.Builder
	run(t, tool, ffmpeg.Command{Args: []string{"-v", "info", "-i", r.Output, "-map", "0:a", "-af",
		"ebur128=peak=true:framelog=verbose", "-f", "null", "pipe:1"}, Log: &log})
	i, peak := ebur128(t, log.String())
	if math.Abs(i+20) > 0.3 || peak > -2 {
		t.Errorf("ffmpeg measures %.1f LUFS and %.1f dBTP, want -20 and at most -2", i, peak)
	}
	if r.Loudness == nil || math.Abs(*r.Loudness-i) > 0.1 {
		t.Errorf("the result says %v LUFS, ffmpeg %.1f", r.Loudness, i)
	}
}

// ebur128 reads the summary of ffmpeg's filter of that name.
func ebur128(t *testing.T, log string) (integrated, peak float64) {
	t.Helper()
	at := strings.LastIndex(log, "Summary:")
	if at < 0 {
		t.Fatalf("no summary in %q", log)
	}
	integrated, peak = math.NaN(), math.NaN()
	for line := range strings.SplitSeq(log[at:], "\n") {
		line = strings.TrimSpace(line[strings.LastIndexByte(line, ']')+1:])
		fmt.Sscanf(line, "I: %f LUFS", &integrated)
		fmt.Sscanf(line, "Peak: %f dBFS", &peak)
	}
	return integrated, peak
}
