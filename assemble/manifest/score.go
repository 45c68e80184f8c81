package manifest

import (
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"path"
	"path/filepath"
	"slices"
	"strings"

	"go.yaml.in/yaml/v3"

	"ripieno/assemble/fault"
	"ripieno/mix/tempo"
	"ripieno/mix/tempo/musicxml"
	"ripieno/mix/tempo/score"
	"ripieno/mix/tempo/smf"
)

// scoreKinds are the endings of scores; the two readers bound what they take.
var scoreKinds = []string{".mid", ".midi", ".musicxml", ".mxl", ".xml"}

// maxScoreRest bounds what is hashed of a score behind what its reader took.
const maxScoreRest = 64 << 20

// score reads the score of tempo:, and false when the key is absent. A score
// with a fault is nil.
func (m mapping) score() (*score.Score, bool) {
	if !m.has("score") {
		return nil, false
	}
	name := m.path("score", "round.musicxml")
	if name == "" {
		return nil, true
	}
	v := m.vals["score"]
	ending := strings.ToLower(path.Ext(name))
	if !slices.Contains(scoreKinds, ending) {
		m.at(v, "a Standard MIDI File (.mid) or MusicXML (.musicxml, .mxl)", "unknown kind of score %q", clip(name))
		return nil, true
	}
	s, err := readScore(m.dir, name, ending)
	switch {
	case err == nil:
		return s, true
	case errors.Is(err, fs.ErrNotExist):
		m.at(v, "its name is relative to the folder of "+filepath.Base(m.file), "score %q not found", clip(name))
	default:
		m.because(v, err, "export it again, or write changes: and measures: instead", "score %q cannot be read",
			clip(name))
	}
	return nil, true
}

// OneScore returns the one score of a folder that can be read, "" when there is none or
// several to choose from; note is told which are there and why they are not taken.
func OneScore(dir string, find func() ([]string, error), note func(string)) (string, error) {
	names, err := find()
	if err != nil {
		return "", err
	}
	var good []string
	for _, name := range names {
		what, _ := pathFault(name)
		if what == "" && writable(name) {
			_, err := readScore(dir, name, strings.ToLower(path.Ext(name)))
			if err == nil {
				good = append(good, name)
				continue
			}
			what = err.Error()
		}
		note(fmt.Sprintf("%q cannot be read as a score: %s", name, what))
	}
	if len(good) > 1 {
		note(fmt.Sprintf("tempo: %d scores are here, none is taken: write score: %s or another into tempo:", len(good),
			good[0]))
		return "", nil
	}
	return strings.Join(good, ""), nil
}

// because adds a fault as at does, with a cause.
func (r *reader) because(n *yaml.Node, err error, hint, format string, args ...any) {
	r.faults.Add(fault.At(fault.Manifest, markOf(r.file, n), fmt.Sprintf(format, args...), hint).Because(err))
}

// readScore reads an ordinary file in dir or below it; links may not lead out.
func readScore(dir, name, ending string) (*score.Score, error) {
	f, _, err := OpenInside(dir, name)
	if err != nil {
		return nil, err
	}
	defer f.Close() //nolint:errcheck // nothing was written
	read, hash := musicxml.Read, sha256.New()
	if ending == ".mid" || ending == ".midi" {
		read = smf.Read
	}
	s, err := read(io.TeeReader(f, hash))
	if err != nil {
		return nil, err
	}
	// What a reader leaves unread belongs to the file too; a score is small.
	if _, err := io.Copy(hash, io.LimitReader(f, maxScoreRest)); err != nil {
		return nil, err
	}
	s.Hash = hex.EncodeToString(hash.Sum(nil))
	return s, nil
}

// fromScore returns a score as the manifest wants it played, and its tempo map. What
// else is written in tempo may add the count-in and holds, choose another order, put
// other tempos in place of the score's, and repeat what the score says but not
// contradict it.
func (m mapping) fromScore(s *score.Score, in tempo.CountIn) (*score.Score, tempo.Spec) {
	const hint = "leave it out, since the score says it"
	before := len(m.faults)
	o := score.PlayOptions{Interpret: m.choice("interpret", "no") == "yes"}
	if m.has("order") {
		o.Order = m.orderSpans(tempo.MaxMeasures)
	}
	o.Changes = m.scoreChanges()
	if s == nil || len(m.faults) > before {
		return nil, tempo.Spec{}
	}
	played, err := s.Play(o)
	if err != nil {
		at := m.vals["score"]
		for _, key := range []string{"changes", "order"} {
			if v := m.vals[key]; v != nil {
				at = v
			}
		}
		m.at(at, "measures have the numbers that the score prints", "%v", err)
		return nil, tempo.Spec{}
	}
	if n, ok := m.whole("measures"); ok && n != played.Spec.Measures {
		m.at(m.vals["measures"], hint, "measures is %d, but the score has %d as played", n, played.Spec.Measures)
	}
	if x, ok := m.number("pick_up"); ok && x != played.Spec.PickUp {
		m.at(m.vals["pick_up"], hint, "pick_up is %s, but the score has one of %s beats", decimal(x),
			decimal(played.Spec.PickUp))
	}
	spec := played.Spec
	spec.CountIn = in
	return played, spec
}

// scoreChanges reads the tempos that stand for those of the score. Meters are the
// score's own: its measures would not fit others.
func (m mapping) scoreChanges() []tempo.Change {
	var all []tempo.Change
	for _, e := range m.entries("changes", changeShape) {
		c := e.change()
		switch {
		case !c.Meter.IsZero():
			e.at(e.vals["meter"], "leave it out", "the score says the meter of measure %d", c.Measure)
		case c.BPM == 0 && c.RampTo == 0:
			e.at(e.node, "for example {measure: 17, bpm: 72}", "a change beside a score has no bpm and no ramp_to")
		case c.RampTo > 0 && c.Until <= c.Measure:
			e.at(e.node, "until is the measure where the new tempo is reached",
				"the ramp has no until after measure %d",
				c.Measure)
		}
		all = append(all, c)
	}
	return all
}
