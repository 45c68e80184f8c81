package manifest

import (
	"fmt"
	"slices"
	"strings"

	"ripieno/assemble/report/phrase"
)

// shape is what one kind of mapping may hold.
type shape struct {
	name    string   // for messages: "a take"
	place   string   // where such a mapping stands, for keys that belong there
	example string   // one that is right
	keys    []string // in the order a person would write them
}

// The shapes of production.yaml.
var (
	topShape = &shape{"the manifest", "at the left margin", "version: 1", []string{
		"version", "title", "composer", "ensemble", "dedication", "tempo", "guide",
		"timing", "sections", "seats", "release", "takes", "mix", "picture", "shots", "deliver", "chapters", "notes", "callsheet", "check"}}
	tempoShape = &shape{"tempo", "inside tempo:", "tempo: {changes: [{measure: 1, meter: 4/4, bpm: 96}], measures: 32}",
		[]string{"count_in", "pick_up", "changes", "measures", "order", "score", "holds"}}
	countInShape = &shape{"count_in", "inside count_in:", "count_in: {measures: 8, cue: {measure: 5, beat: 1}}",
		[]string{"measures", "cue"}}
	cueShape = &shape{"cue", "inside cue:", "cue: {measure: 5, beat: 1}",
		[]string{"measure", "beat"}}
	changeShape = &shape{"a tempo change", "in an entry of changes:", "{measure: 1, meter: 4/4, bpm: 96}",
		[]string{"measure", "meter", "beat", "bpm", "ramp_to", "until"}}
	holdShape = &shape{"a hold", "in an entry of holds:", "{at: m12.3, seconds: 1.5}",
		[]string{"at", "seconds"}}
	guideShape = &shape{"guide", "inside guide:", "guide: {pitch: 440}",
		[]string{"pitch", "levels", "subdivisions", "count_tones", "tail", "drone", "variants"}}
	levelsShape = &shape{"levels", "inside levels:", "levels: {click: 3, drone: off}",
		[]string{"click", "drone", "mix"}}
	variantShape = &shape{"a variant", "in an entry of variants:", "{name: from-33, from: m33}",
		[]string{"name", "levels", "subdivisions", "count_tones", "from", "to", "with"}}
	droneShape = &shape{"a drone", "in an entry of drone:", "{measure: 1, note: D3}",
		[]string{"measure", "note", "fifth"}}
	sectionShape = &shape{"a section", "in an entry of sections:", "{name: winds, gain: -1.5}",
		[]string{"name", "gain", "target"}}
	takeShape = &shape{"a take", "in an entry of takes:", "{name: oboe-1, player: Mara Voss, video: {file: intake/mara.mov}}",
		[]string{"name", "player", "part", "section", "video", "audio", "guide", "timing", "expected",
			"release", "hide_name", "gain", "pan", "mute", "trim", "fit", "behind", "crop", "weight", "seat",
			"mutes", "low_cut", "eq", "compress", "denoise", "width", "delay", "send"}}
	videoShape = &shape{"video", "inside video:", "video: {file: intake/mara.mov}",
		[]string{"file", "offset", "cue_at", "drift_ppm", "rotate", "colour", "range", "track"}}
	audioShape = &shape{"audio", "inside audio:", "audio: {file: intake/mara.wav}",
		[]string{"file", "offset", "cue_at", "drift_ppm", "track"}}
	trimShape = &shape{"trim", "inside trim:", "trim: {from: m1, to: m40}",
		[]string{"from", "to"}}
	cropShape = &shape{"crop", "inside crop:", "crop: {x: 0.5, y: 0.4, zoom: 1.2}",
		[]string{"x", "y", "zoom"}}
	mixShape = &shape{"mix", "inside mix:", "mix: {loudness: -16, true_peak: -1}",
		[]string{"loudness", "true_peak", "room", "balance", "pan_law", "hall", "impulse", "fade_in", "fade_out",
			"solo_lift", "stage"}}
	muteShape = &shape{"a mute", "in an entry of mutes:", "{from: m5, to: m9}",
		[]string{"from", "to"}}
	bandShape = &shape{"a band", "in an entry of eq:", "{shape: bell, hz: 900, gain: -3}",
		[]string{"shape", "hz", "gain", "q"}}
	compressShape = &shape{"compress", "inside compress:", "compress: {threshold: -24, ratio: 2}",
		[]string{"threshold", "ratio", "knee", "attack", "release", "make_up"}}
	hallShape = &shape{"hall", "inside hall:", "hall: {decay: 1.8, size: 1}",
		[]string{"decay", "high", "pre_delay", "size"}}
	stageShape = &shape{"a place on the stage", "in an entry of stage:", "{section: strings, from: -60, to: -10}",
		[]string{"section", "from", "to"}}
	pictureShape = &shape{"picture", "inside picture:", "picture: {fps: 30, aspect: 16:9}",
		[]string{"fps", "aspect", "gutter", "margin", "background", "font", "labels", "labels_for", "labels_fade", "lead_in", "tail",
			"rows", "short_rows", "smallest_tile", "match", "fade_in", "fade_out"}}
	shotShape = &shape{"a shot", "in an entry of shots:", "{from: m33, to: m41, show: solo, take: oboe-1}",
		[]string{"from", "to", "show", "section", "take", "others", "takes", "text", "roll", "labels", "labels_for", "transition"}}
	transitionShape = &shape{"transition", "in an entry of shots:", "transition: {kind: dissolve, beats: 1}",
		[]string{"kind", "beats", "seconds"}}
	deliverShape = &shape{"a deliverable", "in an entry of deliver:", "{name: final, canvas: 1920x1080}",
		[]string{"name", "canvas", "codec", "poster"}}
	chapterShape = &shape{"a chapter", "in an entry of chapters:", "{at: m1, name: Theme}",
		[]string{"at", "name"}}
	noteShape = &shape{"a note", "in an entry of notes:", "{from: m1, to: m9, text: The lamps are lit}",
		[]string{"from", "to", "text"}}
	callSheetShape = &shape{"callsheet", "inside callsheet:", "callsheet: {due: 2031-06-12, send_to: takes@example.org}",
		[]string{"language", "due", "send_to", "contact", "notes", "strings"}}
	stringsShape = &shape{"strings", "inside strings:", "strings: {step-hold: \"Sit still for {tail} seconds.\"}",
		phrase.Keys()}
	checkShape = &shape{"check", "inside check:", "check: {soft_ask: -48}",
		thresholdNames()}
)

