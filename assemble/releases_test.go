package assemble

import (
	"math"
	"os"
	"path/filepath"
	"runtime"
	"testing"

	"ripieno/assemble/ffmpeg"
	"ripieno/assemble/progress"
)

// otherReleases returns folders with an ffmpeg of another release than the system's.
func otherReleases() []string {
	if list := os.Getenv("RIPIENO_OTHER_FFMPEG"); list != "" {
		return filepath.SplitList(list)
	}
	cache, err := os.UserCacheDir()
	if err != nil {
		return nil
	}
	found, _ := filepath.Glob(filepath.Join(cache, "ripieno-tests", "ffmpeg-*", "bin"))
	return found
}

// A film made by another release of ffmpeg shows everybody at the right moment, as
// that of the system's does. The takes and the measuring are the system's.
func TestFilmsByOtherReleases(t *testing.T) {
	others := otherReleases()
	if len(others) == 0 {
		t.Skip("there is no other ffmpeg; cmd/setup.sh --tests fetches one on Debian, RIPIENO_OTHER_FFMPEG " +
			"names folders")
	}
	tool, dir := findTool(t), t.TempDir()
	takes := cast()
	for _, p := range takes {
		p.write(t, tool, dir)
	}
	for _, folder := range others {
		other := toolOf(t, folder)
		t.Run(other.Version.Text, func(t *testing.T) {
			p, output := renderBy(t, other, dir, manifestOf(takes, ""))
			grid, err := p.Grid(t.Context())
			if err != nil {
				t.Fatal(err)
			}
			f := decodeFilm(t, tool, output, 640, 360)
			if len(f.frames) != filmLen {
				t.Fatalf("%d frames decoded, want %d", len(f.frames), filmLen)
			}
			for j, take := range takes {
				checkTile(t, f, grid.Shots[0].Tiles[j], take)
				checkClicks(t, f, take)
			}
		})
	}
}

// toolOf returns the ffmpeg in a folder.
func toolOf(t *testing.T, folder string) *ffmpeg.Tool {
	t.Helper()
	tool, err := ffmpeg.Options{FFmpeg: filepath.Join(folder, "ffmpeg"), FFprobe: filepath.Join(folder, "ffprobe")}.
		Find(t.Context())
	if err != nil {
		t.Fatalf("%s: %v", folder, err)
	}
	return tool
}

// olderByName writes a folder with the system's ffmpeg under the name of 4.4, which takes
// no words that 4.4 does not know (its documentation and source, as 4.4 was not at
// hand): so the words for old releases are tried with a real program.
func olderByName(t *testing.T, tool *ffmpeg.Tool) (folder string) {
	t.Helper()
	folder = t.TempDir()
	for name, real := range map[string]string{"ffmpeg": tool.FFmpeg, "ffprobe": tool.FFprobe} {
		script := `#!/bin/sh
for a; do
	case $a in
	-version) echo "` + name + ` version 4.4.2-disguised Copyright (c) the FFmpeg developers"; exit ;;
	-fps_mode | -/* | *setts=*duration=* | *setts=*time_base=* | *stream_side_data=*)
		echo "4.4 does not know $a" >&2
		exit 1
		;;
	esac
done
exec "` + real + `" "$@"
`
		if err := os.WriteFile(filepath.Join(folder, name), []byte(script), 0o777); err != nil {
			t.Fatal(err)
		}
	}
	return folder
}

// renderBy makes the film of a manifest in a copy of a production's folder.
func renderBy(t *testing.T, tool *ffmpeg.Tool, dir, text string) (p *Production, output string) {
	t.Helper()
	set := Settings{Dir: t.TempDir(), Report: progress.New(nil, progress.Quiet),
		Programs: ffmpeg.Options{FFmpeg: tool.FFmpeg, FFprobe: tool.FFprobe}}
	if err := os.CopyFS(set.Dir, os.DirFS(dir)); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(set.Dir, "production.yaml"), []byte(text), 0o666); err != nil {
		t.Fatal(err)
	}
	p, err := Open(t.Context(), set)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { p.Close() })
	r, err := p.Render(t.Context(), RenderOptions{})
	if err != nil || len(r.Faults) != 0 {
		t.Fatalf("%v, %+v", err, r.Faults)
	}
	return p, r.Output
}

