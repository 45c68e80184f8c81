package manifest

import (
	"fmt"
	"slices"
	"strings"
)

// sameThing maps words people write to the manifest's own. They are other words for
// the same thing, in plainKey's spelling; slips of the pen need no line here.
var sameThing = map[string]string{
	"volume": "gain", "level": "gain", "gain_db": "gain",
	"delay": "offset", "shift": "offset", "clap_at": "cue_at", "clap": "cue_at",
	"instrument": "part", "musician": "player", "group": "section",
	"time_signature": "meter", "metre": "meter", "time": "meter", "tempo": "bpm", "bars": "measures", "bar": "measure",
	"frame_rate": "fps", "rate": "fps", "resolution": "canvas", "size": "canvas",
	"start": "from", "begin": "from", "end": "to", "stop": "to",
	"reference": "pitch", "a4": "pitch", "lufs": "loudness", "reverb": "room", "colour": "background",
	"color": "background",
	"path":  "file", "rotation": "rotate", "drift": "drift_ppm", "players": "takes", "film": "deliver",
	"output": "deliver",
	"pickup": "pick_up", "upbeat": "pick_up", "anacrusis": "pick_up", "fermatas": "holds", "fermata": "holds",
	"outputs": "deliver",
	"consent": "release", "permission": "release", "anonymous": "hide_name", "hide": "hide_name",
	"fonts": "font", "typeface": "font", "deadline": "due", "lang": "language", "email": "send_to", "upload": "send_to",
	"remarks":        "notes",
	"count_in_tones": "count_tones", "counting": "count_tones", "others": "with", "subdivision": "subdivisions",
}

// keyHint returns what was probably meant by a key that s does not have: another
// spelling or another word for one of its keys, or a key of another place. They are
// tried in this order.
func (r *reader) keyHint(s *shape, key string) string {
	if isNumeral(key) {
		return "inside braces a comma ends a value; write decimals with a point, for example -1.5"
	}
	if near := r.nearest(key, s.names()); near != "" {
		return fmt.Sprintf("did you mean %q?", near)
	}
	if same := sameThing[plainKey(key)]; slices.Contains(s.names(), same) {
		return fmt.Sprintf("did you mean %q?", same)
	}
	var places []string
	word := plainKey(key)
	for _, other := range shapes {
		if len(word) > 2 && slices.Contains(other.names(), word) && len(places) < 3 {
			places = append(places, other.place)
		}
	}
	if len(places) > 0 {
		return fmt.Sprintf("%q belongs %s", word, strings.Join(places, " or "))
	}
	if s == checkShape { // too many for a hint
		return "`ripieno keys --thresholds` lists all of them"
	}
	if s == stringsShape {
		return "`ripieno callsheet --strings` lists all sentences with their keys"
	}
	return "keys of " + s.name + ": " + strings.Join(s.names(), ", ") + "; `ripieno keys` explains them"
}

// plainKey returns a key without the differences of habit: capitals, dashes, dots.
func plainKey(s string) string { return underscores.Replace(strings.ToLower(s)) }

var underscores = strings.NewReplacer("-", "_", ".", "_", " ", "_")

// nearest returns the candidate a mistyped word was probably meant to be, or "".
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
	// Three rows of the table are enough: a swap looks back two.
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
