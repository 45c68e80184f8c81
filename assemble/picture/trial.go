package picture

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"image"
	"image/color"
	"image/png"
	"io"
	"os"
	"path/filepath"

	"ripieno/assemble/ffmpeg"
	"ripieno/assemble/graph"
	"ripieno/assemble/plan"
	"ripieno/layout"
	"ripieno/layout/shot"
)

// A trial is a few frames of made-up pictures that go through everything that depends
// on how a processor computes: scaling, tone mapping, which differs between
// generations of one maker, composing and both encoders.
const (
	trialWidth, trialHeight = 320, 180
	trialFrames             = 8
)

var trialRate = shot.Rate{Num: 25, Den: 1}

// Trial makes a trial film and returns the hash of all it is made of. Two machines
// that give the same hash, with the same ffmpeg, make the same films. What a build of
// ffmpeg cannot do is part of the hash. It fails when ctx ends or nothing at all can
// be made. It writes to the system's temporary folder and leaves nothing there.
func Trial(ctx context.Context, tool *ffmpeg.Tool) (string, error) {
	dir, err := os.MkdirTemp("", "ripieno-trial-")
	if err != nil {
		return "", err
	}
	defer os.RemoveAll(dir)
	h := sha256.New()
	var made []string
	for _, t := range []struct {
		format, transfer string
		hdr              bool
	}{{"yuv420p", "", false}, {"yuv420p10le", "smpte2084", true}} {
		path := filepath.Join(dir, t.format+".mp4")
		err := trialPicture(ctx, tool, t.format, path)
		if err == nil {
			w := conformWork{Rate: trialRate, Cost: 1, Conform: plan.Conform{
				W: trialWidth * 4 / 5, H: trialHeight * 4 / 5, Frames: plan.Span{From: 0, To: trialFrames},
				Picture: plan.Picture{W: trialWidth, H: trialHeight, Last: 2 * trialFrames / trialRate.FPS(),
					FPS: trialRate.FPS(), PixFmt: t.format, HDR: t.hdr, Transfer: t.transfer},
			}}
			out := filepath.Join(dir, t.format+"-conformed.mp4")
			if err = w.elsewhere(ctx, tool, path, out); err == nil {
				made = append(made, out)
				err = addFile(h, out)
			}
		}
		if ctx.Err() != nil {
			return "", ctx.Err()
		}
		if err != nil {
			fmt.Fprintf(h, "without %s\n", t.format)
		}
	}
	if len(made) == 0 {
		return "", fmt.Errorf("picture: this ffmpeg makes no trial film")
	}
	if err := trialSegment(ctx, tool, dir, made, h); err != nil {
		return "", err
	}
	return hex.EncodeToString(h.Sum(nil)), nil
}

// trialPicture writes a picture that moves, without loss.
func trialPicture(ctx context.Context, tool *ffmpeg.Tool, format, path string) error {
	return tool.Run(ctx, ffmpeg.Command{Args: []string{
		"-f", "lavfi", "-i", fmt.Sprintf("testsrc2=size=%dx%d:rate=25", trialWidth, trialHeight), "-frames:v",
		fmt.Sprint(2 * trialFrames), "-vf", "format=" + format, "-c:v", "libx264", "-qp", "0", "-threads", "1",
		"-fflags",
		"+bitexact", "-f", "mp4", "file:" + path}})
}

// trialSegment composes conformed pictures beside each other and adds the segment to
// a hash.
func trialSegment(ctx context.Context, tool *ffmpeg.Tool, dir string, made []string, h io.Writer) error {
	over := filepath.Join(dir, "overlay.png")
	if err := trialOverlay(over); err != nil {
		return err
	}
	w := segmentWork{Segment: graph.Segment{
		Canvas: layout.Canvas{W: 2 * trialWidth, H: trialHeight}, Rate: trialRate, Frames: trialFrames,
		Zscale: tool.Filter("zscale"), Queues: tool.QueuesInputs(), Backdrop: "0.png",
		Scene: graph.Scene{Overlay: "0.png"},
	}}
	w.Segment.Copy = smallCopy(w.Segment.Canvas)
	in := []string{over}
	for i, path := range made {
		in = append(in, path)
		w.Segment.Pieces = append(w.Segment.Pieces, graph.Piece{
			Path: fmt.Sprintf("%d.mp4", i+1), Count: trialFrames,
			Crop: layout.Rect{W: trialWidth * 4 / 5, H: trialHeight * 4 / 5},
			W:    trialWidth * 4 / 5, H: trialHeight * 4 / 5, Hole: layout.Rect{X: i * trialWidth, W: trialWidth,
				H: trialHeight},
		})
	}
	out := filepath.Join(dir, "segment")
	if err := os.Mkdir(out, 0o700); err != nil {
		return err
	}
	if err := w.run(ctx, tool, make(sessions, 1), in, out, func(float64) {}); err != nil {
		return err
	}
	for _, name := range []string{segmentFile, copyFile} {
		if err := addFile(h, filepath.Join(out, name)); err != nil {
			return err
		}
	}
	return nil
}

// trialOverlay writes a picture that is half transparent at its lower edge.
func trialOverlay(path string) error {
	img := image.NewNRGBA(image.Rect(0, 0, 2*trialWidth, trialHeight))
	for y := trialHeight * 4 / 5; y < trialHeight; y++ {
		for x := range 2 * trialWidth {
			img.SetNRGBA(x, y, color.NRGBA{uint8(x), uint8(y), 90, 128})
		}
	}
	f, err := os.Create(path)
	if err != nil {
		return err
	}
	defer f.Close()
	return png.Encode(f, img)
}

// addFile adds the bytes of a file to a hash.
func addFile(h io.Writer, path string) error {
	f, err := os.Open(path)
	if err != nil {
		return err
	}
	defer f.Close()
	n, err := io.Copy(h, f)
	fmt.Fprintf(h, "\n%d\n", n)
	return err
}
