package takes

import (
	"bytes"
	"context"
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"ripieno/assemble/ffmpeg"
	"ripieno/assemble/ffmpeg/ffmpegtest"
	"ripieno/assemble/media"
	"ripieno/assemble/production"
	"ripieno/assemble/store"
	"ripieno/assemble/task"
)

// TestTakesAreHeardAndSeenTheSameElsewhere decodes, hears and sees a small file at home and,
// from text and a copy of the file under another name, by the rules.
func TestTakesAreHeardAndSeenTheSameElsewhere(t *testing.T) {
	t.Parallel()
	tool := ffmpegtest.Tool(t)
	path := ffmpegtest.Make(t, "horn.mp4", "-f", "lavfi", "-i", "testsrc2=size=96x64:rate=10:duration=2", "-f",
		"lavfi", "-i",
		"sine=440:duration=2:beep_factor=4", "-c:v", "libx264", "-preset", "ultrafast", "-c:a", "aac")
	info, err := media.Probe(t.Context(), tool, path)
	if err != nil {
		t.Fatal(err)
	}
	data, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	r := &Recording{Owner: "horn", Role: Video, File: &production.File{Path: "horn.mp4"}, Path: path, Info: info,
		Hash: store.HashBytes(data)}
	r.decodeTask(tool, nil, nil)
	far := filepath.Join(t.TempDir(), "in-0.mp4")
	if err := os.WriteFile(far, data, 0o600); err != nil {
		t.Fatal(err)
	}
	rules := Rules(tool)
	sounds := compareRule(t, rules, r.refs.decoded.Task(), nil, []string{far}, soundWAV, soundAccount)
	wav := filepath.Join(sounds, soundWAV)
	heard := featuresTask(r)
	compareRule(t, rules, heard.Task(), task.Inputs{r.Sound.Task().ID: sounds}, []string{wav})
	seen := newSeeing(tool, nil).task(r)
	compareRule(t, rules, seen.Task(), nil, []string{far})

	for name, c := range map[string]struct {
		rule, args string
		in         []string
	}{
		"no arguments":        {RuleSee, "[]", []string{far}},
		"no file":             {RuleSound, `{"Info":{"Audio":{"Channels":1}}}`, nil},
		"no sound is known":   {RuleSound, "{}", []string{far}},
		"no picture is known": {RuleSee, "{}", []string{far}},
		"no sound":            {RuleFeatures, "{}", []string{far}},
		"two sounds":          {RuleFeatures, "{}", []string{wav, wav}},
		"it is not there":     {RuleSee, "{}", []string{far + "x"}},
	} {
		dst := filepath.Join(t.TempDir(), "dst")
		if err := rules[c.rule](t.Context(), []byte(c.args), c.in, dst); err == nil {
			t.Errorf("%s: %s makes something", name, c.rule)
		}
	}
}

// compareRule makes a task here and by its rule from other files, compares the bytes and
// returns what was made here. The names are those of the files of an output of several.
func compareRule(t *testing.T, rules map[string]func(context.Context, []byte, []string, string) error, x *task.Task,
	in task.Inputs,
	far []string, names ...string) string {
	t.Helper()
	here, there := filepath.Join(t.TempDir(), "here"), filepath.Join(t.TempDir(), "there")
	for _, dir := range []string{here, there} {
		if len(names) == 0 {
			break
		}
		if err := os.Mkdir(dir, 0o700); err != nil {
			t.Fatal(err)
		}
	}
	args, err := json.Marshal(x.Errand.Args)
	if err != nil {
		t.Fatal(err)
	}
	if strings.Contains(string(args), filepath.Dir(far[0])) || strings.Contains(string(args), "horn") {
		t.Errorf("%s tells more than another machine needs: %s", x.Errand.Rule, args)
	}
	if err := x.Make(t.Context(), in, here, func(float64) {}); err != nil {
		t.Fatal(err)
	}
	if err := rules[x.Errand.Rule](t.Context(), args, far, there); err != nil {
		t.Fatal(err)
	}
	if len(names) == 0 {
		names = []string{""}
	}
	for _, n := range names {
		a, err1 := os.ReadFile(filepath.Join(here, n))
		b, err2 := os.ReadFile(filepath.Join(there, n))
		if err1 != nil || err2 != nil || len(a) == 0 || !bytes.Equal(a, b) {
			t.Errorf("%s %s: %d bytes here and %d there, %v, %v", x.Errand.Rule, n, len(a), len(b), err1, err2)
		}
	}
	return here
}

// TestFilesThatAreNotReleasedStay: no order is about them, in whatever role they are; what
// was recorded as sound of the same take may have a picture too.
func TestFilesThatAreNotReleasedStay(t *testing.T) {
	t.Parallel()
	tool := ffmpeg.Recorded(ffmpeg.Version{Text: "7.1"}, nil, nil)
	for stays, want := range map[bool]bool{false: true, true: false} {
		set, _ := oboe(tool)
		o := set.Takes[0]
		for _, r := range o.Recordings() {
			r.stays = stays
			r.decodeTask(tool, nil, nil)
			if got := r.refs.decoded.Task().Errand != nil; got != want {
				t.Errorf("the sound of %s may be decoded elsewhere: %v", r.Name(), got)
			}
		}
		if got := newSeeing(tool, nil).task(o.Video).Task().Errand != nil; got != want {
			t.Errorf("the picture may be seen elsewhere: %v", got)
		}
	}
}
