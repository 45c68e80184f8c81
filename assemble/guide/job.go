// Package guide makes the sound that everybody plays to: clicks, drone and
// count-in from the manifest, for the whole piece or for a part of it, with the
// other parts under it or without. It writes a sound file in two forms and the
// same clicks as MIDI. It also keeps a record of what each guide was made with,
// and tells when the manifest says otherwise since.
package guide

import (
	"fmt"
	"slices"

	"ripieno/assemble/fault"
	"ripieno/assemble/production"
	"ripieno/mix/audio"
	"ripieno/mix/click"
	"ripieno/mix/tempo"
	"ripieno/mix/tempo/score"
)

// Job is one guide to be written. It is complete but for Backing, which needs takes
// that are placed.
type Job struct {
	File    string // "guide" or "guide-NAME"
	Title   string
	Tempo   *tempo.Map
	Options click.Options
	Sound   production.GuideSound
	Variant *production.Variant // nil for the one all play to
	Marks   []score.Mark        // rehearsal marks of what it plays
	Tuning  []production.Tuning // notes before its count-in
	Backing *Backing            // nil for clicks alone
}

// Name returns the name of a guide's files, without an ending: of a variant, or
// with "" of the one all play to.
func Name(variant string) string {
	if variant == "" {
		return "guide"
	}
	return "guide-" + variant
}

// Jobs returns the guide all play to and the variants wanted, all with no names. All are
// checked before one is written: it fails with a fault for levels that none can have.
func Jobs(man *production.Production, only []string) ([]Job, error) {
	g := &man.Guide
	main := Job{File: Name(""), Title: man.Title, Tempo: man.Tempo, Sound: g.GuideSound, Marks: marksOf(man, nil),
		Tuning: g.Tuning}
	var err error
	if main.Options, err = optionsOf(man, nil); err != nil {
		return nil, err
	}
	jobs := []Job{main}
	for i := range g.Variants {
		v := &g.Variants[i]
		if len(only) > 0 && !slices.Contains(only, v.Name) {
			continue
		}
		j := Job{File: Name(v.Name), Title: man.Title + " (" + v.Name + ")", Tempo: v.Tempo, Sound: v.GuideSound,
			Variant: v, Marks: marksOf(man, v), Tuning: g.Tuning}
		if j.Options, err = optionsOf(man, v); err != nil {
			return nil, err
		}
		jobs = append(jobs, j)
	}
	for _, j := range jobs {
		if _, err := j.Source(); err != nil {
			return nil, err
		}
	}
	return jobs, nil
}

// marksOf returns the rehearsal marks of a guide, of a variant or with nil of the one
// all play to. In a guide of a part measures count from 1, as they do in its tempo
// map.
func marksOf(man *production.Production, v *production.Variant) []score.Mark {
	if man.Score == nil {
		return nil
	}
	if v == nil || v.To == 0 {
		return man.Score.Marks
	}
	var marks []score.Mark
	for _, k := range man.Score.Marks {
		if k.Measure >= v.From && k.Measure < v.To {
			marks = append(marks, score.Mark{Measure: k.Measure - v.From + 1, Text: k.Text})
		}
	}
	return marks
}

// Source returns the guide's sound. What it refuses is a matter of levels; the
// manifest has been checked for everything else.
func (j Job) Source() (audio.Source, error) {
	src, err := click.Guide(j.Tempo, j.Options)
	if err != nil {
		return nil, fault.At(fault.Manifest, j.Sound.LevelsMark, "the guide cannot be made with these levels",
			"lower click and drone under guide: levels:").Because(err)
	}
	if j.Backing != nil {
		return j.Backing.under(src)
	}
	return src, nil
}

// optionsOf returns what a guide sounds like: that of a variant, or with nil
// the one all play to.
func optionsOf(man *production.Production, v *production.Variant) (click.Options, error) {
	sound := man.Guide.GuideSound
	if v != nil {
		sound = v.GuideSound
	}
	o := click.Options{
		PitchHz: man.Guide.PitchHz, Tail: man.Guide.Tail, Subdivisions: sound.Subdivisions,
		CountTones: sound.CountTones,
		ClickDB:    audio.Decibels(sound.ClickDB), DroneDB: audio.Decibels(sound.DroneDB),
	}
	for _, n := range man.Guide.Tuning {
		note, err := click.ParseNote(n.Note)
		if err != nil { // not from the manifest's reader, which refuses such
			return o, fault.At(fault.Manifest, n.Mark, err.Error(), "")
		}
		o.Drones = append(o.Drones, click.Drone{From: n.Begins, To: n.Begins + n.Seconds, MIDINote: note})
	}
	for _, d := range Drones(man, v) {
		note, err := click.ParseNote(d.Note)
		if err != nil {
			return o, fault.At(fault.Manifest, d.Mark, fmt.Sprintf("note %q is not a note", d.Note),
				`write a letter, # or b, and an octave, such as "D3" or "Bb2"`).Because(err)
		}
		o.Drones = append(o.Drones, click.Drone{From: d.Begins, To: d.Ends, MIDINote: note, Fifth: d.Fifth,
			EqualFifth: d.EqualFifth, Octave: d.Octave})
	}
	return o, nil
}

// Drone is a drone while it sounds, in seconds of the guide it sounds in.
type Drone struct {
	production.Drone
	Begins, Ends float64
}

// Drones returns the drones of a guide: each lasts until the next. A guide of
// a part of the piece has those of its measures; when the piece has a drone in
// the count-in, so has the part, the one of its first measure. Begins and Ends are
// seconds of the guide's own time.
func Drones(man *production.Production, v *production.Variant) []Drone {
	var spans []Drone
	all := man.Guide.Drone
	for i, d := range all {
		if d.Note == "" {
			continue
		}
		s := Drone{d, d.From.Seconds, man.Tempo.End()}
		if i+1 < len(all) {
			s.Ends = all[i+1].From.Seconds
		}
		if v != nil && v.To > 0 {
			first := v.Tempo.Start() + v.Shift
			begins := s.Begins <= first && first < s.Ends
			s.Begins, s.Ends = max(s.Begins, first)-v.Shift, min(s.Ends-v.Shift, v.Tempo.End())
			if begins && all[0].CountIn {
				s.Begins = v.Tempo.Spec().CountIn.Lead
			}
		}
		if s.Begins < s.Ends {
			spans = append(spans, s)
		}
	}
	return spans
}
