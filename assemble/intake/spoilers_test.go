package intake

import (
	"ripieno/assemble/fault"
	"ripieno/assemble/media"
	"ripieno/layout/motion"
	"ripieno/mix/playing"
)

// spoiled is a row of [spoilers].
type spoiled struct {
	code  Code
	level Level
	spoil func(f *Facts)
	near  func(f *Facts) // nil where another row of the code has one
}

func video(f *Facts) *File { return &f.Files[0] }

// unsure makes a take one that was not placed, and played at some pace.
func unsure(f *Facts, p playing.Pace) {
	f.Files = f.Files[:1]
	f.Piece.BPM = 120
	f.Files[0].Sync, f.Files[0].Pace = &Sync{Confidence: 0.4, Reason: "no placement fits"}, &p
}

// spoilers make a good take give a finding and, beside it, come as near as may
// be without giving it.
func spoilers() []spoiled {
	return []spoiled{
		{Missing, Ask, func(f *Facts) { f.Files, f.Expected = nil, true }, func(f *Facts) { f.Expected = true }},
		{Missing, Ask, func(f *Facts) { f.Expected = true; video(f).Err = ErrNotIn }, nil},
		{Unreadable, Redo, func(f *Facts) { video(f).Err = ErrNotIn },
			func(f *Facts) { video(f).Err, f.Expected = ErrNotIn, true }},
		{Unreadable, Redo, func(f *Facts) {
			video(f).Err = fault.New(fault.Media, "x",
				"this is text, not a recording", "")
		}, nil},
		{Truncated, Redo, func(f *Facts) { video(f).Info.Truncated = true }, nil},
		{Truncated, Redo, func(f *Facts) { video(f).Sound.Seconds = 119 },
			func(f *Facts) { video(f).Sound.Seconds = 119.6 }},
		{Truncated, Redo, func(f *Facts) {
			video(f).Decoded = &media.Decoded{Truncated: true, Rate: 48000,
				Frames: 480000}
		},
			func(f *Facts) { video(f).Decoded = &media.Decoded{Rate: 48000, Frames: 480000} }},
		{Damaged, Ask, func(f *Facts) { video(f).Decoded = &media.Decoded{Damaged: 2} },
			func(f *Facts) { video(f).Decoded = &media.Decoded{Notes: []string{"a gap was filled"}} }},
		// a recorder that paused
		{Damaged, OK, func(f *Facts) { video(f).Decoded = &media.Decoded{Damaged: 1} },
			func(f *Facts) { video(f).Decoded = &media.Decoded{Missing: 3} }},
		{Damaged, Ask, func(f *Facts) { video(f).Decoded = &media.Decoded{Damaged: 1, Missing: 0.4} }, nil},
		{Damaged, Ask, func(f *Facts) { video(f).Picture.Damaged = 2 }, nil},
		{Damaged, OK, func(f *Facts) { video(f).Picture.Damaged = 1 }, nil},
		{NoSound, Redo, func(f *Facts) { f.Files = f.Files[:1]; video(f).Info.Audio = nil },
			func(f *Facts) { video(f).Info.Audio = nil }},
		{NoPicture, Redo, func(f *Facts) { video(f).Info.Video = nil },
			func(f *Facts) { video(f).Info.Video, video(f).Role = nil, "audio" }},
		{Silent, Redo, func(f *Facts) { video(f).Sound = &Sound{Channels: []Channel{{PeakDB: -61, RMSDB: -80}}} }, nil},
		{Silent, Redo, func(f *Facts) { video(f).Sound = &Sound{} },
			func(f *Facts) { video(f).Sound = &Sound{Channels: []Channel{{PeakDB: -58, RMSDB: -80}}} }},
		{TooSoft, Ask, func(f *Facts) { video(f).Sound.LoudnessLUFS = -43 },
			func(f *Facts) { video(f).Sound.LoudnessLUFS = -41 }},
		{TooSoft, Redo, func(f *Facts) { video(f).Sound.LoudnessLUFS = -56 }, nil},
		{Noisy, Ask, func(f *Facts) { video(f).Sound.NoiseDB = -47 }, func(f *Facts) { video(f).Sound.NoiseDB = -49 }},
		{Noisy, Redo, func(f *Facts) { video(f).Sound.NoiseDB = -33 },
			func(f *Facts) { video(f).Sound.NoiseDB, video(f).Sound.RestSeconds = -33, 0.4 }},
		{Clipped, Ask, func(f *Facts) { video(f).Sound.Channels[1].FlatPercent = 0.01 },
			func(f *Facts) { video(f).Sound.Channels[1].FlatPercent = 0.001 }},
		{Clipped, Redo, func(f *Facts) { video(f).Sound.Channels[1].FlatPercent = 0.6 }, nil},
		{Clipped, Ask, func(f *Facts) {
			video(f).Sound.Channels[0].RailRatio,
				video(f).Sound.Channels[0].RailPercent = 0.8, 3
		},
			func(f *Facts) {
				video(f).Sound.Channels[0].RailRatio, video(f).Sound.Channels[0].RailPercent = 0.8, 0.5
			}},
		{Clipped, Redo, func(f *Facts) {
			video(f).Sound.Channels[0].RailRatio,
				video(f).Sound.Channels[0].RailPercent = 1.2, 3
		},
			func(f *Facts) { video(f).Sound.Channels[0].RailRatio, video(f).Sound.Channels[0].RailPercent = 0.55, 8 }},
		{TooLoud, Ask, func(f *Facts) { video(f).Sound.LoudnessLUFS, video(f).Sound.Channels[0].PeakDB = -13, -0.1 },
			// brought to full level
			func(f *Facts) { video(f).Sound.LoudnessLUFS, video(f).Sound.Channels[0].PeakDB = -20, 0 }},
		{Hum, Ask, func(f *Facts) { video(f).Sound.HumDB, video(f).Sound.HumProminenceDB = -55, 20 },
			func(f *Facts) { video(f).Sound.HumDB, video(f).Sound.HumProminenceDB = -55, 10 }},
		{Hum, Ask, func(f *Facts) { video(f).Sound.HumDB, video(f).Sound.HumProminenceDB = -64, 20 },
			func(f *Facts) { video(f).Sound.HumDB, video(f).Sound.HumProminenceDB = -66, 20 }},
		{DeadSide, OK, func(f *Facts) { video(f).Sound.Channels[1].RMSDB = -58 },
			func(f *Facts) { video(f).Sound.Channels[1].RMSDB = -52 }},
		{Antiphase, OK, func(f *Facts) { video(f).Sound.Correlation = -0.9 },
			func(f *Facts) { video(f).Sound.Correlation = -0.7 }},
		{LowRate, Ask, func(f *Facts) { video(f).Info.Audio = &media.Audio{Rate: 16000, Channels: 1} },
			func(f *Facts) { video(f).Info.Audio = &media.Audio{Rate: 32000, Channels: 1} }},
		{Speed, Ask, func(f *Facts) { video(f).Sync.DriftPPM = -320 },
			func(f *Facts) { video(f).Sync.DriftPPM = -290 }},
		{Broken, Ask, func(f *Facts) {
			video(f).Breaks = []Break{{At: 40, Jump: 2.1, Measure: 9, By: "playing", Mended: true}}
		},
			func(f *Facts) { video(f).Breaks = nil }},
		{Broken, OK, func(f *Facts) {
			video(f).Breaks = []Break{{At: 40, Jump: -2.1, Measure: 9, By: "silence", Mended: true}}
		}, nil},
		{Broken, Ask, func(f *Facts) { video(f).Breaks = []Break{{At: 40, Jump: 0.5, Measure: 9, By: "device"}} }, nil},
		{WrongRate, OK, func(f *Facts) { video(f).TrueRate = video(f).Info.Audio.Rate * 2 },
			func(f *Facts) { video(f).TrueRate = video(f).Info.Audio.Rate }},
		{CueUnsure, Ask, func(f *Facts) { video(f).Sync.Sure, video(f).Sync.Confidence = false, 0.3 },
			func(f *Facts) { video(f).Sync.Confidence = 0.9 }},
		{OtherPiece, Ask, func(f *Facts) { unsure(f, playing.Pace{Notes: 60, Guide: 4, Other: 30, Ratio: 0.95}) },
			// the guide's pulse is there as well
			func(f *Facts) { unsure(f, playing.Pace{Notes: 60, Guide: 20, Other: 30, Ratio: 0.95}) }},
		{OtherPiece, Ask, func(f *Facts) { unsure(f, playing.Pace{Notes: 90, Guide: 17, Other: 60, Ratio: 1.2}) },
			// chance may do that
			func(f *Facts) { unsure(f, playing.Pace{Notes: 25, Guide: 3, Other: 14, Ratio: 0.7}) }},
		{OtherPiece, Redo, func(f *Facts) { unsure(f, playing.Pace{Notes: 160, Guide: 3, Other: 80, Ratio: 0.95}) },
			nil},
		{Speed, Ask, func(f *Facts) { unsure(f, playing.Pace{Notes: 160, Guide: 3, Other: 80, Ratio: 48.0 / 44.1}) },
			func(f *Facts) { unsure(f, playing.Pace{Notes: 160, Guide: 3, Other: 80, Ratio: 1.08}) }},
		{StartsLate, Redo, func(f *Facts) { video(f).Sync.Offset = 17 }, func(f *Facts) { video(f).Sync.Offset = 7.9 }},
		{StartsLate, OK, func(f *Facts) { video(f).Sync.Offset = 9 }, nil},
		{EndsEarly, Ask, func(f *Facts) { video(f).Info.Duration = 107 },
			func(f *Facts) { video(f).Info.Duration = 107.8 }},
		{Portrait, Ask, func(f *Facts) { video(f).Info.Video.W, video(f).Info.Video.H = 1080, 1920 },
			func(f *Facts) { video(f).Info.Video.W, video(f).Info.Video.H, f.Shape = 1080, 1920, 9.0/16 }},
		{Portrait, Ask, func(f *Facts) { video(f).Info.Video.Rotation = 90 },
			func(f *Facts) { video(f).Info.Video.Rotation = 180 }},
		{Portrait, OK, func(f *Facts) { f.Framed, video(f).Info.Video.Rotation = true, 90 }, nil},
		{Rotated, OK, func(f *Facts) { video(f).Info.Video.Rotation = 180 },
			func(f *Facts) { video(f).Info.Video.W, video(f).Info.Video.H = 1080, 1920 }},
		{LowRes, Ask, func(f *Facts) { video(f).Info.Video.W, video(f).Info.Video.H = 480, 270 },
			func(f *Facts) { video(f).Info.Video.W, video(f).Info.Video.H = 640, 360 }},
		{LowRes, Redo, func(f *Facts) { video(f).Info.Video.W, video(f).Info.Video.H = 320, 180 }, nil},
		{LowFPS, Ask, func(f *Facts) { video(f).Info.Video.FPSNum = 15 },
			func(f *Facts) { video(f).Info.Video.FPSNum = 24 }},
		{TooDark, Ask, func(f *Facts) { video(f).Picture.Mean, video(f).Picture.DarkPercent = 25, 90 },
			// a lit player before black
			func(f *Facts) { video(f).Picture.Mean, video(f).Picture.DarkPercent = 40, 70 }},
		{BlownOut, Ask, func(f *Facts) { video(f).Picture.WhitePercent = 45 },
			func(f *Facts) { video(f).Picture.WhitePercent = 30 }},
		{Unsharp, Ask, func(f *Facts) { video(f).Picture.Blur = 0.7 }, func(f *Facts) { video(f).Picture.Blur = 0.5 }},
		{Frozen, Ask, func(f *Facts) { video(f).Picture.Motion = 0.01 },
			func(f *Facts) { video(f).Picture.Motion = 0.3 }},
		{OffCentre, OK, func(f *Facts) {
			video(f).Picture.Subject = motion.Subject{Left: 0.72, Right: 0.92, Top: 0.2, Bottom: 1, Confidence: 0.6}
		},
			func(f *Facts) {
				video(f).Picture.Subject = motion.Subject{Left: 0.15, Right: 0.35, Top: 0.2, Bottom: 1, Confidence: 0.6}
			}},
		{OffCentre, OK, func(f *Facts) {
			video(f).Picture.Subject = motion.Subject{Left: 0.05, Right: 0.25, Top: 0.2, Bottom: 1, Confidence: 0.4}
		},
			func(f *Facts) {
				video(f).Picture.Subject = motion.Subject{Left: 0.05, Right: 0.25, Top: 0.2, Bottom: 1, Confidence: 0.3}
			}}, // anything may have moved
		{CutOff, Ask, func(f *Facts) {
			video(f).Picture.Subject = motion.Subject{Left: 0.01, Right: 0.3, Top: 0.2, Bottom: 0.9, Confidence: 0.6}
		},
			func(f *Facts) {
				video(f).Picture.Subject = motion.Subject{Left: 0.05, Right: 0.3, Top: 0.2, Bottom: 0.9,
					Confidence: 0.6}
			}},
		{CutOff, Ask, func(f *Facts) {
			video(f).Picture.Subject = motion.Subject{Left: 0.4, Right: 0.6, Top: 0.03, Bottom: 0.7, Confidence: 0.6}
		},
			func(f *Facts) {
				video(f).Picture.Subject = motion.Subject{Left: 0.4, Right: 0.6, Top: 0.2, Bottom: 1, Confidence: 0.6}
			}}, // seated
		{HeadCut, Ask, func(f *Facts) { upright(f, 0.2); f.Shape = 16.0 / 9 },
			func(f *Facts) { upright(f, 0.2); f.Shape = 1 }},
		{HeadCut, Ask, func(f *Facts) { upright(f, 0.46) }, func(f *Facts) { upright(f, 0.36) }},
		{HeadCut, Ask, func(f *Facts) { upright(f, 0.46) },
			func(f *Facts) { upright(f, 0.46); f.Framed = true }}, // the user has seen to it
		{Bleed, Ask, func(f *Facts) { video(f).Sync.ClickDB = -52 }, func(f *Facts) { video(f).Sync.ClickDB = -68 }},
		{Untagged, OK, func(f *Facts) { video(f).Info.Video.PixFmt, video(f).Info.Video.Transfer = "yuv420p10le", "" },
			func(f *Facts) { video(f).Info.Video.PixFmt, video(f).Info.Video.Transfer = "yuv420p10le", "bt709" }},
		{FrameGaps, Ask, func(f *Facts) { video(f).Picture.LongestGap = 0.5 },
			func(f *Facts) { video(f).Picture.LongestGap = 0.1 }},
		{Variable, OK, func(f *Facts) { video(f).Info.Video.VFR = true },
			func(f *Facts) { video(f).Picture.LongestGap = 0.12 }},
		{Variable, OK, func(f *Facts) { video(f).Picture.Uneven = true }, nil},
		{HDR, OK, func(f *Facts) { video(f).Info.Video.Transfer = "arib-std-b67" },
			func(f *Facts) { video(f).Info.Video.PixFmt, video(f).Info.Video.Transfer = "yuv420p10le", "bt2020-10" }},
		{Interlaced, OK, func(f *Facts) { video(f).Info.Video.Interlaced = true },
			func(f *Facts) { video(f).Info.Video.H = 576 }},
		{Apart, Ask, func(f *Facts) { video(f).Info.Video.Duration = 118 },
			func(f *Facts) { video(f).Info.Video.Duration = 119.2 }},
	}
}
