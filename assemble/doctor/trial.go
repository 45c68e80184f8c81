package doctor

import (
	"context"
	"fmt"
	"os"
	"path/filepath"
	"strings"

	"ripieno/assemble/ffmpeg"
)

// The film by which [Report.Minute] is found: players who hold a phone in HD, on a
// grid in Full HD.
const (
	TrialPlayers = 9
	TrialSeconds = 4 // of the film
	trialCanvas  = "1920x1080"
)

// trialText is the manifest of that film: two measures of four beats at 120, which
// are four seconds.
const trialText = `version: 1
title: Trial
release: yes
tempo: {count_in: {measures: 1}, changes: [{measure: 1, meter: 4/4, bpm: 120}], measures: 2}
picture: {lead_in: 0, tail: 0}
deliver: [{name: trial, canvas: ` + trialCanvas + `}]
takes:
`

// WriteTrial writes a small production into a folder of its own, which is the caller's
// to remove: a moving test picture with a tone, of which every player has a stretch of
// their own, placed by the manifest.
func WriteTrial(ctx context.Context, tool *ffmpeg.Tool) (dir string, err error) {
	if dir, err = os.MkdirTemp("", "ripieno-trial-*"); err != nil {
		return "", err
	}
	if err := writeTrial(ctx, tool, dir); err != nil {
		os.RemoveAll(dir)
		return "", err
	}
	return dir, nil
}

// writeTrial writes a production into dir: one film that every player of the trial shares,
// and a manifest. The film is some seconds longer than what is made of it.
func writeTrial(ctx context.Context, tool *ffmpeg.Tool, dir string) error {
	const length = TrialSeconds + 4
	err := tool.Run(ctx, ffmpeg.Command{About: "trial", Args: []string{
		"-f", "lavfi", "-i", fmt.Sprintf("testsrc2=size=1280x720:rate=30:duration=%d", length),
		"-f", "lavfi", "-i", fmt.Sprintf("sine=frequency=440:sample_rate=48000:duration=%d", length),
		"-c:v", "libx264", "-preset", "ultrafast", "-crf", "23", "-g", "30", "-pix_fmt", "yuv420p",
		"-colorspace", "bt709", "-color_primaries", "bt709", "-color_trc", "bt709", "-color_range", "tv",
		"-c:a", "aac", "-y", "file:" + filepath.Join(dir, "take.mp4"),
	}})
	if err != nil {
		return err
	}
	var b strings.Builder
	b.WriteString(trialText)
	for i := range TrialPlayers {
		fmt.Fprintf(&b, "  - {name: player-%d, player: Player %[1]d, part: Part %[1]d, "+
			"video: {file: take.mp4, offset: %.2f}}\n", i+1, 1.8-0.15*float64(i))
	}
	return os.WriteFile(filepath.Join(dir, "production.yaml"), []byte(b.String()), 0o666)
}