// A film with transitions of both kinds, by every ffmpeg at hand. From black to white
// each frame of a dissolve has its own share, the last one too, and all releases show
// the same in every frame: 7.1 once could not make the move, and 5.1 left out the last
// step of the dissolve.
func TestTransitionsByAllReleases(t *testing.T) {
	t.Parallel()
	const w, h, beat, count = 160, 90, 12, 60 // beat and count in frames
	tool, dir := findTool(t), t.TempDir()
	if err := os.Mkdir(filepath.Join(dir, "intake"), 0o777); err != nil {
		t.Fatal(err)
	}
	for name, colour := range map[string]string{"a": "black", "b": "white"} {
		run(t, tool, ffmpeg.Command{Args: []string{"-f", "lavfi", "-i", "color=" + colour + ":s=160x90:r=24:d=3", "-f",
			"lavfi", "-i", "anoisesrc=d=3:r=48000:a=0.1", "-c:v", "libx264", "-preset", "ultrafast", "-pix_fmt",
			"yuv420p",
			"-colorspace", "bt709", "-color_trc", "bt709", "-color_primaries", "bt709", "-c:a", "aac", "-y",
			filepath.Join(dir, "intake", name+".mp4")}})
	}
	const text = `version: 1
title: Black and white
tempo: {count_in: {measures: 2, cue: {measure: 1, beat: 1}}, changes: [{measure: 1, meter: 1/4, bpm: 120}], measures: 3}
release: yes
takes:
  - {name: a, player: A, video: {file: intake/a.mp4, offset: 0}}
  - {name: b, player: B, video: {file: intake/b.mp4, offset: 0}}
mix: {balance: manual, clean: off}
picture: {fps: 24, labels: false, lead_in: 1, tail: 0, gutter: 0, margin: 0}
shots:
  - {from: start, show: solo, take: a}
  - {from: m1, show: solo, take: b, transition: {kind: dissolve, beats: 1}}
  - {from: m3, show: tutti, transition: {kind: move, beats: 1}}
deliver: [{name: final, canvas: 160x90}]
`
	film := func(tool *ffmpeg.Tool) film {
		_, output := renderBy(t, tool, dir, text)
		return decodeFilm(t, findTool(t), output, w, h)
	}
	want := film(tool)
	if len(want.frames) != count {
		t.Fatalf("%d frames, want %d", len(want.frames), count)
	}
	for k := range beat {
		got, share := float64(want.frames[beat+k][h/2*w+w/2]), float64(k+1)/(beat+1)
		if math.Abs(got-255*share) > 4 {
			t.Errorf("frame %d of the dissolve has %.0f of 255, want %.0f", k, got, 255*share)
		}
	}
	others := otherReleases()
	if runtime.GOOS != "windows" {
		others = append(others, olderByName(t, tool))
	}
	for _, folder := range others {
		other := toolOf(t, folder)
		f := film(other)
		if len(f.frames) != count {
			t.Errorf("%s: %d frames, want %d", other.Version.Text, len(f.frames), count)
			continue
		}
		for k := range f.frames {
			if d := meanDifference(f.frames[k], want.frames[k]); d > 1 {
				t.Errorf("%s: frame %d differs by %.1f of 255 from that of %s", other.Version.Text, k, d,
					tool.Version.Text)
			}
		}
	}
}

// meanDifference returns by how much the pixels of two pictures differ.
func meanDifference(a, b []byte) float64 {
	sum := 0.0
	for i := range a {
		sum += math.Abs(float64(a[i]) - float64(b[i]))
	}
	return sum / float64(len(a))
}
