package manifest

import (
	"fmt"
	"math"
	"path/filepath"
	"strconv"

	"go.yaml.in/yaml/v3"

	"ripieno/assemble/production"
	"ripieno/mix/align"
)

// This file reads sync.yaml, of which the program itself uses only who was sure.

var (
	measuredShape = &shape{name: "the file", example: "version: 1", keys: []key{
		{name: "version"}, {name: "files"}, {name: "complete"}}}
	fileShape = &shape{name: "a file", example: "{take: oboe-1, role: video}", keys: []key{
		{name: "take"}, {name: "role", value: among(production.Roles)}, {name: "file"}, {name: "hash"},
		{name: "offset", value: number(-maxSeconds, maxSeconds, "seconds")},
		{name: "drift_ppm", value: number(-maxDriftPPM, maxDriftPPM, "ppm")},
		{name: "confidence", value: number(0, 1, "0 to 1")},
		{name: "sure"}, {name: "expected_error_ms", value: number(0, 1000*maxSeconds, "milliseconds")},
		{name: "method", value: among(production.Words[align.Method](align.Methods()))},
		{name: "evidence"}, {name: "reason"}, {name: "remembered"}, {name: "key"}, {name: "candidates"},
		{name: "parts"},
		{name: "parts_of", value: oneOf("file", "sound")}, {name: "sample_rate", value: oneOf(sampleRates...)}}}
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
// file is no measurements and no error; one that is not as it was written is a fault of kind
// Manifest.
func LoadMeasured(dir string) (*Measured, error) {
	return loadRecord(filepath.Join(dir, MeasuredName), "the measurements", maxMeasured, parseMeasured)
}

// parseMeasured reads the bytes of a sync.yaml that was read from path. A
// file that is not as Encode writes it is a fault of kind Manifest, which
// says to delete it: nothing in it is worth mending by hand.
func parseMeasured(path string, data []byte) (*Measured, error) {
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
	f.Remembered, f.Key = m.raw("remembered"), m.raw("key")
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
