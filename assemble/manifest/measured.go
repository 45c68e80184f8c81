package manifest

import (
	"cmp"
	"fmt"
	"math"
	"path/filepath"
	"slices"
	"strconv"
	"strings"

	"go.yaml.in/yaml/v3"

	"ripieno/assemble/production"
	"ripieno/mix/align"
	"ripieno/mix/audio"
)

// MeasuredName is the name of the file of measurements in a production's
// folder.
const MeasuredName = "sync.yaml"

// maxMeasured bounds sync.yaml: a few kilobytes of evidence for each file of
// some hundred players.
const maxMeasured = 16 << 20

// Measured is sync.yaml: what sync found out about the recordings. It is
// written by the program alone, may be deleted at any time, and is overruled
// by whatever production.yaml says.
type Measured struct {
	Files []Measurement // as read; Encode sorts its own copy
}

// Measurement is where one recording lies on guide time. It is true for one
// content of the file: Take, Role and Hash together are its key.
type Measurement struct {
	Take string // name of the take
	Role production.Role
	File string // as the manifest named it, for people who read the file
	Hash string // of the content that was measured

	// Placement is where it lies and how that was found; of it the file keeps
	// Offset, DriftPPM, Confidence, Sure, Uncertainty, Method, Evidence, Reason and
	// of the candidates all but their evidence. Offset is NaN when the file could
	// not be placed at all.
	align.Placement

	// Parts are those that the file was taken for, PartsOfSound says that they are of
	// its sound only, and SampleRate is the true rate of a sound that is labelled
	// wrongly; zero values for a file that is as it says.
	Parts        audio.Parts
	PartsOfSound bool
	SampleRate   int
}

var (
	measuredShape = &shape{name: "the file", example: "version: 1", keys: []key{
		{name: "version"}, {name: "files"}, {name: "complete"}}}
	fileShape = &shape{name: "a file", example: "{take: oboe-1, role: video}", keys: []key{
		{name: "take"}, {name: "role", value: among(production.Roles)}, {name: "file"}, {name: "hash"},
		{name: "offset", value: number(-maxSeconds, maxSeconds, "seconds")},
		{name: "drift_ppm", value: number(-maxDriftPPM, maxDriftPPM, "ppm")},
		{name: "confidence", value: number(0, 1, "0 to 1")},
		{name: "sure"}, {name: "expected_error_ms", value: number(0, 1000*maxSeconds, "milliseconds")},
		{name: "method", value: among(production.Words[align.Method](align.Methods()))}, {name: "evidence"}, {name: "reason"}, {name: "candidates"},
		{name: "parts"}, {name: "parts_of", value: oneOf("file", "sound")}, {name: "sample_rate", value: oneOf(sampleRates...)}}}
	candidateShape = &shape{name: "a candidate", example: "{offset: -3.25, at: 11.48}", keys: []key{
		{name: "offset", value: number(-maxSeconds, maxSeconds, "seconds")},
		{name: "drift_ppm", value: number(-maxDriftPPM, maxDriftPPM, "ppm")},
		{name: "at", value: number(-maxSeconds, maxSeconds, "seconds")},
		{name: "by_cue"}, {name: "odds", value: number(0, 1, "0 to 1")}}}
)

// Find returns the measurement of one content of one file of a take.
func (m *Measured) Find(take string, role production.Role, hash string) (Measurement, bool) {
	for _, f := range m.Files {
		if f.Take == take && f.Role == role && f.Hash == hash {
			return f, true
		}
	}
	return Measurement{}, false
}

// LoadMeasured reads the measurements of the production in dir. A missing
// file is no measurements and no error.
func LoadMeasured(dir string) (*Measured, error) {
	return loadRecord(filepath.Join(dir, MeasuredName), "the measurements", maxMeasured, ParseMeasured)
}

