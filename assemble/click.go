package assemble

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"math"
	"os"
	"path/filepath"
	"slices"

	"ripieno/assemble/fault"
	"ripieno/assemble/graph"
	"ripieno/assemble/manifest"
	"ripieno/assemble/media"
	"ripieno/assemble/store"
	"ripieno/mix/audio"
	"ripieno/mix/click"
	"ripieno/mix/loudness"
	"ripieno/mix/tempo"
	"ripieno/mix/tempo/smf"
)

// GuideFile is one guide that `click` wrote. Its times are seconds since its
// own first sample; a guide of a part of the piece begins with a count-in of
// its own, and adding Offset to a time in it gives guide time.
type GuideFile struct {
	Name       string   `json:"name,omitempty"` // of the variant
	WAV        string   `json:"wav"`            // 24-bit
	MP3        string   `json:"mp3"`
	MIDI       string   `json:"midi,omitempty"` // the same clicks and tempos, without drone
	Duration   float64  `json:"duration"`
	StartsAt   float64  `json:"starts_at"` // of the first note's place
	CountIn    int      `json:"count_in_measures"`
	CueAt      *float64 `json:"cue_at"` // null without a count-in
	CueMeasure int      `json:"cue_measure"`
	CueBeat    int      `json:"cue_beat"`
	Loudness   *float64 `json:"integrated_lufs"` // null for silence
	TruePeak   *float64 `json:"true_peak_dbtp"`
	From       int      `json:"from_measure,omitempty"` // first measure, when it plays a part of the piece
	To         int      `json:"to_measure,omitempty"`   // last measure
	Offset     float64  `json:"guide_offset"`           // from measure From on
	With       []string `json:"with,omitempty"`         // takes heard in it
	Notes      []string `json:"notes,omitempty"`
}

// GuideResult is what `click` made: the guide all play to and the variants.
type GuideResult struct {
	GuideFile
	Variants []GuideFile `json:"variants,omitempty"`
	Faults   []Bad       `json:"faults,omitempty"`
}

// Click writes the guide as out/guide.wav (24-bit), out/guide.mp3 and
// out/guide.mid, and every variant as out/guide-NAME.wav and so on; with only,
// the variants of those names. A variant that is to have other parts in it but
// cannot yet is among the faults of the result and keeps nothing else back.
func (p *Production) Click(ctx context.Context, only ...string) (GuideResult, error) {
	var r GuideResult
	if err := p.tool.Require("libmp3lame"); err != nil {
		return r, err
	}
	jobs, err := p.guideJobs(only)
	if err != nil {
		return r, err
	}
	// All are checked before the first is written.
	for _, j := range jobs {
		if _, err := j.source(); err != nil {
			return r, err
		}
	}
	for i, j := range jobs {
		if j.variant != nil && j.variant.With != "" && !math.IsInf(j.sound.MixDB, -1) {
			var bad *Bad
			if j.backing, bad, err = p.backing(ctx, j); err != nil {
				return r, err
			}
			if bad != nil {
				r.Faults = append(r.Faults, *bad)
				continue
			}
		}
		file, err := p.writeGuide(ctx, j)
		if err != nil {
			return r, err
		}
		if i == 0 {
			r.GuideFile = file
		} else {
			r.Variants = append(r.Variants, file)
		}
	}
	return r, nil
}

// guideJob is one guide to be written.
type guideJob struct {
	file    string // "guide" or "guide-NAME"
	title   string
	tempo   *tempo.Map
	options click.Options
	sound   manifest.GuideSound
	variant *manifest.Variant // nil for the one all play to
	backing *backing          // nil for clicks alone
}

