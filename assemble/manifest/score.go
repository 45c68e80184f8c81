package manifest

import (
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
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

// because adds a fault as at does, with a cause.
func (r *reader) because(n *yaml.Node, err error, hint, format string, args ...any) {
	r.faults.Add(fault.At(fault.Manifest, markOf(r.file, n), fmt.Sprintf(format, args...), hint).Because(err))
}

// readScore reads an ordinary file in dir or below it; links may not lead out.
func readScore(dir, name, ending string) (*score.Score, error) {
	root, err := os.OpenRoot(dir)
	if err != nil {
		return nil, err
	}
	defer root.Close() //nolint:errcheck // nothing was written
	info, err := root.Stat(name)
	if err != nil {
		return nil, err
	}
	if !info.Mode().IsRegular() {
		return nil, errors.New("not an ordinary file")
	}
	f, err := root.Open(name)
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

// fromScore makes the tempo map of a score. What else is written in tempo may
// add the count-in and holds, and may repeat what the score says but not
// contradict it.
func (m mapping) fromScore(s *score.Score, in tempo.CountIn) tempo.Spec {
	const hint = "leave it out, since the score says it"
	if m.has("changes") {
		m.at(m.keys["changes"], "keep one of them", "tempo has both score and changes")
	}
	if n, ok := m.whole("measures"); ok && s != nil && n != s.Spec.Measures {
		m.at(m.vals["measures"], hint, "measures is %d, but the score has %d as played", n, s.Spec.Measures)
	}
	if x, ok := m.number("pick_up"); ok && s != nil && x != s.Spec.PickUp {
		m.at(m.vals["pick_up"], hint, "pick_up is %s, but the score has one of %s beats", decimal(x),
			decimal(s.Spec.PickUp))
	}
	if s == nil {
		return tempo.Spec{}
	}
	spec := s.Spec
	spec.CountIn = in
	return spec
}
