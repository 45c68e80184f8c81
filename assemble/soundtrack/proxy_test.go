package soundtrack

import (
	"errors"
	"path/filepath"
	"strings"
	"testing"

	"ripieno/assemble/ffmpeg"
	"ripieno/assemble/media"
	"ripieno/assemble/store"
	"ripieno/assemble/task"
	"ripieno/mix/audio"
)

// proxyEdges are the tasks of all proxies.
func proxyEdges(track *Track) []task.Edge {
	var list []task.Edge
	for _, p := range track.parts {
		list = append(list, track.Proxies()[p.Take])
	}
	return list
}

// A proxy is made of its voice, again only with its voice, and by another ffmpeg; nothing
// else is made otherwise because there are proxies.
func TestProxiesAreTasksOfTheirVoices(t *testing.T) {
	known, ids := map[store.ID]bool{}, map[string]task.Task{}
	for _, x := range task.Collect(proxyEdges(planned(t, plainTool(nil)))...) {
		known[x.Action.ID()], ids[x.ID] = true, x
	}
	if got := ids["proxy/cello"].After; len(got) != 1 || got[0] != "voice/cello" {
		t.Errorf("a proxy comes after %q", got)
	}
	for _, c := range []struct{ what, old, new, again string }{
		{"nothing", "Test Round", "Test Round", ""},
		{"a gain, a place, a mute", "{name: bass, ", "{name: bass, gain: -3, pan: 20, ", ""},
		{"a section's gain", "gain: -1.5", "gain: -2", ""},
		{"the room", "room: 0.2", "room: 0.3", ""},
		{"a low cut", "{name: bass, ", "{name: bass, low_cut: 90, ", "voice/bass proxy/bass"},
	} {
		var again []string
		for _, x := range task.Collect(proxyEdges(planned(t, plainTool(nil), c.old, c.new))...) {
			if !known[x.Action.ID()] {
				again = append(again, x.ID)
			}
		}
		if got := strings.Join(again, " "); got != c.again {
			t.Errorf("%s makes %q again, want %q", c.what, got, c.again)
		}
	}
	other := ffmpeg.Recorded(ffmpeg.ParseVersion("ffmpeg version 8.0"), nil, nil)
	if of := planned(t, other).Proxies()["cello"]; known[of.Action().ID()] {
		t.Error("another ffmpeg makes the same bytes")
	}
	mixed := map[string]bool{}
	for _, x := range task.Collect(edges(planned(t, plainTool(nil)))...) {
		mixed[x.ID] = true
	}
	if mixed["proxy/cello"] {
		t.Error("a mix makes proxies that nobody hears")
	}
}

// A proxy has the channels of its voice, and what it is encoded from is the voice's file.
func TestAProxyHasTheChannelsOfItsVoice(t *testing.T) {
	for channels, rate := range map[int]string{1: "96k", 2: "192k"} {
		dir := t.TempDir()
		_, err := media.CreateWAV(t.Context(), filepath.Join(dir, voiceWAV),
			audio.NewMemory(audio.NewBlock(channels, 10),
				audio.Rate), media.Float32)
		if err != nil {
			t.Fatal(err)
		}
		var args []string
		recorded := errors.New("recorded")
		track := planned(t, plainTool(func(c ffmpeg.Command) error { args = c.Args; return recorded }))
		made := track.Proxies()["oboe"].Task()
		if err := made.Make(t.Context(), task.Inputs{"voice/oboe": dir}, filepath.Join(dir, "p.aac"),
			nil); !errors.Is(err, recorded) {
			t.Fatal(err)
		}
		line := strings.Join(args, " ")
		for _, want := range []string{"-b:a " + rate, "-f adts", "-i file:" + filepath.Join(dir, voiceWAV), "p.aac"} {
			if !strings.Contains(line, want) {
				t.Errorf("no %q in %s", want, line)
			}
		}
	}
}