// guideJobs are the guide all play to and the variants wanted.
func (p *Production) guideJobs(only []string) ([]guideJob, error) {
	g := &p.man.Guide
	for _, name := range only {
		if g.Variant(name) == nil {
			return nil, noSuch(p.man, "variant of the guide", name, names(g.Variants, func(v manifest.Variant) string { return v.Name }))
		}
	}
	main := guideJob{file: "guide", title: p.man.Title, tempo: p.man.Tempo, sound: g.GuideSound}
	var err error
	if main.options, err = guideOptions(p.man, nil); err != nil {
		return nil, err
	}
	jobs := []guideJob{main}
	for i := range g.Variants {
		v := &g.Variants[i]
		if len(only) > 0 && !slices.Contains(only, v.Name) {
			continue
		}
		j := guideJob{file: "guide-" + v.Name, title: p.man.Title + " (" + v.Name + ")", tempo: v.Tempo, sound: v.GuideSound, variant: v}
		if j.options, err = guideOptions(p.man, v); err != nil {
			return nil, err
		}
		jobs = append(jobs, j)
	}
	return jobs, nil
}

// noSuch is the fault for a name on the command line that the manifest lacks.
func noSuch(man *manifest.Production, what, name string, known []string) error {
	hint := "the manifest has none"
	if len(known) > 0 {
		hint = fmt.Sprintf("the manifest has %q", known)
	}
	return fault.New(fault.Manifest, man.Path, fmt.Sprintf("no %s is called %q", what, name), hint)
}

func names[T any](list []T, name func(T) string) []string {
	var all []string
	for _, x := range list {
		all = append(all, name(x))
	}
	return all
}

// source is the guide's sound. What it refuses is a matter of levels; the
// manifest has been checked for everything else.
func (j guideJob) source() (audio.Source, error) {
	src, err := click.Guide(j.tempo, j.options)
	if err != nil {
		return nil, fault.At(fault.Manifest, j.sound.LevelsMark, "the guide cannot be made with these levels",
			"lower click and drone under guide: levels:").Because(err)
	}
	if j.backing != nil {
		return j.backing.under(src)
	}
	return src, nil
}

// writeGuide writes the files of one guide.
func (p *Production) writeGuide(ctx context.Context, j guideJob) (GuideFile, error) {
	var r GuideFile
	var err error
	if r.WAV, err = p.outFile(j.file + ".wav"); err != nil {
		return r, err
	}
	r.MP3 = filepath.Join(filepath.Dir(r.WAV), j.file+".mp3")
	work := p.set.Report.Add("guide", j.file+".wav", 1)
	work.Start()
	var meter *loudness.Meter
	err = store.Publish(ctx, r.WAV, func(tmp string) error {
		src, err := j.source()
		if err != nil {
			return err
		}
		if c, ok := src.(io.Closer); ok {
			defer c.Close()
		}
		meter = loudness.NewMeter(src.Channels(), audio.Rate)
		frames, err := media.CreateWAV(ctx, tmp, &metered{Source: src, meter: meter}, media.PCM24)
		r.Duration = frames.Seconds()
		return err
	})
	work.Finish(err)
	if err != nil {
		return r, err
	}
	err = store.Publish(ctx, r.MP3, func(tmp string) error {
		cmd, err := graph.MP3("file:"+r.WAV, "file:"+tmp, j.title)
		if err != nil {
			return err
		}
		return p.runCommand(ctx, cmd, tmp, 0, nil)
	})
	if err != nil {
		return r, err
	}
	if err := r.writeMIDI(ctx, j); err != nil {
		return r, err
	}
	r.describe(j, meter)
	return r, nil
}

// writeMIDI writes the clicks as a MIDI file. A piece that MIDI cannot hold
// has none, and what was there before is removed: it would be of another piece.
func (r *GuideFile) writeMIDI(ctx context.Context, j guideJob) error {
	path := filepath.Join(filepath.Dir(r.WAV), j.file+".mid")
	var midi bytes.Buffer
	if err := smf.Write(&midi, j.tempo, smf.Options{Title: j.title, Subdivisions: j.sound.Subdivisions}); err != nil {
		r.Notes = append(r.Notes, fmt.Sprintf("no MIDI file: %v", err))
		if err := os.Remove(path); err != nil && !errors.Is(err, os.ErrNotExist) {
			return unwritable(filepath.Dir(path), err)
		}
		return nil
	}
	r.MIDI = path
	return publishBytes(ctx, path, midi.Bytes())
}

