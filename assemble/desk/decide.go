package desk

import (
	"encoding/json"
	"errors"
	"fmt"
	"regexp"
	"slices"
	"strconv"
	"strings"

	"ripieno/assemble/fault"
	"ripieno/assemble/manifest"
	"ripieno/assemble/production"
)

// decision is one value that the page writes.
type decision struct {
	Take  string          `json:"take"`
	Keys  []string        `json:"keys"`
	Value json.RawMessage `json:"value"` // a number, true, false, a word, or null to take it away
}

// writable are the values that the page may write: those it has a control for, and
// no file names or texts. What they may be, the manifest's own rules say.
var writable = []*regexp.Regexp{
	regexp.MustCompile(`^take (gain|pan|mute|low_cut|send|seat|verdict)$`),
	regexp.MustCompile(`^take crop( x| y| zoom)?$`),
	regexp.MustCompile(`^take (video|audio) (offset|drift_ppm|cue_at)$`),
	regexp.MustCompile(`^ sections \d{1,3} gain$`),
	regexp.MustCompile(`^ shots( \+?\d{1,4}( (from|to|show|take|takes|section|text|transition))?)?$`),
	regexp.MustCompile(`^ mix loudness$`),
}

// words are the texts that may stand for a value: those of the manifest, times, and names
// of takes and sections that need no quotes.
var words = regexp.MustCompile(`^([\pL\pN]([\pL\pN _.-]{0,78}[\pL\pN])?|\d{1,3}:\d\d(\.\d{1,6})?)$`)

// cards are the texts of the manifest that a shot may show; words of a person's own are
// written by hand.
var cards = []string{"title", "credits", "dedication"}

// transitions are the values of a word that stands for one.
var transitions = map[string]string{"cut": "cut", "dissolve": "{kind: dissolve, beats: 1}",
	"move": "{kind: move, beats: 1}"}

// shotKeys are what an entry of shots may say here, in the order in which it is written.
var shotKeys = []string{"from", "to", "show", "take", "takes", "section", "text"}

// change returns a decision as a change of the manifest.
func (d decision) change() (manifest.Change, error) {
	c := manifest.Change{Take: d.Take, Keys: d.Keys}
	place := " " + strings.Join(d.Keys, " ")
	if d.Take != "" {
		place = "take" + place
	}
	if !slices.ContainsFunc(writable, func(r *regexp.Regexp) bool { return r.MatchString(place) }) {
		return c, refused(fmt.Sprintf("%s is not changed from the desk", c))
	}
	var v any
	if err := json.Unmarshal(d.Value, &v); err != nil {
		return c, refused("a value is missing")
	}
	var err error
	last := d.Keys[len(d.Keys)-1]
	c.Value, err = written(v)
	if word, ok := v.(string); ok && err == nil && last == "transition" {
		c.Value = transitions[word]
	} else if ok && !isSaid(last, v) {
		c.Value = ""
	}
	if err != nil || v != nil && c.Value == "" {
		return c, refused(fmt.Sprintf("%s is no value of %s", clipped(d.Value), c))
	}
	return c, nil
}

// written returns a value as the manifest has it: a number, a flag, a word, an entry of
// shots, a list of those or of words; "" for null.
func written(v any) (string, error) {
	switch v := v.(type) {
	case nil:
		return "", nil
	case float64:
		return strconv.FormatFloat(v, 'f', -1, 64), nil
	case bool:
		return strconv.FormatBool(v), nil
	case string:
		if words.MatchString(v) {
			return v, nil
		}
	case map[string]any:
		var pairs []string
		for _, k := range shotKeys {
			if text, err := written(v[k]); err == nil && text != "" && isSaid(k, v[k]) {
				pairs = append(pairs, k+": "+text)
			}
		}
		if len(pairs) == len(v) && len(pairs) > 1 {
			return "{" + strings.Join(pairs, ", ") + "}", nil
		}
	case []any:
		var entries []string
		for _, e := range v {
			text, err := written(e)
			_, isShot := e.(map[string]any)
			_, isName := e.(string)
			if !isShot && !isName || err != nil {
				return "", errNoValue
			}
			entries = append(entries, text)
		}
		return "[" + strings.Join(entries, ", ") + "]", nil
	}
	return "", errNoValue
}

