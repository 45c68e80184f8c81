package soundtrack

import (
	"errors"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"testing"

	"ripieno/assemble/ffmpeg"
	"ripieno/assemble/plan"
	"ripieno/assemble/plan/plantest"
	"ripieno/assemble/store"
	"ripieno/assemble/task"
	"ripieno/mix/audio"
)

// round is a small production of three takes in two sections.
const round = `version: 1
title: Test Round
release: yes
tempo: {count_in: {measures: 2}, changes: [{measure: 1, meter: 4/4, bpm: 120}], measures: 4}
sections: [{name: winds, gain: 0}, {name: low strings, gain: -1.5}]
takes:
  - {name: oboe, part: Oboe, section: winds, audio: {file: intake/oboe.wav, offset: 0}}
  - {name: cello, part: Cello, section: low strings, audio: {file: intake/cello.wav, offset: 0}}
  - {name: bass, part: Bass, section: low strings, audio: {file: intake/bass.wav, offset: 0}}
mix: {loudness: -16, true_peak: -1, room: 0.2}
`

// planned plans the mix of the production with words of its manifest replaced.
func planned(t *testing.T, tool *ffmpeg.Tool, changes ...string) *Track {
	t.Helper()
	pl := plantest.Plan(t, round, false, changes...)
	var sounds []Sound
	for _, s := range pl.Strips {
		made := task.File(task.Task{ID: task.ID("sound", s.Take), Action: store.NewAction("sound").Arg("take",
			s.Take).Files("sound.wav")}, "sound.wav")
		sounds = append(sounds, Sound{Samples: made, Name: s.Take, File: "intake/" + s.Take + ".wav", Seconds: 60})
	}
	return New(tool, 2, pl, sounds, nil, Casting{})
}

func plainTool(take func(ffmpeg.Command) error) *ffmpeg.Tool {
	return ffmpeg.Recorded(ffmpeg.ParseVersion("ffmpeg version 7.1"), nil, take)
}

// edges returns all tasks of a mix with its stems.
func edges(t *Track) []task.Edge {
	list := []task.Edge{t.Master}
	for _, s := range t.Stems() {
		list = append(list, s.Made)
	}
	return list
}

// Every strip is measured and becomes a voice; the sum reads all voices, the
// master the sum alone, and a section's stem those of its takes.
func TestMixAsTasks(t *testing.T) {
	track := planned(t, plainTool(nil))
	byID := map[string]task.Task{}
	for _, x := range task.Collect(edges(track)...) {
		byID[x.ID] = x
	}
	for id, want := range map[string][]string{
		"level/cello": {"sound/cello"},
		"heard/cello": {"sound/cello", "level/cello"},
		"voice/cello": {"sound/cello", "level/cello", "heard/cello"},
		"sum": {"level/oboe", "heard/oboe", "voice/oboe", "level/cello", "heard/cello", "voice/cello", "level/bass",
			"heard/bass",
			"voice/bass"},
		"master":              {"sum"},
		"stem/bass":           {"level/bass", "heard/bass", "voice/bass"},
		"section/low strings": {"stem/cello", "stem/bass"},
		"section/winds":       {"stem/oboe"},
	} {
		if got := byID[id].After; !slices.Equal(got, want) {
			t.Errorf("%s comes after %q, want %q", id, got, want)
		}
	}
	var files []string
	for _, s := range track.Stems() {
		files = append(files, s.File)
	}
	want := []string{"stems/takes/oboe.wav", "stems/takes/cello.wav", "stems/takes/bass.wav",
		"stems/sections/winds.wav", "stems/sections/low-strings.wav"}
	if !slices.Equal(files, want) {
		t.Errorf("stems lie at %q, want %q", files, want)
	}
}

// What a change of the manifest makes again, by the keys alone.
func TestWhatAChangeMixesAgain(t *testing.T) {
	known := map[store.ID]bool{}
	for _, x := range task.Collect(edges(planned(t, plainTool(nil)))...) {
		known[x.Action.ID()] = true
	}
	for _, c := range []struct{ what, old, new, again string }{
		{"nothing", "Test Round", "Test Round", ""},
		{"a gain", "{name: bass, ", "{name: bass, gain: -3, ", "sum master stem/bass section/low strings"},
		{"a section's gain", "gain: -1.5", "gain: -2", "sum master stem/cello stem/bass section/low strings"},
		{"a trim", "{name: bass, ", "{name: bass, trim: {to: m3}, ",
			"level/bass heard/bass voice/bass sum master stem/bass section/low strings"},
		{"a take as recorded", "{name: bass, ", "{name: bass, clean: off, ",
			"voice/bass sum master stem/bass section/low strings"},
		{"a take with its noise", "{name: bass, ", "{name: bass, clean: {noise: false}, ",
			"voice/bass sum master stem/bass section/low strings"},
		{"the loudness", "loudness: -16", "loudness: -18", "master"},
		{"the title", "Test Round", "Other Round", "master"},
		{"a fade", "room: 0.2", "room: 0.2, fade_in: 1",
			"sum master stem/oboe stem/cello stem/bass section/winds section/low strings"},
	} {
		var again []string
		for _, x := range task.Collect(edges(planned(t, plainTool(nil), c.old, c.new))...) {
			if !known[x.Action.ID()] {
				again = append(again, x.ID)
			}
		}
		want := strings.FieldsFunc(strings.ReplaceAll(strings.ReplaceAll(c.again, "low strings", "low_strings"), " ",
			","), func(r rune) bool { return r == ',' })
		for i := range want {
			want[i] = strings.ReplaceAll(want[i], "low_strings", "low strings")
		}
		slices.Sort(again)
		slices.Sort(want)
		if !slices.Equal(again, want) {
			t.Errorf("%s makes %q again, want %q", c.what, again, want)
		}
	}
}