// ParseMeasured reads the bytes of a sync.yaml that was read from path. A
// file that is not as Encode writes it is a fault of kind Manifest, which
// says to delete it: nothing in it is worth mending by hand.
func ParseMeasured(path string, data []byte) (*Measured, error) {
	r := &reader{file: path, hint: fmt.Sprintf("delete %s and run `ripieno sync` again", filepath.Base(path))}
	m, err := r.record(data, maxMeasured, measuredShape, "files")
	if err != nil {
		return nil, err
	}
	all := &Measured{}
	seen := map[[3]string]bool{}
	for _, e := range m.entries("files", fileShape) {
		f := e.measurement()
		key := [3]string{f.Take, string(f.Role), f.Hash}
		if seen[key] {
			e.at(e.node, "", "take %q has two measurements of one %s file", clip(f.Take), clip(string(f.Role)))
		}
		seen[key] = true
		all.Files = append(all.Files, f)
	}
	if err := r.first(); err != nil {
		return nil, err
	}
	return all, nil
}

// measurement reads one entry of files.
func (m mapping) measurement() Measurement {
	var f Measurement
	for _, key := range []string{"take", "role", "file", "hash", "offset", "drift_ppm", "confidence", "sure",
		"method"} {
		m.need(key, "")
	}
	f.Take, f.File, f.Hash, f.Reason = m.raw("take"), m.raw("file"), m.raw("hash"), m.raw("reason")
	f.Method = choose(m, "method", align.NoMethod)
	f.Role = choose(m, "role", production.Video)
	if v := m.vals["offset"]; v != nil && v.Value == "none" {
		f.Offset = math.NaN()
	} else {
		f.Offset, _ = m.number("offset")
	}
	f.DriftPPM, _ = m.number("drift_ppm")
	f.Parts = m.parts()
	f.PartsOfSound = m.choice("parts_of", "file") == "sound"
	if v := m.choice("sample_rate", ""); v != "" {
		f.SampleRate, _ = strconv.Atoi(v) // one of the list
	}
	f.Confidence, _ = m.number("confidence")
	f.Sure = m.flag("sure", false)
	for _, v := range m.list("evidence", "") {
		if v.Kind != yaml.ScalarNode {
			m.at(v, "", "evidence holds %s", kindOf(v))
			continue
		}
		f.Evidence = append(f.Evidence, v.Value)
	}
	if m.vals["expected_error_ms"] != nil {
		ms, _ := m.number("expected_error_ms")
		f.Uncertainty = ms / 1000
	}
	for _, c := range m.entries("candidates", candidateShape) {
		f.Candidates = append(f.Candidates, c.candidate())
	}
	return f
}

// candidate reads one entry of candidates.
func (m mapping) candidate() align.Candidate {
	var c align.Candidate
	c.Offset, _ = m.number("offset")
	c.DriftPPM, _ = m.number("drift_ppm")
	c.At, _ = m.number("at")
	c.ByCue = m.flag("by_cue", false)
	c.Odds, _ = m.number("odds")
	return c
}

// raw returns a text that the program wrote itself, with whatever is in it.
func (m mapping) raw(key string) string {
	v, ok := m.scalar(key, "")
	if !ok {
		return ""
	}
	return v.Value
}

// Encode returns the file's bytes: the same for the same measurements in whatever
// order. A number that ParseMeasured would refuse, a role that is neither
// video nor audio, or two measurements of one key are an error, which is the
// caller's bug. Text that is not UTF-8 loses the bytes in question.
func (m *Measured) Encode() ([]byte, error) {
	files := slices.Clone(m.Files)
	slices.SortStableFunc(files, func(a, b Measurement) int {
		return cmp.Or(strings.Compare(a.Take, b.Take), cmp.Compare(a.Role, b.Role), strings.Compare(a.Hash, b.Hash))
	})
	var b strings.Builder
	b.WriteString("# Written by `ripieno sync`. A value in production.yaml (offset: or cue_at: of a\n" +
		"# file) overrules the one here. This file may be deleted; sync measures again.\n" +
		"version: 1\nfiles:")
	if len(files) == 0 {
		b.WriteString(" []")
	}
	b.WriteString("\n")
	for i, f := range files {
		if i > 0 && files[i-1].Take == f.Take && files[i-1].Role == f.Role && files[i-1].Hash == f.Hash {
			return nil, fmt.Errorf("manifest: two measurements of take %q, %s, %s", f.Take, f.Role, f.Hash)
		}
		if err := f.check(); err != nil {
			return nil, err
		}
		f.write(&b)
	}
	b.WriteString("complete: true\n")
	return []byte(b.String()), nil
}

