// Package media opens recordings that strangers sent: it finds out what a file
// is, refuses what is none, decodes its sound and checks finished films.
//
// Nothing in a file is believed. Its name may look like an option or an
// address, its content may be a playlist that names other files, its header
// may claim ten hours or a picture of a billion pixels. So a path is resolved
// to a regular file in the production's folder ([Resolve]), the first bytes
// are looked at before ffmpeg sees them, and ffmpeg is given narrow limits
// ([SafeOptions]). What a player or an editor can mend comes back as a fault
// of kind Media that names the file, what is wrong and what to ask for.
//
// # Time
//
// Times are seconds after the file's time zero, the moment ffmpeg calls 0 when
// it reads the file without further options: the start of whichever stream
// starts first, priming and edit lists honoured. A stream that starts later
// carries its start. Sound decoded by [DecodeAudio] has sample k at k/rate on
// that clock, and a picture read with [InputArgs] has its frames on the same.
//
// It does not judge how a take sounds or looks, and does not build filter
// graphs.
package media

import (
	"math"

	"ripieno/assemble/fault"
)

// Info is what a file says about itself, within the limits.
type Info struct {
	Path     string  // absolute
	Format   string  // ffmpeg's name of the container, such as "mov,mp4,m4a,3gp,3g2,mj2"
	Duration float64 // seconds, as claimed or, without a claim, of the packets; 0 when there is no telling
	// seconds, the container's time stamp at the file's time zero; all other times are already relative to it
	StartTime float64
	Video     *Video // nil: no picture (a cover image is none)
	Audio     *Audio // nil: no sound
	// Estimated says that Duration was worked out from the bit rate and may
	// be far off.
	Estimated bool
	// Own says that this program made the file, so that nothing about it is
	// suspicious.
	Own bool
	// Truncated says that the file is shorter than its index claims.
	Truncated bool
	// Notes are plain sentences about oddities that do not prevent use.
	Notes []string
}

// Video is the picture stream that is used.
type Video struct {
	Index          int    // of the stream, for "-map 0:Index"
	Codec          string // "h264", "hevc", ...
	Profile        string // "High", ...; "" when unknown
	W, H           int    // coded picture in pixels, before rotation
	SARNum, SARDen int    // shape of a pixel, width:height; 1:1 when not said
	Mirrored       bool   // a player must change left and right, before turning
	Rotation       int    // degrees clockwise a player must turn it: 0, 90, 180, 270
	FPSNum, FPSDen int    // average frame rate; 0/1 when unknown
	VFR            bool   // frames seem not to be evenly spaced
	PixFmt         string
	Transfer       string // "bt709", "arib-std-b67" (HLG), "smpte2084" (PQ), ...; "" when not said
	Primaries      string
	Matrix         string
	Range          string  // "tv" (limited), "pc" (full) or ""
	Start          float64 // seconds after the file's time zero
	Duration       float64 // seconds; 0 when the stream does not say
	Frames         int64   // as claimed; 0 when the container does not say
	Interlaced     bool
}

// Display returns the size in pixels of v upright and with square pixels.
func (v Video) Display() (w, h int) {
	w, h = v.W, v.H
	if v.SARNum > 0 && v.SARDen > 0 {
		w = max(1, int(math.Round(float64(v.W)*float64(v.SARNum)/float64(v.SARDen))))
	}
	if v.Rotation == 90 || v.Rotation == 270 {
		w, h = h, w
	}
	return w, h
}

// HDR reports whether v carries a high dynamic range signal (ITU-R BT.2100 HLG
// or PQ), which has to be mapped before it is shown beside others.
func (v Video) HDR() bool { return v.Transfer == "smpte2084" || v.Transfer == "arib-std-b67" }

// Audio is the sound stream that is used.
type Audio struct {
	Index    int // of the stream, for "-map 0:Index"
	Track    int // which of the file's sound tracks, from 1
	Codec    string
	Rate     int     // hertz
	Channels int     // 1 to [MaxChannels]
	Start    float64 // seconds after the file's time zero
	Duration float64 // seconds; 0 when the stream does not say
}

// SoundMissing returns how much of its claimed sound a file lacks when decoding it
// gave so many seconds, counted from the file's time zero; 0 when nothing
// noteworthy is missing or the claim proves nothing.
func (i Info) SoundMissing(seconds float64) float64 {
	if i.Audio == nil || i.Audio.Duration == 0 || i.Estimated {
		return 0
	}
	claim := i.Audio.Start + i.Audio.Duration
	// Codecs pad and trim by a few blocks of 1024 or 2048 samples; half a
	// second is ten times that.
	if missing := claim - seconds; missing > math.Max(0.5, 0.005*claim) {
		return missing
	}
	return 0
}

// NeedVideo returns a fault when the file has no picture.
func (i Info) NeedVideo() error {
	if i.Video != nil {
		return nil
	}
	return fault.New(fault.Media, i.Path, "the file has no picture",
		"list it under audio: instead of video:, or ask the player for the video file")
}

// NeedAudio returns a fault when the file has no sound.
func (i Info) NeedAudio() error {
	if i.Audio != nil {
		return nil
	}
	return fault.New(fault.Media, i.Path, "the file has no sound",
		"ask the player for a recording with sound, or add a separate one under audio:")
}
