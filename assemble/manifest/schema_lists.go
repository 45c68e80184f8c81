package manifest

import (
	"ripieno/assemble/production"
	"ripieno/assemble/report/phrase"
)

// recordingKeys returns the keys that every recording has.
func recordingKeys() []key {
	return []key{
		{"file", fileValue, required, "the recording, inside the production's folder"},
		{"offset", number(-maxSeconds, maxSeconds, "seconds"), "as sync measures",
			"guide time at the file's beginning; instead of cue_at"},
		{"cue_at", timeValue.withUnit("seconds of the file"), "as sync finds",
			"where in the file the clap is; instead of offset"},
		{"drift_ppm", number(-maxDriftPPM, maxDriftPPM, "ppm"), "as sync measures",
			"how much faster guide time runs than the file's clock"},
		{"track", whole(1, maxTrack, "track"), "the best", "which of several sound tracks, from 1"},
		{"parts", listOf(partShape), "as sync finds",
			"stretches without a gap; [{from: 0}] says that nothing is broken"},
		{"parts_of", oneOf("file", "sound"), "file", "sound: the picture of the file has no gap"},
		{"sample_rate", oneOf(sampleRates...), "as sync finds",
			"the true rate of a sound whose label is wrong, in hertz"},
	}
}

// conductorKeys returns the keys of the conductor's film, which is a recording to the guide
// as those of takes are.
func conductorKeys() []key {
	return []key{
		{"video", fileValue, required,
			"the film, inside the production's folder: conducting to the guide, with the clap"},
		{"offset", number(-maxSeconds, maxSeconds, "seconds"), "by the clap",
			"guide time at the file's beginning; instead of cue_at"},
		{"cue_at", timeValue.withUnit("seconds of the file"), "as it is heard",
			"where in the file the clap is; instead of offset"},
		{"rotate", oneOf("0", "90", "180", "270").withUnit("degrees clockwise"), "as the file says",
			"how far to turn the picture"},
		{"release", among(production.Releases), "as the production",
			"whether the players may see it; without yes it is no part of the film"},
	}
}

// sentenceKeys returns the keys of the sentences of the call sheet.
func sentenceKeys() []key {
	var all []key
	for _, k := range phrase.SheetKeys() {
		all = append(all, key{k, textValue, "the built-in one", "replaces that sentence of the call sheet"})
	}
	return all
}
