package manifest

import (
	"errors"
	"fmt"
	"io"
	"io/fs"
	"math"
	"path"
	"path/filepath"
	"strings"

	"ripieno/assemble/production"
	"ripieno/mix/tempo"
	"ripieno/mix/tempo/follow"
)

// maxList bounds a list of beats in bytes.
const maxList = 8 << 20

// Follow is what has to be found in a recording before a manifest can be read whole: the
// beats of the piece, as a list beside it.
type Follow struct {
	Recording string     // as tempo: from: names it
	List      string     // the list of its beats, beside it
	Spec      tempo.Spec // of the piece as it is played; its tempo means nothing
	Counted   bool       // the manifest says how many measures there are
	First     float64    // where the first beat is, by ear; NaN: it does not say
	Speed     float64    // about how many quarter notes a minute it begins with; 0: it does not say
}

// ToFollow returns what has to be found for the manifest in dir, nil when nothing has.
// A manifest with faults asks for nothing: [Load] tells them.
func ToFollow(dir string) *Follow {
	file := filepath.Join(dir, FileName)
	data, err := readSmall(file, maxBytes)
	if err != nil {
		return nil
	}
	root, bad := parseYAML(file, data, maxBytes)
	abs, err := filepath.Abs(dir)
	if bad != nil || err != nil {
		return nil
	}
	r := &reader{file: file, dir: abs, ask: &Follow{}}
	r.refuseSharing(root)
	if t, ok := r.mapping(root, topShape).child("tempo", tempoShape); ok {
		t.tempo(0)
	}
	if r.err() != nil || r.ask.Recording == "" {
		return nil
	}
	return r.ask
}

// beatsOf are the beats that tempo: from: names.
type beatsOf struct {
	production.Beats
	first float64
	lines []follow.Line
}

// beats reads tempo: from:, nil when it is absent or faulty.
func (m mapping) beats() *beatsOf {
	b := &beatsOf{first: math.NaN()}
	if x, ok := m.number("first"); ok {
		b.first = x
	}
	if !m.has("from") {
		if m.has("first") {
			m.at(m.keys["first"], "leave it out, or name the recording with from", "tempo has first and no from")
		}
		return nil
	}
	if b.File = m.path("from", "rehearsal.wav"); b.File == "" {
		return nil
	}
	b.List = b.File
	switch strings.ToLower(path.Ext(b.File)) {
	case ".txt", ".csv", ".tsv", ".mid", ".midi":
	default:
		b.Recording = true
		b.List = strings.TrimSuffix(b.File, path.Ext(b.File)) + "-beats.txt"
		if m.ask != nil {
			m.ask.Recording, m.ask.List, m.ask.First = b.File, b.List, b.first
			return b
		}
	}
	lines, err := readBeats(m.dir, b.List)
	v := m.vals["from"]
	switch {
	case errors.Is(err, fs.ErrNotExist) && b.Recording:
		m.at(v, "run ripieno click, which looks for them and writes "+clip(b.List), "the beats of %q are not found yet",
			clip(b.File))
	case errors.Is(err, fs.ErrNotExist):
		m.at(v, "its name is relative to the folder of "+filepath.Base(m.file), "beats %q not found", clip(b.List))
	case err != nil:
		m.because(v, err, "a line for each beat: its seconds and, if need be, which it is, such as 12.5 m3.2",
			"the beats in %q cannot be read", clip(b.List))
	case len(lines) == 0:
		m.at(v, "a line for each beat: its seconds and, if need be, which it is, such as 12.5 m3.2", "%q has no beats",
			clip(b.List))
	}
	if b.lines = lines; !math.IsNaN(b.first) {
		b.lines = follow.From(lines, b.first)
	}
	return b
}

// readBeats reads a list of beats, a text or taps as MIDI, in dir or below it.
func readBeats(dir, name string) ([]follow.Line, error) {
	f, size, err := OpenInside(dir, name)
	if err != nil {
		return nil, err
	}
	defer f.Close() //nolint:errcheck // nothing was written
	if size > maxList {
		return nil, fmt.Errorf("larger than %d MB", maxList>>20)
	}
	in := io.LimitReader(f, maxList)
	if ext := strings.ToLower(path.Ext(name)); ext == ".mid" || ext == ".midi" {
		return follow.Taps(in)
	}
	data, err := io.ReadAll(in)
	if err != nil {
		return nil, err
	}
	lines, _, err := follow.Parse(data)
	return lines, err
}

// withoutTempo returns a spec whose beats come from somewhere else, and refuses what
// would say the tempo a second time. What bpm says at the beginning is about how fast it
// goes.
func (m mapping) withoutTempo(b *beatsOf, spec tempo.Spec, changes []mapping) tempo.Spec {
	const hint = "leave it out: from says when every beat is"
	for _, key := range []string{"holds", "interpret"} {
		if m.has(key) && (key != "interpret" || m.has("score")) {
			m.at(m.keys[key], hint, "tempo has from and %s", key)
		}
	}
	for i, c := range changes {
		for _, key := range []string{"bpm", "ramp_to"} {
			if c.has(key) && (i > 0 || key != "bpm") {
				c.at(c.keys[key], hint, "tempo has from, and a change has %s", key)
			}
		}
	}
	bare, speed := follow.Bare(spec)
	if m.ask != nil {
		m.ask.Speed, m.ask.Counted = speed, spec.Measures > 0
	}
	if bare.Measures == 0 {
		bare.Measures = max(1, follow.MeasuresOf(bare, len(b.lines)))
		if m.ask != nil {
			bare.Measures = tempo.MaxMeasures / 4
		}
	}
	return bare
}

// onBeats returns the map of a piece with its beats where the list has them.
func (m mapping) onBeats(b *beatsOf, music *tempo.Map) *tempo.Map {
	if m.ask != nil {
		m.ask.Spec = music.Spec()
		return music
	}
	times, err := follow.Times(b.lines, music)
	var spec tempo.Spec
	if err == nil {
		spec, err = follow.Clock(music.Spec(), times)
	}
	if err == nil {
		music, err = tempo.New(spec)
	}
	if err != nil {
		m.at(m.vals["from"], "correct the list or say in tempo how many measures there are", "%s: %v", clip(b.List),
			err)
		return nil
	}
	b.Count, b.Offset = len(times), music.Start()-times[0]
	for _, l := range b.lines[:len(times)] {
		if !l.Found {
			b.Own++
		}
		if l.Weak && l.Found {
			b.Weak++
		}
	}
	if n := len(b.lines) - len(times); n > 0 {
		b.Remarks = append(b.Remarks, fmt.Sprintf(
			"beats after the end of the piece that are left out: %d from %.2f s of %s on", n, b.lines[len(times)].At,
			b.File))
	}
	return music
}