// isSaid reports whether a value is of the kind that a key of a shot takes: two names for
// takes, a text of the manifest for text, and else a word.
func isSaid(key string, v any) bool {
	list, isList := v.([]any)
	word, isWord := v.(string)
	switch key {
	case "takes":
		return isList && len(list) == 2
	case "text":
		return slices.Contains(cards, word)
	}
	return isWord
}

// errNoValue says that something is no value of the manifest.
var errNoValue = errors.New("no value")

// clipped returns the beginning of a text, for messages.
func clipped(data []byte) string {
	const most = 60
	return string([]rune(string(data))[:min(most, len([]rune(string(data))))])
}

// changesOf returns decisions as changes of the manifest.
func changesOf(list []decision) ([]manifest.Change, error) {
	var out []manifest.Change
	for _, d := range list {
		c, err := d.change()
		if err != nil {
			return nil, err
		}
		out = append(out, c)
	}
	if len(out) == 0 {
		return nil, refused("nothing is changed")
	}
	return out, nil
}

// about returns what changes are decided by: for a shot, which goes by its number, the whole
// list of shots, and else what they change.
func about(changes []manifest.Change) []manifest.Change {
	out := slices.Clone(changes)
	for i, c := range out {
		if c.Take == "" && c.Keys[0] == "shots" {
			out[i].Keys = c.Keys[:1]
		}
	}
	return out
}

// refused returns the fault of what the page may not ask.
func refused(what string) error { return fault.New(fault.Manifest, "the desk", what, "") }

// place is where a person has put a recording.
type place struct {
	Take   string          `json:"take"`
	Role   production.Role `json:"role"`
	Offset float64         `json:"offset"`
	Drift  float64         `json:"drift_ppm"`
}

// about returns what of the manifest it changes.
func (p place) about() []manifest.Change {
	var out []manifest.Change
	for _, key := range []string{"offset", "drift_ppm", "cue_at"} {
		out = append(out, manifest.Change{Take: p.Take, Keys: []string{string(p.Role), key}})
	}
	return out
}

// write writes the place into the manifest: as `sync --accept` does where it says
// nothing of it, and else in place of what it says.
func (p place) write(data []byte, path string) ([]byte, error) {
	man, err := manifest.Parse(path, data)
	if err != nil {
		return nil, err
	}
	i := slices.IndexFunc(man.Takes, func(t production.Take) bool { return t.Name == p.Take })
	if i < 0 {
		return nil, refused(fmt.Sprintf("there is no take %q", p.Take))
	}
	var file *production.File
	switch p.Role {
	case production.Video:
		file = man.Takes[i].Video
	case production.Audio:
		file = man.Takes[i].Audio
	}
	if file == nil {
		return nil, refused(fmt.Sprintf("take %q has no such recording", p.Take))
	}
	if file.Offset == nil && file.CueAt == nil && file.DriftPPM == nil {
		return manifest.Pin(data, man, []manifest.Pinned{
			{Take: p.Take, Role: p.Role, Offset: p.Offset, DriftPPM: p.Drift},
		})
	}
	number := func(x float64) string { return strconv.FormatFloat(x+0, 'f', -1, 64) }
	at := func(key, value string) manifest.Change {
		return manifest.Change{Take: p.Take, Keys: []string{string(p.Role), key}, Value: value}
	}
	return manifest.Apply(data, man, []manifest.Change{at("offset", number(p.Offset)),
		at("drift_ppm", number(p.Drift)), at("cue_at", "")})
}
