package picture

import (
	"testing"

	"ripieno/assemble/ffmpeg"
	"ripieno/assemble/ffmpeg/ffmpegtest"
	"ripieno/assemble/graph"
)

// findTool returns ffmpeg; without it a test is skipped, or fails under CI.
func findTool(t testing.TB) *ffmpeg.Tool {
	t.Helper()
	return ffmpegtest.Tool(t)
}

func run(t testing.TB, tool *ffmpeg.Tool, c ffmpeg.Command) {
	t.Helper()
	if err := tool.Run(t.Context(), c); err != nil {
		t.Fatal(err)
	}
}

// runGraph runs a command with its graph in a file.
func runGraph(t testing.TB, tool *ffmpeg.Tool, c graph.Command, out string) {
	t.Helper()
	if err := tool.RunGraph(t.Context(), c, out, 0, nil); err != nil {
		t.Fatal(err)
	}
}