// describe says what a player has to know of the guide.
func (r *GuideFile) describe(j guideJob, meter *loudness.Meter) {
	r.StartsAt = j.tempo.Start()
	r.Loudness = finite(float64(meter.Integrated()))
	r.TruePeak = finite(float64(meter.TruePeak()))
	if cue := j.tempo.Cue(); !math.IsNaN(cue) {
		r.CueAt = &cue
	}
	for b := range j.tempo.Beats() {
		if !b.CountIn {
			break
		}
		r.CountIn = b.Measure
		if b.Cue {
			r.CueMeasure, r.CueBeat = b.Measure, b.Number
		}
	}
	if v := j.variant; v != nil {
		r.Name = v.Name
		if v.To > 0 {
			r.From, r.To, r.Offset = v.From, v.To-1, v.Shift
		}
	}
	if j.backing != nil {
		r.With = j.backing.takes
		r.Notes = append(r.Notes, j.backing.notes...)
	}
}

// guideOptions are what a guide sounds like: that of a variant, or with nil
// the one all play to.
func guideOptions(man *manifest.Production, v *manifest.Variant) (click.Options, error) {
	sound := man.Guide.GuideSound
	if v != nil {
		sound = v.GuideSound
	}
	o := click.Options{
		PitchHz: man.Guide.PitchHz, Tail: man.Guide.Tail, Subdivisions: sound.Subdivisions, CountTones: sound.CountTones,
		ClickDB: audio.Decibels(sound.ClickDB), DroneDB: audio.Decibels(sound.DroneDB),
	}
	for _, d := range droneSpans(man, v) {
		note, err := click.ParseNote(d.Note)
		if err != nil {
			return o, fault.At(fault.Manifest, d.Mark, fmt.Sprintf("note %q is not a note", d.Note), `write a letter, # or b, and an octave, such as "D3" or "Bb2"`).Because(err)
		}
		o.Drones = append(o.Drones, click.Drone{From: d.from, To: d.to, MIDINote: note, Fifth: d.Fifth, EqualFifth: d.EqualFifth})
	}
	return o, nil
}

// droneSpan is a drone while it sounds, in seconds of the guide it sounds in.
type droneSpan struct {
	manifest.Drone
	from, to float64
}

// droneSpans are the drones of a guide: each lasts until the next. A guide of
// a part of the piece has those of its measures; when the piece has a drone in
// the count-in, so has the part, the one of its first measure.
func droneSpans(man *manifest.Production, v *manifest.Variant) []droneSpan {
	var spans []droneSpan
	all := man.Guide.Drone
	for i, d := range all {
		if d.Note == "" {
			continue
		}
		s := droneSpan{d, d.From.Seconds, man.Tempo.End()}
		if i+1 < len(all) {
			s.to = all[i+1].From.Seconds
		}
		if v != nil && v.To > 0 {
			first := v.Tempo.Start() + v.Shift
			begins := s.from <= first && first < s.to
			s.from, s.to = max(s.from, first)-v.Shift, min(s.to-v.Shift, v.Tempo.End())
			if begins && all[0].CountIn {
				s.from = 0
			}
		}
		if s.from < s.to {
			spans = append(spans, s)
		}
	}
	return spans
}

// metered is a source that is measured while it is read.
type metered struct {
	audio.Source
	meter *loudness.Meter
}

// Read implements audio.Source.
func (m *metered) Read(dst audio.Block) (int, error) {
	n, err := m.Source.Read(dst)
	m.meter.Write(dst.Slice(0, n))
	return n, err
}

// finite is x for JSON, which has no infinities: nil for silence.
func finite(x float64) *float64 {
	if math.IsInf(x, 0) || math.IsNaN(x) {
		return nil
	}
	return &x
}
