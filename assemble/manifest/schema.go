package manifest

import (
	"strings"

	"ripieno/assemble/production"
	"ripieno/assemble/report/phrase"
	"ripieno/layout"
	"ripieno/mix"
	"ripieno/mix/pan"
	"ripieno/mix/tempo"
)

// This file is the one place that says what a manifest may hold. Readers take
// ranges, units and words from here, errors take their hints from here, and
// `ripieno keys` prints it.

// shape is what one kind of mapping may hold.
type shape struct {
	name    string // for messages: "a take"
	place   string // where such a mapping stands, for keys that belong there
	example string // one that is right
	keys    []key  // in the order a person would write them
}

// key is one key of a mapping.
type key struct {
	name    string
	value   value
	absent  string // what holds when the key is not written: a value, or words; required when it must be written
	meaning string
}

// required is what key.absent says of a key that cannot be left out.
const required = "required"

// names returns the names of all keys of s, in order.
func (s *shape) names() (all []string) {
	for _, k := range s.keys {
		all = append(all, k.name)
	}
	return all
}

// key returns the key of that name, and the zero key for a name s has not.
func (s *shape) key(name string) key {
	for _, k := range s.keys {
		if k.name == name {
			return k
		}
	}
	return key{}
}

// The shapes of production.yaml.
var (
	topShape = &shape{"the manifest", "at the left margin", "version: 1", []key{
		{"version", oneOf("1"), required, "version of the manifest's format"},
		{"title", textValue, required, "title of the piece; on cards and pages"},
		{"composer", textValue, "none", "on the title card and pages"},
		{"ensemble", textValue, "none", "on the title card and pages"},
		{"dedication", textValue, "none", "on a card with text: dedication"},
		{"arranger", textValue, "none", "on the title card"},
		{"lyricist", textValue, "none", "who wrote the words; on the title card"},
		{"conductor", textValue, "none", "on the title card and first in the credits"},
		{"occasion", textValue, "none", "on the title card, such as Summer concert"},
		{"date", value{form: "date or text"}, "none",
			"day of the occasion, on the title card; 2031-06-12 is written out as the language does"},
		{"logo", fileValue, "none", "a picture or a logo above the title, .png or .jpg"},
		{"credits", listOf(creditShape), "none", "who else is named in the credits, besides the players"},
		{"language", oneOf(phrase.Languages()...), phrase.Default,
			"language of films, pages and notes to players; messages on the command line are English"},
		{"tempo", mappingOf(tempoShape), required, "measures and tempo of the piece"},
		{"guide", mappingOf(guideShape), "all defaults", "what everybody hears while recording"},
		{"timing", among(production.Timings), string(production.Timings[0]),
			"tightened puts each player's playing on the beat; as-played keeps how late they play"},
		{"sections", listOf(sectionShape), "those that takes name", "groups of takes with a common gain"},
		{"seats", whole(1, layout.MaxTiles, "seats"), "none",
			"how many seats there were when seats were given out; grid --pin writes it"},
		{"release", among(production.Releases), "not known",
			"what takes without a release of their own allow to be published"},
		{"takes", listOf(takeShape), "none", "the players, in the order of their seats"},
		{"mix", mappingOf(mixShape), "all defaults", "the sound of the film"},
		{"picture", mappingOf(pictureShape), "all defaults", "the picture of all deliverables"},
		{"shots", listOf(shotShape), "one tutti", "what the picture shows, and when"},
		{"deliver", listOf(deliverShape), "final, 1920x1080", "the finished films"},
		{"chapters", listOf(chapterShape), "none", "places a viewer can jump to"},
		{"notes", listOf(noteShape), "none", "programme notes beside the film, as WebVTT and SRT"},
		{"callsheet", mappingOf(callSheetShape), "all defaults", "the page each player gets"},
		{"check", mappingOf(checkShape), "standard", "thresholds of check; ripieno keys --thresholds lists them"}}}
	creditShape = &shape{"a credit", "in an entry of credits:", "{role: sound, name: Mara Voss}", []key{
		{"role", textValue, required, "one of " + strings.Join(production.CreditRoles, ", ") +
			", which films translate; or words of your own"},
		{"name", textValue, required, "who; several entries may have one role. With rights, a sentence"}}}
	tempoShape = &shape{"tempo", "inside tempo:",
		"tempo: {changes: [{measure: 1, meter: 4/4, bpm: 96}], measures: 32}", []key{
			{"count_in", mappingOf(countInShape), "8 measures", "the measures before measure 1"},
			{"pick_up", number(0, 64, "beats"), "0", "beats before measure 1; they are measure 0"},
			{"changes", listOf(changeShape), "required without score",
				"meter and tempo, the first at measure 1; beside a score: tempos instead of its own"},
			{"measures", whole(1, tempo.MaxMeasures, "measures"), "required without score or from",
				"how many measures the page has"},
			{"order", value{form: "list of runs", unit: "measures"}, "the page once, or as the score says",
				"repeats written out: [1-8, 1-16], 0 is the pick-up; elsewhere measures count as played, " +
					"or m17/2: the second time of 17"},
			{"score", fileValue, "none",
				"MIDI (.mid) or MusicXML (.musicxml, .mxl) instead of pick_up, changes and measures"},
			{"from", fileValue, "none",
				"a recording whose beats say the tempo, or taps as text or MIDI; changes then say the meters alone"},
			{"first", number(0, maxSeconds, "seconds of from"), "the first clear onset",
				"where the piece's first beat is in from, by ear"},
			{"interpret", oneOf("yes", "no"), "no", "follows rit., fermata and the like of a score, as click proposes"},
			{"holds", listOf(holdShape), "none",
				"places where the beat stops; instead of a score's in those measures"}}}
	countInShape = &shape{"count_in", "inside count_in:", "count_in: {measures: 8, cue: {measure: 5, beat: 1}}", []key{
		{"measures", whole(0, tempo.MaxCountIn, "measures"), required,
			"how many, in the meter and tempo of measure 1; 0 for none"},
		{"cue", mappingOf(cueShape), "middle of the count-in",
			"the beat on which all clap; measure 5 of 8, measure 3 of 4"}}}
	cueShape = &shape{"cue", "inside cue:", "cue: {measure: 5, beat: 1}", []key{
		{"measure", whole(1, tempo.MaxCountIn, "measure"), required, "measure of the count-in"},
		{"beat", whole(1, 64, "beat"), "1", "beat of that measure"}}}
	changeShape = &shape{"a tempo change", "in an entry of changes:", "{measure: 1, meter: 4/4, bpm: 96}", []key{
		{"measure", whole(1, tempo.MaxMeasures, "measure"), required, "where the change is, on the page"},
		{"meter", value{form: "meter"}, "as before", "such as 4/4, 2/2, 6/8 or 3+2/8; required at measure 1"},
		{"beat", value{form: "note value"}, "the meter's beat",
			"the note that bpm counts: quarter, half, eighth, dotted-quarter"},
		{"bpm", number(tempo.MinBPM, tempo.MaxBPM, "beats a minute"), "as before",
			"tempo from here on; required at measure 1"},
		{"ramp_to", number(tempo.MinBPM, tempo.MaxBPM, "beats a minute"), "none",
			"tempo that is reached in even steps of the score"},
		{"until", whole(1, tempo.MaxMeasures+1, "measure"), "required with ramp_to",
			"measure at whose beginning that tempo is reached"}}}
	holdShape = &shape{"a hold", "in an entry of holds:", "{at: m12.3, seconds: 1.5}", []key{
		{"at", timeValue.withForm("measure or beat").withUnit("on the page"), required,
			"the beat that is held, such as m12.3"},
		{"seconds", number(0.001, tempo.MaxHold, "seconds"), required,
			"how long the music waits after the note there has begun"}}}
	guideShape = &shape{"guide", "inside guide:", "guide: {pitch: 440}", []key{
		{"pitch", number(380, 480, "Hz"), "440", "reference pitch, A4"},
		{"levels", mappingOf(levelsShape), "0 each", "how loud its sounds are"},
		{"subdivisions", whole(1, 8, "clicks in a beat").orWords("written"), "1",
			"clicks in a beat; written: three eighths in the beat of 6/8, two halves of a plain beat"},
		{"count_tones", flagValue, "false", "a tone under every click of the count-in but the cue"},
		{"tail", number(0, maxTail, "seconds"), "4", "silence after the last measure"},
		{"drone", listOf(droneShape), "none", "tones to tune to"},
		{"tuning", listOf(tuningShape), "none", "notes to tune to before the count-in, one after the other"},
		{"count", fileValue.withForm("list of files").orWords(spokenWord), "nobody",
			"recordings of the numbers 1, 2, 3 ... in the count-in; spoken: by espeak-ng, where it is installed"},
		{"conductor", mappingOf(conductorShape), "nobody",
			"whose film is in the films of click --film, beside the beats"},
		{"variants", listOf(variantShape), "none", "guides of some players' own"}}}
	conductorShape = &shape{"conductor", "inside conductor:", "conductor: {video: intake/beat.mp4}", conductorKeys()}
	tuningShape    = &shape{"a tuning note", "in an entry of tuning:", "{note: A4, seconds: 6}", []key{
		{"note", value{form: "pitch"}, required, "such as A4 or D3 (C4 is middle C)"},
		{"seconds", number(0.5, 60, "seconds"), "6", "how long it sounds"}}}
	levelsShape = &shape{"levels", "inside levels:", "levels: {click: 3, drone: off}", []key{
		{"click", levelValue, "0", "the clicks, on top of the usual level; off leaves them out"},
		{"drone", levelValue, "0", "the drone, on top of the usual level; off leaves it out"},
		{"mix", levelValue, "0", "the other takes, in a variant that has them; off leaves them out"}}}
	variantShape = &shape{"a variant", "in an entry of variants:", "{name: from-33, from: m33}", []key{
		{"name", nameValue, required, "unique; becomes part of a file name"},
		{"levels", mappingOf(levelsShape), "as guide", "how loud its sounds are"},
		{"subdivisions", whole(1, 8, "clicks in a beat").orWords("written"), "as guide", "clicks in a beat"},
		{"count_tones", flagValue, "as guide", "a tone under every click of the count-in"},
		{"from", timeValue.withForm("measure").withUnit("as played"), "m1", "first measure that it plays, as played"},
		{"to", timeValue.withForm("measure").withUnit("as played"), "end of the piece",
			"measure at which it ends; it is not played"},
		{"with", among(production.Withs), "none",
			"mix: hears all takes; others: all but those recorded to this guide"}}}
	droneShape = &shape{"a drone", "in an entry of drone:", "{measure: 1, note: D3}", []key{
		{"measure", whole(0, tempo.MaxMeasures, "measure").orWords("count-in"), required,
			"where it begins; it lasts until the next drone or the end"},
		{"note", value{form: "pitch", words: []string{"key", "none"}}, required,
			"such as D3, F#2 or Bb3 (C4 is middle C); key: the tonic of the score's keys, silent where it rests; none"},
		{"fifth", oneOf("true", "false", "just", "equal", "octave"), "false",
			"adds the fifth above: just (as true) or equal (700 cents); octave adds that instead"}}}
	sectionShape = &shape{"a section", "in an entry of sections:", "{name: winds, gain: -1.5}", []key{
		{"name", textValue, required, "as takes name it in section"},
		{"gain", gainValue, "0", "added to all takes of the section"},
		{"target", number(-60, -6, "LUFS"), "each take equally loud",
			"loudness of the whole section before mastering, under balance: auto"}}}
	takeShape = &shape{"a take", "in an entry of takes:",
		"{name: oboe-1, player: Mara Voss, video: {file: intake/mara.mov}}", []key{
			{"name", nameValue, required, "unique; becomes part of file names"},
			{"player", textValue, "none", "the player's name; on labels, cards and pages"},
			{"part", textValue, "none", "the part; on labels, and which part of the score it is"},
			{"section", textValue, "none", "the section it belongs to"},
			{"email", textValue, "none", "where to reach the player; rollcall prints it, nothing that is made has it"},
			{"language", oneOf(phrase.Languages()...), "that of the call sheets",
				"language of this player's call sheet and of the note to them"},
			{"video", mappingOf(videoShape), "none", "the picture, and the sound when there is no audio"},
			{"audio", mappingOf(audioShape), "none", "a separate microphone, heard instead of the video's sound"},
			{"guide", textValue, "the guide of all", "the variant of the guide that it was recorded to"},
			{"timing", among(production.Timings), "as the production", "tightened or as-played, for this take"},
			{"expected", flagValue, "false", "not in yet: the seat is kept; instead of video and audio"},
			{"release", among(production.Releases), "as the production",
				"what may be published: all, nothing, or a card instead of the picture"},
			{"hide_name", flagValue, "false", "shows the part alone, on labels, cards and in the credits"},
			{"verdict", among(production.Verdicts), "as check finds",
				"your own word on the take, above that of check: ok asks for nothing, redo asks for it again"},
			{"gain", gainValue, "0", "added to the balance"},
			{"pan", sideValue.orWords("auto"), "auto", "place from left to right; auto spreads takes by their seats"},
			{"mute", flagValue, "false", "seen and not heard"},
			{"trim", mappingOf(trimShape), "the whole file", "the part of the film in which it is seen and heard"},
			{"fit", among(production.Fits), "crop", "crop fills the tile; fit shows all of the picture"},
			{"behind", value{form: "colour or picture", words: []string{"blur"}}, "the background",
				"what is round a picture with fit: fit; blur is the take itself"},
			{"crop", mappingOf(cropShape).orWords("auto", "middle"), "auto",
				"what to keep in the tile; auto keeps the head, then what moves"},
			{"weight", whole(1, layout.MaxWeight, "cells a side"), "1",
				"how large its tile is in the shot of everybody"},
			{"seat", whole(1, layout.MaxTiles, "seat"), "the order of takes",
				"its cell in the grid of everybody, in reading order"},
			{"mutes", listOf(muteShape), "none", "spans in which it is silent"},
			{"low_cut", number(minHz, maxLowCut, "Hz").orWords("auto", "none"), "auto",
				"frequency below which nothing is kept; auto goes by the part, unless its lows are silent"},
			{"eq", listOf(bandShape), "none", "bands of its equaliser"},
			{"compress", mappingOf(compressShape), "none", "its compressor"},
			{"clean", mappingOf(cleanShape).orWords("auto", "off"), "as the mix", "how this take is cleaned"},
			{"denoise", number(0, maxDenoiseDB, "dB"), "0", "how much softer steady hum and hiss become"},
			{"width", number(0, 2, "0 one point, 1 as recorded"), "1",
				"width of a stereo recording; 2 is twice as wide"},
			{"delay", number(-maxDelay, maxDelay, "seconds"), "0", "how much later it sounds; negative: earlier"},
			{"send", number(-60, maxSendDB, "dB").orWords("none"), "0",
				"more or less of the room than others have; none leaves it dry"}}}
	videoShape = &shape{"video", "inside video:", "video: {file: intake/mara.mov}", append(recordingKeys(),
		key{"rotate", oneOf("0", "90", "180", "270").withUnit("degrees clockwise"), "as the file says",
			"how far to turn the picture"},
		key{"colour", among(production.Colours), "as the file says",
			"the colours it was recorded in"},
		key{"range", among(production.Ranges), "as the file says", "the range of its code values"})}
	audioShape = &shape{"audio", "inside audio:", "audio: {file: intake/mara.wav}", recordingKeys()}
	trimShape  = &shape{"trim", "inside trim:", "trim: {from: m1, to: m40}", []key{
		{"from", timeValue, "beginning of the file", "where it is first seen and heard"},
		{"to", timeValue, "end of the file", "where it is no longer seen and heard"}}}
	cropShape = &shape{"crop", "inside crop:", "crop: {x: 0.5, y: 0.4, zoom: 1.2}", []key{
		{"x", number(0, 1, "0 left edge, 1 right edge"), "0.5", "the point that is kept in the middle of the tile"},
		{"y", number(0, 1, "0 top edge, 1 bottom edge"), "0.5", "the point that is kept in the middle of the tile"},
		{"zoom", number(1, maxZoom, "times"), "1", "how near"}}}
	mixShape = &shape{"mix", "inside mix:", "mix: {loudness: -16, true_peak: -1}", []key{
		// Above -6 no limiter keeps music whole; below -36 is an error of sign.
		{"loudness", number(-36, -6, "LUFS"), "-16", "integrated loudness of the film"},
		{"true_peak", number(-12, 0, "dBTP"), "-1", "ceiling of the film's peaks"},
		{"room", number(0, 1, "0 dry, 1 as strong as the dry sound"), "0", "reverberation that all share"},
		{"balance", oneOf("auto", "ensemble", "manual"), "auto",
			"auto makes takes equally loud; ensemble by instrument, register and who has the tune; manual as recorded"},
		{"low_pan", number(0, 100, "percent"), "35",
			"how far out parts that give the bass sit, of where others would; 100 as far as others"},
		{"pan_law", oneOf(pan.LawNames()...), "power", "-3, -4.5 or -6 dB in the middle"},
		{"hall", mappingOf(hallShape), "all defaults", "the room, computed; it is heard with room"},
		{"impulse", fileValue, "none", "a recorded room instead of hall, such as rooms/church.wav"},
		{"clean", mappingOf(cleanShape).orWords("auto", "off"), "auto",
			"how every take is cleaned; off leaves all as recorded"},
		{"fade_in", fadeValue, "0", "out of silence at the film's beginning"},
		{"fade_out", fadeValue, "0", "into silence at the film's end"},
		{"solo_lift", number(-maxLift, maxLift, "dB"), "0", "gain of a take while a solo shot shows it"},
		{"stage", listOf(stageShape), "spread evenly", "where sections sit, for takes with pan: auto"}}}
	partShape = &shape{"a part", "in an entry of parts:", "{from: 41.2, shift: 2.1}", []key{
		{"from", timeValue.withUnit("seconds of the file"), "the end of the part before", "where it begins"},
		{"to", timeValue.withUnit("seconds of the file"), "the beginning of the next", "where it ends"},
		{"shift", number(-maxShift, maxShift, "seconds"), "0",
			"how much later it begins than the clock of the file says"}}}
	cleanShape = &shape{"clean", "inside clean:", "clean: {silence: true, noise: false}", []key{
		{"silence", flagValue, "true", "closes a take where its player does not play: before, in rests, after"},
		{"tops", flagValue, "true", "draws the tops of clipped takes again"},
		{"noise", flagValue, "up to 24 takes", "reduces noise under the playing and below its notes where it can be heard"},
		{"hum", flagValue, "true", "takes out the hum of the mains where it is heard in the count-in"},
		{"tone", flagValue, "true", "gives recordings of phones the lows and the presence of a microphone"}}}
	muteShape = &shape{"a mute", "in an entry of mutes:", "{from: m5, to: m9}", []key{
		{"from", timeValue, required, "where the silence begins"},
		{"to", timeValue, required, "where it ends"}}}
	bandShape = &shape{"a band", "in an entry of eq:", "{shape: bell, hz: 900, gain: -3}", []key{
		{"shape", oneOf(mix.ShapeNames()...), required, "the kind of band"},
		{"hz", number(minHz, maxHz, "Hz"), required, "its corner, or the middle of a bell"},
		{"gain", number(-maxShelfDB, maxShelfDB, "dB"), "required but in low_cut", "how much is added there"},
		{"q", number(0.1, 20, "the higher, the narrower"), "0.707",
			"its quality: the middle frequency over the width"}}}
	compressShape = &shape{"compress", "inside compress:", "compress: {threshold: -24, ratio: 2}", []key{
		{"threshold", number(-80, 0, "dBFS"), required, "level above which it works"},
		{"ratio", number(1, 20, "dB in for 1 dB out"), required, "how strongly it works above the threshold"},
		{"knee", number(0.1, maxCompressDB, "dB"), "6", "span round the threshold in which it sets in"},
		{"attack", number(0.0001, 1, "seconds"), "0.01", "how soon it reacts"},
		{"release", number(0.001, 5, "seconds"), "0.15", "how soon it lets go"},
		{"make_up", number(-maxCompressDB, maxCompressDB, "dB"), "0", "gain behind it"}}}
	hallShape = &shape{"hall", "inside hall:", "hall: {decay: 1.8, size: 1}", []key{
		{"decay", number(0.2, 12, "seconds"), "1.8", "time in which it dies away by 60 dB"},
		{"high", number(0.1, 1, "share of the decay at 6 kHz"), "0.55", "how much of the decay high sounds have"},
		{"pre_delay", number(0, 0.2, "seconds"), "0.018", "time before it answers"},
		{"size", number(0.3, 3, "1 is 18 x 27 x 11 m"), "1", "its size"}}}
	stageShape = &shape{"a place on the stage", "in an entry of stage:",
		"{section: strings, from: -60, to: -10}", []key{
			{"section", textValue, required, "the section that sits here"},
			{"from", sideValue, required, "place of its first seat"},
			{"to", sideValue, required, "place of its last seat"}}}
	pictureShape = &shape{"picture", "inside picture:", "picture: {fps: 30, aspect: auto}", []key{
		{"fps", oneOf("24", "25", "30", "50", "60", "23.976", "29.97", "59.94").withUnit("frames a second"), "30",
			"frame rate of the film"},
		{"aspect", aspectValue, "auto",
			"shape of tiles: auto is any from 4:5 to 16:9, whichever shows most of everybody"},
		{"gutter", whole(0, 200, "pixels at 1080 lines"), "6, less for many small tiles", "between tiles"},
		{"margin", whole(0, 400, "pixels at 1080 lines"), "the gutter; 0 with one shape", "round the grid"},
		{"background", value{form: "colour or picture", words: []string{"blur"}}, "#14161a",
			"behind the tiles, such as \"#203040\" or art/hall.jpg; blur is all players, blurred"},
		{"background_to", value{form: "colour"}, "one colour",
			"the colour at the bottom, into which background fades"},
		{"font", fileValue.withForm("file or list of files"), "the program's own",
			"fills in for letters that the program's own fonts lack"},
		{"labels", flagValue, "true", "names on tiles"},
		{"labels_for", number(0.5, maxEdge, "seconds"), "all of a shot", "how long names stay"},
		{"label_style", oneOf(production.LabelStyles.Strings()...), string(layout.Plate),
			"a plate on the picture, letters with a shadow, or a strip below the picture"},
		{"label_corner", oneOf(production.LabelCorners.Strings()...), string(layout.AutoCorner),
			"where names stand; auto is bottom-left unless that hides a face or hands"},
		{"smallest_screen", number(4, 200, "cm"), "not looked at",
			"short side of the smallest screen (a phone: 6); a name too long to be readable there is " +
				"left to the credits"},
		{"cuts", among(production.CutKinds), "beats; exact with one shape",
			"beats: shots whose time is in seconds begin on the nearest beat, and sheets follow each other on beats"},
		{"labels_fade", number(0, maxLabelsFade, "seconds"), "0", "time in which names come and go"},
		{"lead_in", edgeValue, "3", "film before measure 1"},
		{"tail", edgeValue, "3", "film after the last measure"},
		{"rows", among(production.RowKinds), "grid",
			"sections: each begins a row; justified: whole pictures of every shape"},
		{"short_rows", oneOf(append(production.Alignments.Strings(), "centre")...), "stretch; centred with one shape",
			"incomplete rows: wider tiles, or where equal ones stand"},
		{"audio_only", among(production.AudioOnlyWays), "card",
			"players who are heard and not seen: a card in the grid, or a line of the credits alone"},
		{"smallest_tile", whole(20, 1080, "pixels at 1080 lines"), "any",
			"height below which a grid becomes several sheets"},
		{"match", oneOf("nothing", "light"), "nothing", "light brings exposure and white balance of takes together"},
		{"fade_in", edgeValue, "0", "out of black at the film's beginning"},
		{"fade_out", edgeValue, "0", "into black at the film's end"}}}
	shotShape = &shape{"a shot", "in an entry of shots:", "{from: m33, to: m41, show: solo, take: oboe-1}", []key{
		{"from", timeValue.orWords("start"), required, "where it begins; start is the film's beginning"},
		{"to", timeValue.orWords("end"), "the next shot", "where it ends; everybody is shown in gaps"},
		{"show", among(production.Shows), required,
			"everybody, a section, one take, two takes, or a card"},
		{"section", textValue, "required for soli", "the section that is shown"},
		{"take", textValue, "required for solo", "the take that is shown"},
		{"others", among(production.OtherKinds), "absent", "whether the others stay in view, small, round a solo"},
		{"takes", value{form: "list of two takes"}, "required for pair", "left and right"},
		{"text", linesValue.orWords("title", "credits", "dedication"), "required for card",
			"what the card says, or words of your own"},
		{"roll", flagValue, "false", "credits move up the picture"},
		{"labels", flagValue, "as picture", "names on the tiles of this shot"},
		{"labels_for", number(0.5, maxEdge, "seconds"), "as picture", "how long names stay in this shot"},
		{"aspect", aspectValue, "as deliver or picture", "shape of the tiles of this shot"},
		{"push_in", number(1, maxPushIn, "times"), "none",
			"how much nearer its pictures come, slowly, such as 1.06; of a solo the soloist's, of a card all of it"},
		{"transition", mappingOf(transitionShape).orWords(production.TransitionKinds.Strings()...), "cut",
			"how it takes over from the shot before; complete on its first beat"},
		{"entrances", mappingOf(entrancesShape), "all at once",
			"tiles of a tutti come one after another, each on a beat"}}}
	entrancesShape = &shape{"entrances", "in an entry of shots:", "entrances: {by: section, beats: 2}", []key{
		{"by", among(production.EntranceKinds), string(production.EntranceKinds[0]),
			"section: whole sections; player: one by one"},
		{"beats", number(0.25, 64, "beats"), "1", "from one entrance to the next"}}}
	transitionShape = &shape{"transition", "in an entry of shots:", "transition: {kind: dissolve, beats: 1}", []key{
		{"kind", among(production.TransitionKinds), required,
			"dissolve blends; move lets tiles glide to their new place"},
		{"beats", number(0.05, 32, "beats"), "1", "how long, in beats before the shot"},
		{"seconds", number(0.05, maxTransition, "seconds"), "none", "how long, instead of beats"}}}
	deliverShape = &shape{"a deliverable", "in an entry of deliver:", "{name: final, canvas: 1920x1080}", []key{
		{"name", nameValue, required, "unique; the film is out/NAME.mp4"},
		{"canvas", value{form: "width x height", unit: "pixels"}, required,
			"size of the picture, such as 1920x1080; even, 32 to 8192 a side"},
		{"codec", among(production.Codecs), string(production.Codecs[0]),
			"h264 plays everywhere; hevc and av1 make smaller files"},
		{"poster", timeValue.orWords("start", "end"), "none", "the moment that is also kept as a picture"},
		{"aspect", aspectValue, "as picture", "shape of the tiles of this film"}}}
	chapterShape = &shape{"a chapter", "in an entry of chapters:", "{at: m1, name: Theme}", []key{
		{"at", timeValue.orWords("start"), required, "where it begins"},
		{"name", textValue, required, "what viewers see"}}}
	noteShape = &shape{"a note", "in an entry of notes:", "{from: m1, to: m9, text: The lamps are lit}", []key{
		{"from", timeValue.orWords("start"), required, "where it appears"},
		{"to", timeValue.orWords("end"), required, "where it disappears"},
		{"text", linesValue, required, "what it says"}}}
	callSheetShape = &shape{"callsheet", "inside callsheet:",
		"callsheet: {due: 2031-06-12, send_to: takes@example.org}", []key{
			{"language", oneOf(phrase.Languages()...), "that of the production", "language of the pages"},
			{"due", value{form: "date or text"}, "none", "last day for takes, such as 2031-06-12 or 2031-06-12 20:00"},
			{"send_to", textValue, "none", "where recordings go: a web or mail address, or words"},
			{"contact", textValue, "none", "whom to ask"},
			{"notes", linesValue, "none", "what else players should know"},
			{"strings", mappingOf(stringsShape), "the built-in ones",
				"sentences of your own; ripieno callsheet --strings lists them"}}}
	stringsShape = &shape{"strings", "inside strings:",
		"strings: {step-hold: \"Sit still for {tail} seconds.\"}", sentenceKeys()}
	checkShape = &shape{"check", "inside check:", "check: {soft_ask: -48}", thresholdKeys()}
)

// shapes is those of which a misplaced key may be: all but the conductor, whose keys are those
// of recordings.
var shapes = []*shape{topShape, creditShape, tempoShape, countInShape, cueShape, changeShape, holdShape, guideShape,
	levelsShape, tuningShape, variantShape, droneShape, sectionShape, takeShape, videoShape, audioShape, trimShape,
	cropShape,
	mixShape, pictureShape, shotShape, transitionShape, entrancesShape, deliverShape, chapterShape, noteShape,
	callSheetShape,
	cleanShape, muteShape, partShape, bandShape, compressShape, hallShape, stageShape}
