package picture

import (
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"ripieno/assemble/ffmpeg"
	"ripieno/assemble/graph"
	"ripieno/assemble/plan"
	"ripieno/layout/shot"
)

// Hardware decodes only what it is shown to decode as software does, byte by byte; each
// codec and profile is tried once.
func TestDecodersAreProved(t *testing.T) {
	rate := shot.Rate{Num: 30, Den: 1}
	take := plan.Conform{Take: "oboe", W: 160, H: 90, Frames: plan.Span{To: 300}, Picture: plan.Picture{
		Path: "/takes/oboe.mp4", W: 320, H: 180, FPS: 30, Last: 10, PixFmt: "yuv420p", Matrix: "bt709", Codec: "h264 High"}}
	fields, full := take, take
	fields.Picture.Fields, full.Picture.Range = [2]int{320, 180}, "pc"
	for _, c := range []struct {
		name, choice string
		take         plan.Conform
		outputs      map[string]string // of the devices that work
		want, told   string
		runs         int
	}{
		{"software", graph.UseSoftware, take, map[string]string{"cuda": "same"}, "", "", 0},
		{"the same", graph.UseAuto, take, map[string]string{"cuda": "same"}, "cuda", "", 2},
		{"another device", graph.UseAuto, take, map[string]string{"vaapi": "same"}, "vaapi", "", 4},
		{"other bytes", graph.UseAuto, take, map[string]string{"cuda": "other"}, "", "cuda decodes it otherwise", 6},
		{"none", graph.UseAuto, take, nil, "", "", 6},
		{"none of that kind", "cuda", take, nil, "", "cuda does not work here", 2},
		{"of that kind", "cuda", take, map[string]string{"cuda": "same"}, "cuda", "", 2},
		{"fields", graph.UseAuto, fields, map[string]string{"cuda": "same"}, "", "", 0},
		{"full range", graph.UseAuto, full, map[string]string{"cuda": "same"}, "", "", 0},
	} {
		runs, told := 0, ""
		tool := ffmpeg.Recorded(ffmpeg.ParseVersion("ffmpeg version 7.1"), nil, func(cmd ffmpeg.Command) error {
			runs++
			args := strings.Join(cmd.Args, " ")
			if !strings.Contains(args, "-frames:v 48") {
				t.Errorf("%s: %s", c.name, args)
			}
			output := "same"
			if _, after, ok := strings.Cut(args, "-hwaccel "); ok {
				device, _, _ := strings.Cut(after, " ")
				if output = c.outputs[device]; output == "" {
					return errors.New("no such device")
				}
			}
			for _, a := range cmd.Args {
				if path, ok := strings.CutPrefix(a, "file:"); ok && !strings.HasPrefix(path, "/takes/") {
					return os.WriteFile(path, []byte(output), 0o666)
				}
			}
			return errors.New("no output")
		})
		d := &Decoders{Tool: tool, Choice: c.choice, Tell: func(text string) { told += text }}
		for range 2 {
			if got := d.pick(t.Context(), c.take, graph.Source{Path: "file:/takes/oboe.mp4"}, rate,
				filepath.Join(t.TempDir(), "out")); got != c.want {
				t.Errorf("%s: decoded by %q", c.name, got)
			}
		}
		if runs != c.runs || !strings.Contains(told, c.told) || c.told == "" && told != "" {
			t.Errorf("%s: %d runs instead of %d, told %q", c.name, runs, c.runs, told)
		}
	}
	var none *Decoders
	if got := none.pick(t.Context(), take, graph.Source{}, rate, ""); got != "" {
		t.Errorf("without decoders %q decodes", got)
	}
}

// What decodes a take is in no key: the same result is shared by all.
func TestWhatDecodesIsInNoKey(t *testing.T) {
	_, f, _ := planned(t, &recorder{})
	c := f.Conforms[0]
	m := &Maker{tool: (&recorder{}).tool()}
	one, err := m.conformKey(c)
	if err != nil {
		t.Fatal(err)
	}
	c.Picture.Codec, c.Picture.Cuts = "hevc Main 10", []float64{1, 2}
	m.WithDecoders(&Decoders{Choice: graph.UseAuto})
	if two, err := m.conformKey(c); err != nil || two.ID() != one.ID() {
		t.Errorf("another key: %v", err)
	}
	c.Keys = true
	if three, err := m.conformKey(c); err != nil || three.ID() == one.ID() {
		t.Errorf("a first look has the key of the whole: %v", err)
	}
}
