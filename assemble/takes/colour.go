package takes

import (
	"fmt"

	"ripieno/assemble/fault"
	"ripieno/assemble/ffmpeg"
)

// RequireColour returns the faults of takes whose picture this ffmpeg cannot bring
// to the colours of a film: those in HDR, where it was built without the filters
// for that. A film that shows them is better not begun. nil is no fault.
func (s *Set) RequireColour(tool *ffmpeg.Tool) error {
	lack := tool.RequireFilters("zscale", "tonemap")
	if lack == nil {
		return nil
	}
	var all fault.List
	for _, r := range s.Recordings() {
		if r.HasPicture() && r.Info.Video.HDR() {
			all.Add(fault.New(fault.FFmpeg, r.File.Path, fmt.Sprintf("the picture is in HDR, and %v", lack),
				"install a full build "+ffmpeg.FullBuild()+", or ask the player for a copy in SDR"))
		}
	}
	return all.Err()
}
