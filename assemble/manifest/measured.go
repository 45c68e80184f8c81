package manifest

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"

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
	// Offset, DriftPPM, Confidence, Sure, Uncertainty, Method, Evidence, Reason, Remembered
	// and of the candidates all but their evidence. Offset is NaN when the file could
	// not be placed at all.
	align.Placement

	// Parts are those that the file was taken for, PartsOfSound says that they are of
	// its sound only, and SampleRate is the true rate of a sound that is labelled
	// wrongly; zero values for a file that is as it says.
	Parts        audio.Parts
	PartsOfSound bool
	SampleRate   int

	// Key stands for all that decides where exactly the file lies, beside its content: while it is
	// the same, one that was sure may stay so. Empty where that is not known.
	Key string
}

// Encode returns the file's bytes: the same for the same measurements in whatever
// order. A number out of its range, a role that is neither
// video nor audio, or two measurements of one key are an error, which is the
// caller's bug. Text that is not UTF-8 loses the bytes in question.
func (m *Measured) Encode() ([]byte, error) {
	files := slices.Clone(m.Files)
	slices.SortStableFunc(files, func(a, b Measurement) int {
		return cmp.Or(strings.Compare(a.Take, b.Take), cmp.Compare(a.Role, b.Role), strings.Compare(a.Hash, b.Hash))
	})
	var b strings.Builder
	b.WriteString("# Written by `ripieno sync`. A value in production.yaml (offset: or cue_at: of a\n" +
		"# file) overrules the one here. What is sure here stays sure when other takes come,\n" +
		"# while its file and key are the same; the line remembered says what is doubted then.\n" +
		"# This file may be deleted; sync measures again and remembers nothing.\n" +
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

// check refuses what could not be read back. A comparison with NaN is false, so each
// is written to be true for what may be.
func (f Measurement) check() error {
	offset := math.IsNaN(f.Offset) || math.Abs(f.Offset) <= maxSeconds
	if !offset || !(math.Abs(f.DriftPPM) <= maxDriftPPM) || !(f.Confidence >= 0 && f.Confidence <= 1) {
		return fmt.Errorf("manifest: take %q, %s: offset %v, drift %v ppm, confidence %v", f.Take, f.Role, f.Offset,
			f.DriftPPM, f.Confidence)
	}
	for i, c := range f.Candidates {
		if !(math.Abs(c.Offset) <= maxSeconds && math.Abs(c.DriftPPM) <= maxDriftPPM && math.Abs(c.At) <= maxSeconds &&
			c.Odds >= 0 && c.Odds <= 1) {
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

// write appends f as an entry of files. The order of the lines is part of the file's
// form; [ParseMeasured] takes any. Numbers have all their digits, so that reading
// gives the same bits again.
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
	if f.Remembered != "" {
		fmt.Fprintf(b, "    remembered: %s\n", yamlText(f.Remembered))
	}
	if f.Key != "" {
		fmt.Fprintf(b, "    key: %s\n", yamlText(f.Key))
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
