// Package demo makes a whole production out of nothing: a piece of our own, an
// ensemble of invented players with human timing, drawn and synthesised, and
// recorded by simulated phones and microphones with clocks of their own.
//
// [Make] writes into a folder
//
//	production.yaml   the manifest, with comments, for people to play with
//	truth.yaml        what sync should find, see [Truth]
//	intake/           what the players sent
//
// The take files are real media files, as different as people send them: MP4
// and MOV, four frame rates, portrait, rotated by a note in the file, one and
// two channels, 44.1 and 48 kHz, separate microphone recordings, one sound
// without picture; too soft, too loud, with hum. One player is expected and
// has sent nothing.
//
// Everything follows from [Options].Seed: which sample and which pixel comes
// when is the same in every run, and the encoders are pinned to one thread
// and write no date, so that files are the same as long as ffmpeg is.
//
// The sub-packages know no files: score is the written music, instrument the
// sound, figure the picture. Times are guide time in seconds.
package demo

import (
	"context"
	"runtime"
	"slices"

	"golang.org/x/sync/errgroup"

	"ripieno/assemble/demo/score"
	"ripieno/assemble/ffmpeg"
	"ripieno/mix/tempo"
)

// Make writes the demo into dir, which it creates, and returns what is true
// of it. report, when not nil, hears how many of total units are done and what
// was done last; calls come one at a time, from several goroutines.
//
// A dir that holds anything else is a fault of kind Manifest: nobody's files
// are overwritten. A dir in which the same demo was begun or finished is taken
// up again: files that are there stay as they are, also a production.yaml that
// was changed by hand, and what is missing is made. When ctx ends, Make returns
// its error and leaves only whole files.
func Make(ctx context.Context, tool *ffmpeg.Tool, dir string, o Options,
	report func(done, total float64, what string)) (Truth, error) {
	cast := slices.DeleteFunc(lamplighters(), func(p player) bool { return slices.Contains(o.Without, p.take) })
	p, err := plan(score.Lamplighter(), cast, o)
	if err != nil {
		return Truth{}, err
	}
	return p.make(ctx, tool, dir, report)
}

// plan decides everything and touches no file.
func plan(piece score.Piece, cast []player, o Options) (*production, error) {
	m, err := tempo.New(piece.Tempo)
	if err != nil {
		return nil, err
	}
	if o.Workers <= 0 {
		o.Workers = runtime.GOMAXPROCS(0)
	}
	draw(o.Seed, cast, m)
	p := &production{piece: piece, tempo: m, cast: cast, options: o}
	p.text, err = p.manifest()
	return p, err
}

// make carries a plan out; see [Make].
func (p *production) make(ctx context.Context, tool *ffmpeg.Tool, dir string,
	report func(done, total float64, what string)) (Truth, error) {
	truth := p.truth()
	if err := tool.Require("libx264", "aac"); err != nil {
		return Truth{}, err
	}
	dir, err := claim(dir, truth.Encode())
	if err != nil {
		return Truth{}, err
	}
	if err := putText(dir, "production.yaml", p.text); err != nil {
		return Truth{}, err
	}
	bar := &progress{report: report}
	jobs := p.missing(dir, tool, bar)
	g, ctx := errgroup.WithContext(ctx)
	g.SetLimit(p.options.Workers)
	for _, j := range jobs {
		g.Go(func() error {
			if err := ctx.Err(); err != nil {
				return err
			}
			return j.make(ctx)
		})
	}
	if err := g.Wait(); err != nil {
		return Truth{}, err
	}
	bar.add(0, "all takes")
	return truth, nil
}