// check refuses what could not be read back.
func (f Measurement) check() error {
	offset := math.IsNaN(f.Offset) || math.Abs(f.Offset) <= maxSeconds
	if !offset || !(math.Abs(f.DriftPPM) <= maxDriftPPM) || !(f.Confidence >= 0 && f.Confidence <= 1) {
		return fmt.Errorf("manifest: take %q, %s: offset %v, drift %v ppm, confidence %v", f.Take, f.Role, f.Offset,
			f.DriftPPM, f.Confidence)
	}
	for i, c := range f.Candidates {
		if !(math.Abs(c.Offset) <= maxSeconds && math.Abs(c.DriftPPM) <= maxDriftPPM && math.Abs(c.At) <= maxSeconds && c.Odds >= 0 && c.Odds <= 1) {
			return fmt.Errorf("manifest: take %q, %s: candidate %d: %+v", f.Take, f.Role, i+1, c)
		}
	}
	if !slices.Contains(production.Roles, f.Role) {
		return fmt.Errorf("manifest: take %q: role %q", f.Take, f.Role)
	}
	if _, err := align.ParseMethod(string(f.Method)); err != nil {
		return fmt.Errorf("manifest: take %q, %s: %w", f.Take, f.Role, err)
	}
	return nil
}

// write appends f as an entry of files.
func (f Measurement) write(b *strings.Builder) {
	offset := "none"
	if !math.IsNaN(f.Offset) {
		offset = decimal(f.Offset)
	}
	fmt.Fprintf(b, "  - take: %s\n    role: %s\n", yamlText(f.Take), f.Role)
	fmt.Fprintf(b, "    file: %s\n    hash: %s\n", yamlText(f.File), yamlText(f.Hash))
	fmt.Fprintf(b, "    offset: %s\n    drift_ppm: %s\n", offset, decimal(f.DriftPPM))
	fmt.Fprintf(b, "    confidence: %s\n    sure: %t\n", decimal(f.Confidence), f.Sure)
	if f.Uncertainty > 0 && f.Uncertainty <= maxSeconds {
		fmt.Fprintf(b, "    expected_error_ms: %s\n", decimal(1000*f.Uncertainty))
	}
	fmt.Fprintf(b, "    method: %s\n", yamlText(string(f.Method)))
	if len(f.Evidence) > 0 {
		b.WriteString("    evidence:\n")
		for _, e := range f.Evidence {
			fmt.Fprintf(b, "      - %s\n", yamlText(e))
		}
	}
	if f.Reason != "" {
		fmt.Fprintf(b, "    reason: %s\n", yamlText(f.Reason))
	}
	if text := partsText(f.Parts); text != "" {
		fmt.Fprintf(b, "    parts: %s\n", text)
		if f.PartsOfSound {
			b.WriteString("    parts_of: sound\n")
		}
	}
	if f.SampleRate > 0 {
		fmt.Fprintf(b, "    sample_rate: %d\n", f.SampleRate)
	}
	if len(f.Candidates) > 0 {
		b.WriteString("    candidates:\n")
		for _, c := range f.Candidates {
			fmt.Fprintf(b, "      - {offset: %s, drift_ppm: %s, at: %s, by_cue: %t, odds: %s}\n",
				decimal(c.Offset), decimal(c.DriftPPM), decimal(c.At), c.ByCue, decimal(c.Odds))
		}
	}
}
