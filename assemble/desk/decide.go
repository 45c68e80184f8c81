package desk

import (
	"encoding/json"
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
	regexp.MustCompile(`^take (gain|pan|mute|low_cut|send|seat)$`),
	regexp.MustCompile(`^take crop( x| y| zoom)?$`),
	regexp.MustCompile(`^take (video|audio) (offset|drift_ppm|cue_at)$`),
	regexp.MustCompile(`^ sections \d{1,3} gain$`),
}

// words are the texts that may stand for a value.
var words = []string{"auto", "none", "middle"}

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
	switch v := v.(type) {
	case nil:
	case float64:
		c.Value = strconv.FormatFloat(v, 'f', -1, 64)
	case bool:
		c.Value = strconv.FormatBool(v)
	case string:
		if !slices.Contains(words, v) {
			return c, refused(fmt.Sprintf("%q is no value of %s", v, c))
		}
		c.Value = v
	default:
		return c, refused(fmt.Sprintf("%s takes one value", c))
	}
	return c, nil
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

// refused is the fault of what the page may not ask.
func refused(what string) error { return fault.New(fault.Manifest, "the desk", what, "") }

// place is where a person has put a recording.
type place struct {
	Take   string          `json:"take"`
	Role   production.Role `json:"role"`
	Offset float64         `json:"offset"`
	Drift  float64         `json:"drift_ppm"`
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
