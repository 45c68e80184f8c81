package assemble

import (
	"ripieno/assemble/intake"
	"ripieno/assemble/media"
	"ripieno/assemble/store"
	"ripieno/layout/flash"
	"ripieno/layout/light"
	"ripieno/mix"
	"ripieno/mix/align"
	"ripieno/mix/playing"
)

// The types that are stored, each with the number it has for ever.
var (
	_ = store.Number(1, media.Info{})
	_ = store.Number(2, &align.Features{})
	_ = store.Number(3, align.Match{})
	_ = store.Number(4, mix.Analysis{})
	_ = store.Number(5, soundReport{})
	_ = store.Number(6, intake.Sound{})
	_ = store.Number(7, intake.Picture{})
	_ = store.Number(8, voiceInfo{})
	_ = store.Number(9, flash.Result{})
	_ = store.Number(10, light.RGB{})
	_ = store.Number(11, &playing.Tones{})
	_ = store.Number(12, media.Decoded{})
	_ = store.Number(13, heardSound{})
	_ = store.Number(14, playing.Pace{})
)
