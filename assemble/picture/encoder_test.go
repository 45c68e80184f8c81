package picture

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"ripieno/assemble/ffmpeg"
	"ripieno/assemble/graph"
	"ripieno/assemble/plan"
	"ripieno/assemble/store"
	"ripieno/layout"
	"ripieno/layout/shot"
)

// The settings of every hardware encoder that this ffmpeg has are options it
// knows, with values it understands: without a device it fails at the device.
func TestHardwareSettingsAreOptions(t *testing.T) {
	t.Parallel()
	tool := findTool(t)
	p := Picker{Tool: tool, Rate: shot.Rate{Num: 30, Den: 1}}
	for _, codec := range []plan.Codec{plan.H264, plan.HEVC, plan.AV1} {
		for _, e := range graph.Encoders(codec) {
			if e.Software() || !tool.Encoder(e.Name) {
				continue
			}
			_, err := p.try(t.Context(), e.Name, layout.Canvas{W: 640, H: 360})
			if err == nil {
				t.Logf("%s works here", e.Name)
				continue
			}
			exit, ok := errors.AsType[*ffmpeg.ExitError](err)
			if !ok {
				t.Errorf("%s: %v", e.Name, err)
				continue
			}
			t.Logf("%s: %s", e.Name, whyNot(err))
			for _, bad := range []string{"Unrecognized option", "Option not found", "Unable to parse",
				"Undefined constant", "out of range", "No such filter"} {
				if exit.Says(bad) {
					t.Errorf("%s: %q", e.Name, exit.Tail)
				}
			}
		}
	}
}

// No more segments go to the hardware at once than it has sessions for, and
// whoever waits can be cancelled; software waits for nothing.
func TestSessionsOfHardware(t *testing.T) {
	p := make(sessions, 1)
	hard := graph.Coding{Encoder: "hevc_nvenc"}
	free, err := p.take(t.Context(), hard)
	if err != nil {
		t.Fatal(err)
	}
	gone, cancel := context.WithCancel(t.Context())
	cancel()
	if _, err := p.take(gone, hard); err != context.Canceled {
		t.Errorf("a second session: %v", err)
	}
	if _, err := p.take(gone, graph.Coding{Encoder: "libx265"}); err != nil {
		t.Errorf("software: %v", err)
	}
	free()
	if _, err := p.take(t.Context(), hard); err != nil {
		t.Errorf("after it was given back: %v", err)
	}
}

// Segments whose heads differ are not joined.
func TestHeadsThatDiffer(t *testing.T) {
	t.Parallel()
	tool := findTool(t)
	dir := t.TempDir()
	paths := make([]string, 3)
	for i, size := range []string{"64x64", "64x64", "128x64"} {
		paths[i] = filepath.Join(dir, fmt.Sprintf("%d.mp4", i))
		run(t, tool, ffmpeg.Command{Args: []string{"-f", "lavfi", "-i", "testsrc2=s=" + size, "-frames:v",
			fmt.Sprint(2 + i), "-c:v", "libx264", "-pix_fmt", "yuv420p", paths[i]}})
	}
	if err := sameHeads(paths[:2]); err != nil {
		t.Error(err)
	}
	if err := sameHeads(paths); err == nil || !strings.Contains(err.Error(), "segment 3 of 3") {
		t.Errorf("a segment of another size: %v", err)
	}
	if err := sameHeads(append(paths[:1], filepath.Join(dir, "none.mp4"))); !os.IsNotExist(err) {
		t.Errorf("a segment that is not there: %v", err)
	}
}

// The usual coding is in no key, and every other is.
func TestCodingInKeys(t *testing.T) {
	key := func(c graph.Coding) string {
		return withCoding(store.NewAction("segment"), c).String()
	}
	if got := key(graph.Coding{}); got != store.NewAction("segment").String() {
		t.Errorf("the usual coding is in the key: %s", got)
	}
	if got := key(graph.Coding{Encoder: "libx265"}); !strings.Contains(got, "libx265") {
		t.Errorf("another coding is not in the key: %s", got)
	}
}