// shapes is all of them, for telling where a misplaced key belongs.
var shapes = []*shape{topShape, tempoShape, countInShape, cueShape, changeShape, holdShape, guideShape,
	levelsShape, variantShape, droneShape, sectionShape, takeShape, videoShape, audioShape, trimShape, cropShape, mixShape,
	pictureShape, shotShape, transitionShape, deliverShape, chapterShape, noteShape, callSheetShape,
	muteShape, bandShape, compressShape, hallShape, stageShape}

// sameThing maps words people write to the manifest's own.
var sameThing = map[string]string{
	"volume": "gain", "level": "gain", "gain_db": "gain",
	"delay": "offset", "shift": "offset", "clap_at": "cue_at", "clap": "cue_at",
	"instrument": "part", "musician": "player", "group": "section",
	"time_signature": "meter", "metre": "meter", "time": "meter", "tempo": "bpm", "bars": "measures", "bar": "measure",
	"frame_rate": "fps", "rate": "fps", "resolution": "canvas", "size": "canvas",
	"start": "from", "begin": "from", "end": "to", "stop": "to",
	"reference": "pitch", "a4": "pitch", "lufs": "loudness", "reverb": "room", "colour": "background", "color": "background",
	"path": "file", "rotation": "rotate", "drift": "drift_ppm", "players": "takes", "film": "deliver", "output": "deliver",
	"pickup": "pick_up", "upbeat": "pick_up", "anacrusis": "pick_up", "fermatas": "holds", "fermata": "holds", "outputs": "deliver",
	"consent": "release", "permission": "release", "anonymous": "hide_name", "hide": "hide_name",
	"fonts": "font", "typeface": "font", "deadline": "due", "lang": "language", "email": "send_to", "upload": "send_to", "remarks": "notes",
	"count_in_tones": "count_tones", "counting": "count_tones", "others": "with", "subdivision": "subdivisions",
}

