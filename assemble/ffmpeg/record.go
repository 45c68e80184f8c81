package ffmpeg

// Recorded returns a tool that starts no process: every command goes to take,
// whose error is that of the run. It says that it is of version v and has the
// filters given. It is for tests of what is asked of ffmpeg.
func Recorded(v Version, filters []string, take func(Command) error) *Tool {
	t := &Tool{FFmpeg: "ffmpeg", FFprobe: "ffprobe", Version: v, filters: map[string]bool{}, recorded: take}
	for _, f := range filters {
		t.filters[f] = true
	}
	return t
}
