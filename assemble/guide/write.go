package guide

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"math"
	"os"
	"path/filepath"

	"ripieno/assemble/graph"
	"ripieno/assemble/media"
	"ripieno/assemble/session"
	"ripieno/assemble/store"
	"ripieno/mix"
	"ripieno/mix/audio"
	"ripieno/mix/tempo/musicxml"
	"ripieno/mix/tempo/smf"
)

// File is one guide that `click` wrote. Its times are seconds since its
// own first sample; a guide of a part of the piece begins with a count-in of
// its own, and adding Offset to a time in it gives guide time.
type File struct {
	Name       string   `json:"name,omitempty"` // of the variant
	WAV        string   `json:"wav"`            // 24-bit
	MP3        string   `json:"mp3"`
	MIDI       string   `json:"midi,omitempty"` // the same clicks and tempos, without drone
	MusicXML   string   `json:"musicxml"`       // its measures and tempos as an empty score, without count-in
	Labels     string   `json:"labels"`         // its measures and marks as text for editors of sound
	Film       string   `json:"film,omitempty"` // the guide to look at
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

// leastWarning is how many seconds players need before they clap (common practice, no
// source).
const leastWarning = 0.5

// Write writes the files of one guide. Each file appears whole or not at all; of a
// run that fails half-way some files may be new and others old.
func (j Job) Write(ctx context.Context, s *session.Session) (File, error) {
	var r File
	var err error
	if r.WAV, err = s.OutFile(j.File + ".wav"); err != nil {
		return r, err
	}
	// What is in the way of the last file is told before the first is made.
	if err := s.OutFiles(j.File+".mp3", j.File+".mid", j.File+".musicxml", j.File+"-labels.txt"); err != nil {
		return r, err
	}
	r.MP3 = filepath.Join(filepath.Dir(r.WAV), j.File+".mp3")
	if j.Options.Words, r.Notes, err = words(ctx, s, j); err != nil {
		return r, err
	}
	work := s.Settings().Report.Add("guide", j.File+".wav", 1)
	work.Start()
	var heard mix.Measured
	err = store.Publish(ctx, r.WAV, func(tmp string) error {
		src, err := j.Source()
		if err != nil {
			return err
		}
		// A guide with other parts under it reads them from a file.
		if c, ok := src.(io.Closer); ok {
			defer c.Close()
		}
		metered := mix.NewMetered(src)
		frames, err := media.CreateWAV(ctx, tmp, metered, media.PCM24)
		r.Duration, heard = frames.Seconds(), metered.Measured()
		return err
	})
	work.Finish(err)
	if err != nil {
		return r, err
	}
	err = store.Publish(ctx, r.MP3, func(tmp string) error {
		cmd, err := graph.MP3("file:"+r.WAV, "file:"+tmp, j.Title)
		if err != nil {
			return err
		}
		return s.Tool().RunGraph(ctx, cmd, tmp, 0, nil)
	})
	if err != nil {
		return r, err
	}
	if err := r.writeMIDI(ctx, j); err != nil {
		return r, err
	}
	if err := r.writeMap(ctx, j); err != nil {
		return r, err
	}
	r.describe(j, heard)
	return r, nil
}

// writeMap writes the measures of a guide as an empty score and as labels.
func (r *File) writeMap(ctx context.Context, j Job) error {
	base := filepath.Join(filepath.Dir(r.WAV), j.File)
	r.MusicXML, r.Labels = base+".musicxml", base+"-labels.txt"
	var stub bytes.Buffer
	if err := musicxml.Write(&stub, j.Tempo, musicxml.WriteOptions{Title: j.Title, Marks: j.Marks}); err != nil {
		return err
	}
	if err := session.Publish(ctx, r.MusicXML, stub.Bytes()); err != nil {
		return err
	}
	return session.Publish(ctx, r.Labels, labels(j.Tempo, measuresOf(j.Tempo, j.Marks)))
}

// writeMIDI writes the clicks as a MIDI file. A piece that MIDI cannot hold
// has none, and what was there before is removed: it would be of another piece.
func (r *File) writeMIDI(ctx context.Context, j Job) error {
	path := filepath.Join(filepath.Dir(r.WAV), j.File+".mid")
	var midi bytes.Buffer
	if err := smf.Write(&midi, j.Tempo, smf.Options{Title: j.Title, Subdivisions: j.Sound.Subdivisions}); err != nil {
		r.Notes = append(r.Notes, fmt.Sprintf("no MIDI file: %v", err))
		if err := os.Remove(path); err != nil && !errors.Is(err, os.ErrNotExist) {
			return session.Unwritable(filepath.Dir(path), err)
		}
		return nil
	}
	r.MIDI = path
	return session.Publish(ctx, path, midi.Bytes())
}

// describe says what a player has to know of the guide.
func (r *File) describe(j Job, heard mix.Measured) {
	r.StartsAt = j.Tempo.Start()
	r.Loudness = audio.Finite(float64(heard.Integrated))
	r.TruePeak = audio.Finite(float64(heard.TruePeak))
	if cue := j.Tempo.Cue(); !math.IsNaN(cue) {
		r.CueAt = &cue
		if cue < leastWarning {
			r.Notes = append(r.Notes,
				fmt.Sprintf("the clap is %.1f s after the guide begins, which nobody can be ready for: "+
					"give the count-in two measures or more, or a cue: on a later beat", cue))
		}
	}
	for b := range j.Tempo.Beats() {
		if !b.CountIn {
			break
		}
		r.CountIn = b.Measure
		if b.Cue {
			r.CueMeasure, r.CueBeat = b.Measure, b.Number
		}
	}
	if v := j.Variant; v != nil {
		r.Name = v.Name
		if v.To > 0 {
			r.From, r.To, r.Offset = v.From, v.To-1, v.Shift
		}
	}
	if j.Backing != nil {
		r.With = j.Backing.Takes
		r.Notes = append(r.Notes, j.Backing.Notes...)
	}
}
