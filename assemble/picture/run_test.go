package picture

import (
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"ripieno/assemble/ffmpeg"
	"ripieno/assemble/graph"
	"ripieno/assemble/plan"
	"ripieno/assemble/task"
	"ripieno/layout/shot"
)

// oboe is a picture that a device can decode.
var oboe = plan.Conform{Take: "oboe", W: 160, H: 90, Picture: plan.Picture{Path: "/takes/oboe.mp4", W: 320, H: 180,
	FPS: 30, Last: 10, PixFmt: "yuv420p", Matrix: "bt709", Codec: "h264 High"}}

// TestPiecesThatFollowEachOtherShareAProcess: two that touch are made together and one that
// lies apart alone. When nothing comes of the process, each is made by itself, and has an
// error of its own.
func TestPiecesThatFollowEachOtherShareAProcess(t *testing.T) {
	var wrote []int // pictures, by process
	tool := ffmpeg.Recorded(ffmpeg.ParseVersion("ffmpeg version 5.1"), nil, func(cmd ffmpeg.Command) error {
		n := 0
		for _, a := range cmd.Args {
			if strings.HasPrefix(a, "file:") && strings.HasSuffix(a, ".part.mp4") {
				n++
			}
		}
		wrote = append(wrote, n)
		return nil
	})
	m := &Maker{tool: tool, line: plan.Timeline{Rate: shot.Rate{Num: 30, Den: 1}},
		together: map[samePicture]*conformBatch{}}
	dir := t.TempDir()
	var members []task.Member
	batches := map[*task.Batch]bool{}
	var batch *task.Batch
	for i, f := range []plan.Span{{From: 60, To: 90}, {From: 0, To: 30}, {From: 30, To: 59}} {
		w := conformWork{Conform: oboe}
		w.Conform.Frames = f
		id := string(rune('a' + i))
		batch = m.batchOf(w, id)
		batches[batch] = true
		members = append(members, task.Member{ID: id, Tmp: filepath.Join(dir, id+".part.mp4"),
			Advance: func(float64) {}})
	}
	if wrong := batch.Make(t.Context(), members); len(wrong) != 3 || slices.Contains(wrong, nil) {
		t.Errorf("nothing was written, and the errors are %v", wrong)
	}
	if want := []int{2, 1, 1, 1}; len(batches) != 1 || !slices.Equal(wrote, want) {
		t.Errorf("%d batches; processes write %v pictures, not %v", len(batches), wrote, want)
	}
	look := conformWork{Conform: oboe}
	look.Conform.Keys = true
	if m.batchOf(look, "d") != nil {
		t.Error("a first look is made of several pieces")
	}
}

// TestADeviceIsLentToSoMany: all of a take goes to a device while there is room and it is not
// known to fail; who comes when there is none decodes in software, or waits with a whole take.
func TestADeviceIsLentToSoMany(t *testing.T) {
	known := make(chan struct{})
	d := &Decoders{Choice: "cuda", proved: map[kindOfPicture]*proof{}}
	if !d.hasRoom(oboe) {
		t.Error("a device has no room before anybody knows whether it works")
	}
	d.proved[kindOf(oboe)] = &proof{known: known}
	if !d.hasRoom(oboe) {
		t.Error("a device has no room while it is tried")
	}
	close(known)
	if d.hasRoom(oboe) {
		t.Error("a device that does not work has room")
	}
	d.proved[kindOf(oboe)].device = "cuda"
	rate := shot.Rate{Num: 30, Den: 1}
	lend := func(patient bool) (string, func()) {
		return d.lend(t.Context(), oboe, graph.Source{}, rate, "", patient)
	}
	var free func()
	for i := range mostLent {
		device, back := lend(false)
		if free = back; device != "cuda" {
			t.Errorf("number %d decodes by %q", i, device)
		}
	}
	if device, _ := lend(false); device != "" || d.hasRoom(oboe) {
		t.Errorf("one too many decodes by %q", device)
	}
	waited := make(chan string)
	go func() {
		device, _ := lend(true)
		waited <- device
	}()
	select {
	case device := <-waited:
		t.Errorf("who is patient got %q while others had the device", device)
	case <-time.After(20 * time.Millisecond):
	}
	free()
	if device := <-waited; device != "cuda" {
		t.Errorf("who waited decodes by %q", device)
	}
}
