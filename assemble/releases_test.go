package assemble

import (
	"os"
	"path/filepath"
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
		t.Skip("there is no other ffmpeg; cmd/setup.sh --tests fetches one on Debian, RIPIENO_OTHER_FFMPEG names folders")
	}
	tool, dir := findTool(t), t.TempDir()
	takes := cast()
	for _, p := range takes {
		p.write(t, tool, dir)
	}
	text := manifestOf(takes, "")
	for _, folder := range others {
		other, err := ffmpeg.Options{FFmpeg: filepath.Join(folder, "ffmpeg"), FFprobe: filepath.Join(folder, "ffprobe")}.
			Find(t.Context())
		if err != nil {
			t.Errorf("%s: %v", folder, err)
			continue
		}
		t.Run(other.Version.Text, func(t *testing.T) {
			set := Settings{Dir: t.TempDir(), Report: progress.New(nil, progress.Quiet),
				Programs: ffmpeg.Options{FFmpeg: other.FFmpeg, FFprobe: other.FFprobe}}
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
			defer p.Close()
			r, err := p.Render(t.Context(), RenderOptions{})
			if err != nil || len(r.Faults) != 0 {
				t.Fatalf("%v, %+v", err, r.Faults)
			}
			grid, err := p.Grid(t.Context())
			if err != nil {
				t.Fatal(err)
			}
			f := decodeFilm(t, tool, r.Output, 640, 360)
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
