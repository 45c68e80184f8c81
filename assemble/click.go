package assemble

import (
	"context"
	"fmt"
	"math"
	"path/filepath"

	"ripieno/assemble/fault"
	"ripieno/assemble/graph"
	"ripieno/assemble/manifest"
	"ripieno/assemble/media"
	"ripieno/assemble/store"
	"ripieno/mix/audio"
	"ripieno/mix/click"
	"ripieno/mix/loudness"
	"ripieno/mix/tempo"
)

// guideTail is how long the guide goes on after the last measure, in seconds:
// time to let the last note ring before anybody moves.
const guideTail = 4

// Click writes the guide: out/guide.wav (24-bit) and out/guide.mp3.
func (p *Production) Click(ctx context.Context) (GuideResult, error) {
	var r GuideResult
	if err := p.tool.Require("libmp3lame"); err != nil {
		return r, err
	}
	opts, err := guideOptions(p.man)
	if err != nil {
		return r, err
	}
	if r.WAV, err = p.out("guide.wav"); err != nil {
		return r, err
	}
	r.MP3 = filepath.Join(filepath.Dir(r.WAV), "guide.mp3")
	meter := loudness.NewMeter(1, audio.Rate)
	work := p.set.Report.Add("guide", "guide.wav", 1)
	work.Start()
	err = store.Publish(ctx, r.WAV, func(tmp string) error {
		src, err := click.Guide(p.man.Tempo, opts)
		if err != nil {
			return err
		}
		frames, err := media.CreateWAV(ctx, tmp, &metered{Source: src, meter: meter}, media.PCM24)
		r.Duration = frames.Seconds()
		return err
	})
	work.Finish(err)
	if err != nil {
		return r, err
	}
	err = store.Publish(ctx, r.MP3, func(tmp string) error {
		cmd, err := graph.MP3("file:"+r.WAV, "file:"+tmp, p.man.Title)
		if err != nil {
			return err
		}
		return p.runCommand(ctx, cmd, tmp, 0, nil)
	})
	if err != nil {
		return r, err
	}
	r.describe(p.man.Tempo, meter)
	return r, nil
}

// describe says what a player has to know of the guide.
func (r *GuideResult) describe(m *tempo.Map, meter *loudness.Meter) {
	r.StartsAt = m.Start()
	r.Loudness = finite(float64(meter.Integrated()))
	r.TruePeak = finite(float64(meter.TruePeak()))
	if cue := m.Cue(); !math.IsNaN(cue) {
		r.CueAt = &cue
	}
	for b := range m.Beats() {
		if b.CountIn {
			r.CountIn = b.Measure
		}
		if b.Cue {
			r.CueMeasure, r.CueBeat = b.Measure, b.Number
		}
	}
}

// guideOptions turns the manifest's drones into spans of guide time: each
// lasts until the next.
func guideOptions(man *manifest.Production) (click.Options, error) {
	o := click.Options{PitchHz: man.Guide.PitchHz, Tail: guideTail}
	for i, d := range man.Guide.Drone {
		if d.Note == "" {
			continue
		}
		note, err := click.ParseNote(d.Note)
		if err != nil {
			return o, fault.At(fault.Manifest, d.Mark, fmt.Sprintf("note %q is not a note", d.Note), `write a letter, # or b, and an octave, such as "D3" or "Bb2"`).Because(err)
		}
		to := man.Tempo.End()
		if i+1 < len(man.Guide.Drone) {
			to = man.Guide.Drone[i+1].From.Seconds
		}
		o.Drones = append(o.Drones, click.Drone{From: d.From.Seconds, To: to, MIDINote: note, Fifth: d.Fifth})
	}
	return o, nil
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