// keyHint says what was probably meant by a key that s does not have: another
// spelling or another word for one of its keys, or a key of another place.
func (r *reader) keyHint(s *shape, key string) string {
	if strings.Trim(key, "0123456789") == "" && key != "" {
		return "inside braces a comma ends a value; write decimals with a point, for example -1.5"
	}
	if near := r.nearest(key, s.keys); near != "" {
		return fmt.Sprintf("did you mean %q?", near)
	}
	if same := sameThing[plainKey(key)]; slices.Contains(s.keys, same) {
		return fmt.Sprintf("did you mean %q?", same)
	}
	var places []string
	word := plainKey(key)
	for _, other := range shapes {
		if len(word) > 2 && slices.Contains(other.keys, word) && len(places) < 3 {
			places = append(places, other.place)
		}
	}
	if len(places) > 0 {
		return fmt.Sprintf("%q belongs %s", word, strings.Join(places, " or "))
	}
	if s == checkShape { // too many for a hint
		return "the table of thresholds in DEVELOPERS.md lists all of them"
	}
	if s == stringsShape {
		return "ripieno callsheet --strings lists all sentences with their keys"
	}
	return "keys of " + s.name + ": " + strings.Join(s.keys, ", ")
}

// plainKey is a key without the differences of habit: capitals, dashes, dots.
func plainKey(s string) string { return underscores.Replace(strings.ToLower(s)) }

var underscores = strings.NewReplacer("-", "_", ".", "_", " ", "_")

// nearest is the candidate a mistyped word was probably meant to be, or "".
// No slip is forgiven in words of one or two letters, one in words of up to
// five, one in three letters beyond (no source: wide enough for real slips,
// too narrow to turn one word of this vocabulary into another).
func (r *reader) nearest(word string, candidates []string) string {
	w := plainKey(clip(word))
	best, least := "", 1+len([]rune(w))/3
	for _, c := range candidates {
		if r.tries++; r.tries > maxTries {
			break
		}
		if d := editDistance(w, plainKey(c)); d < least {
			best, least = c, d
		}
	}
	return best
}

// maxTries bounds the comparisons of one reading. A file of a thousand shots
// that name none of its thousand takes would take minutes otherwise; what is
// found first keeps its hints.
const maxTries = 1 << 18

// editDistance counts the insertions, deletions, substitutions and swaps of
// neighbours that turn a into b (optimal string alignment: Damerau 1964,
// Communications of the ACM 7(3), with Wagner and Fischer's table).
func editDistance(a, b string) int {
	s, t := []rune(a), []rune(b)
	before, last, row := make([]int, len(t)+1), make([]int, len(t)+1), make([]int, len(t)+1)
	for j := range last {
		last[j] = j
	}
	for i := 1; i <= len(s); i++ {
		row[0] = i
		for j := 1; j <= len(t); j++ {
			cost := 1
			if s[i-1] == t[j-1] {
				cost = 0
			}
			row[j] = min(last[j]+1, row[j-1]+1, last[j-1]+cost)
			if i > 1 && j > 1 && s[i-1] == t[j-2] && s[i-2] == t[j-1] {
				row[j] = min(row[j], before[j-2]+1)
			}
		}
		before, last, row = last, row, before
	}
	return last[len(t)]
}