// A mix in which nothing is done to takes by themselves has the keys that it had
// before anything was: they were written down with the program of that time. That of the
// master is of the program that began to try gains beside each other.
func TestOffIsAsBefore(t *testing.T) {
	for _, off := range []string{"room: 0.2, clean: off",
		"room: 0.2, clean: {silence: false, noise: false, hum: false, tops: false}"} {
		byID := map[string]string{}
		for _, x := range task.Collect(edges(planned(t, plainTool(nil), "room: 0.2", off))...) {
			byID[x.ID] = x.Action.ID().String()
		}
		for id, want := range map[string]string{
			"level/cello":         "0a6d5c07d55ef233868093967360eb490d8b2e91520d71bd16a07abd096ed6af",
			"voice/cello":         "4d32cde4db7b77470d39e1853c3a21bc1089ccfdb2c0934ccc80e28e4c9d774d",
			"sum":                 "8b65a22126caf6c84c549d1d46b593a0d205f378c88ab4dec518e50a2f7351c1",
			"master":              "7629618acc625c6889400ae7101c980a55e0f961390a6ffd2b5a3a54b5332c39",
			"stem/bass":           "fb93204ee684f3995c73d8fbd31e1843539af73df2adae3b76285417182dcd03",
			"section/low strings": "c673b03decdf6a48be68796f03bc3f23723b0cc740c913d3c132ba56fd64e6ac",
		} {
			if byID[id] != want {
				t.Errorf("%s: the key of %s is %s, want %s", off, id, byID[id], want)
			}
		}
		if _, heard := byID["heard/cello"]; heard {
			t.Errorf("%s: takes are heard for nothing", off)
		}
	}
}

// Sections whose targets are shared out count the strips that are left.
func TestKeepSharesTargetsAgain(t *testing.T) {
	track := planned(t, plainTool(nil), "{name: low strings, gain: -1.5}", "{name: low strings, target: -20}")
	pl := &plan.Plan{Mix: track.mix, Timeline: track.line}
	for _, p := range track.parts {
		pl.Strips = append(pl.Strips, p.Strip)
	}
	both := pl.Strips[1].Group
	pl.Keep(func(s plan.Strip) bool { return s.Take != "bass" })
	if len(pl.Strips) != 2 || len(track.parts) != 3 {
		t.Fatalf("%d strips are left of %d", len(pl.Strips), len(track.parts))
	}
	if by := pl.Strips[1].Group - both; by < 3.01 || by > 3.02 { // 10·log10(2)
		t.Errorf("alone the cello is %.3f dB louder than beside the bass", float64(by))
	}
}

// Releases that cannot say how long the last frame is encode a long sound whole; later
// ones encode it in pieces.
func TestOldReleasesEncodeWhole(t *testing.T) {
	for _, c := range []struct {
		version ffmpeg.Version
		want    int // pieces that are begun
	}{{ffmpeg.Version{Major: 4, Minor: 4}, 1}, {ffmpeg.Version{Major: 5, Minor: 1}, 3}} {
		var mu sync.Mutex
		ends := map[string]int{}
		tool := ffmpeg.Recorded(c.version, nil, func(c ffmpeg.Command) error {
			mu.Lock()
			defer mu.Unlock()
			path, isFile := strings.CutPrefix(c.Args[len(c.Args)-1], "file:")
			if !isFile {
				return nil // a sound that is read through a pipe
			}
			ends[filepath.Ext(path)]++
			return os.WriteFile(path, nil, 0o666)
		})
		b := bus{tool: tool, workers: 1}
		// No recorded command makes a sound, so joining or measuring fails after them.
		if _, err := b.encode(t.Context(), "/tmp/master.wav", t.TempDir()+"/film.m4a", joinsAt); err == nil {
			t.Errorf("%+v: an empty sound was measured", c.version)
		}
		if got := ends[".m4a"] + ends[".aac"]; got != c.want || (c.want == 1) != (ends[".m4a"] == 1) {
			t.Errorf("%+v: %v were encoded, want %d", c.version, ends, c.want)
		}
	}
}

// The encoder is asked for the film's sound once a master is written.
func TestArgumentsOfEncoding(t *testing.T) {
	var args []string
	recorded := errors.New("recorded")
	tool := plainTool(func(c ffmpeg.Command) error { args = c.Args; return recorded })
	b := bus{tool: tool}
	if _, err := b.encode(t.Context(), "/tmp/master.wav", t.TempDir()+"/film.m4a",
		audio.Rate); !errors.Is(err, recorded) {
		t.Fatal(err)
	}
	line := strings.Join(args, " ")
	for _, want := range []string{"-i file:/tmp/master.wav", "aac", "film.m4a"} {
		if !strings.Contains(line, want) {
			t.Errorf("no %q in %s", want, line)
		}
	}
}
