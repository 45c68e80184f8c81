// Package picture turns the films of a plan into tasks: takes are conformed,
// what stands still is drawn, segments are composed of both, and a film is
// joined of its segments and the sound, checked and looked through for flashes.
// Stills and storyboards show the same without moving.
//
// [New] begins; [Maker.Film] plans a film, [Maker.Still] one frame of a take and
// [Maker.Storyboard] a page of shots. The package decides nothing that the plan
// could: it knows neither the manifest nor how a take was found.
package picture

import (
	"ripieno/assemble/ffmpeg"
	"ripieno/assemble/plan"
	"ripieno/assemble/reading"
	"ripieno/mix/tempo"
)

// Maker plans the pictures of one plan. It may be asked for several films, and the
// tasks it returns may run at once.
type Maker struct {
	tool     *ffmpeg.Tool
	title    string
	tempo    *tempo.Map
	line     plan.Timeline
	chapters []plan.Chapter
	assets   *Assets
	codings  Codings
	hardware sessions
	steady   reading.Steady
	decoders *Decoders
	banding  plan.Banding // tests ask for smaller bands
	// together are the batches of pictures whose pieces one process can conform.
	together map[samePicture]*conformBatch
}

// New returns a maker of the pictures of a plan. steady vouches for the files of
// takes while they are read. codings has an encoder for
// every finished film; nil is enough for rough cuts and stills.
func New(tool *ffmpeg.Tool, steady reading.Steady, pl *plan.Plan, assets *Assets, codings Codings) *Maker {
	return &Maker{
		tool: tool, title: pl.Title, tempo: pl.Tempo, line: pl.Timeline, chapters: pl.Chapters, assets: assets,
		codings:  codings,
		hardware: make(sessions, hardwareSessions), steady: steady,
		banding: plan.UsualBanding, together: map[samePicture]*conformBatch{},
	}
}

// WithDecoders lets d choose what decodes the takes, and returns m. It must be called
// before anything is planned; without it software decodes.
func (m *Maker) WithDecoders(d *Decoders) *Maker {
	m.decoders = d
	return m
}
