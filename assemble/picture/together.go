package picture

import (
	"cmp"
	"context"
	"fmt"
	"os"
	"path/filepath"
	"slices"

	"ripieno/assemble/ffmpeg"
	"ripieno/assemble/graph"
	"ripieno/assemble/media"
	"ripieno/assemble/plan"
	"ripieno/assemble/reading"
	"ripieno/assemble/task"
)

// runsOf returns the numbers of pieces in the order of time, those together that follow each
// other without a gap.
func runsOf(pieces []plan.Span) (runs [][]int) {
	order := make([]int, len(pieces))
	for i := range order {
		order[i] = i
	}
	slices.SortStableFunc(order, func(a, b int) int { return cmp.Compare(pieces[a].From, pieces[b].From) })
	for len(order) > 0 {
		n := 1
		for n < len(order) && pieces[order[n-1]].To == pieces[order[n]].From {
			n++
		}
		runs, order = append(runs, order[:n]), order[n:]
	}
	return runs
}

// spanning returns w for all of pieces that follow each other.
func (w conformWork) spanning(pieces []plan.Span) conformWork {
	w.Conform.Frames = plan.Span{From: pieces[0].From, To: pieces[len(pieces)-1].To}
	return w
}

// together writes pieces that follow each other to dst, in one process which decodes each frame
// once. src is opened for the first of them. It fails when one has too few frames, or as decode
// does.
func (w conformWork) together(ctx context.Context, tool *ffmpeg.Tool, src graph.Source, pieces []plan.Span,
	dst []string, advance func(float64)) error {
	conforms, files := make([]plan.Conform, len(pieces)), make([]string, len(pieces))
	for k, span := range pieces {
		conforms[k], files[k] = w.Conform, "file:"+dst[k]
		conforms[k].Frames = span
	}
	cmd, err := graph.ConformAll(conforms, src, w.Rate, files)
	if err != nil {
		return err
	}
	for _, path := range dst {
		os.Remove(path) // of an earlier reading
	}
	all := w.spanning(pieces)
	if err := reading.Take(ctx, tool, cmd, all.Conform.Picture, all.job(src, dst[0], advance)); err != nil {
		return err
	}
	for k, span := range pieces {
		if got, err := countFrames(dst[k]); err != nil || got != span.Len() {
			return fmt.Errorf("picture: %d of %d frames of a piece: %w", got, span.Len(),
				cmp.Or(err, media.ErrNoPicture))
		}
	}
	return nil
}

// piecesWork is the conforming of several pieces of one picture as plain data: what they have in
// common, with the cost of all, and the frames of each.
type piecesWork struct {
	conformWork
	Pieces []plan.Span
}

// errandOf returns pieces of a batch as another machine is asked for them together.
func errandOf(works map[string]conformWork, ids []string) task.Errand {
	e := works[ids[0]].errand()
	all := piecesWork{conformWork: e.Args.(conformWork)}
	all.Cost = 0
	for _, id := range ids {
		all.Cost, all.Pieces = all.Cost+works[id].Cost, append(all.Pieces, works[id].Conform.Frames)
	}
	all.Conform.Frames = plan.Span{} // each has its own
	return task.Errand{Rule: RulePieces, Args: all, Inputs: e.Inputs}
}

// elsewhere conforms pieces of the file at path in software into the folder dst, as home does:
// what follows each other by one process, and when that fails each by itself. It fails when a
// frame is missing, and for what this program would not have asked for.
func (w piecesWork) elsewhere(ctx context.Context, tool *ffmpeg.Tool, path, dst string) error {
	if n := len(w.Pieces); n == 0 || n > mostTogether || w.Conform.Keys {
		return fmt.Errorf("picture: %d pieces are asked for at once", n)
	}
	if err := w.check(); err != nil {
		return err
	}
	w.Conform.Picture.Path = path
	for _, list := range runsOf(w.Pieces) {
		var pieces []plan.Span
		var files []string
		for _, i := range list {
			pieces = append(pieces, w.Pieces[i])
			files = append(files, filepath.Join(dst, task.PartName(i, pieceExt)))
		}
		// Why it failed does not matter: each by itself has an error of its own, or none.
		if len(list) > 1 {
			all := w.spanning(pieces)
			src := reading.Source(tool, all.Conform.Picture)
			openAt(ctx, &src, all.Conform, w.Rate)
			if w.together(ctx, tool, src, pieces, files, nil) == nil {
				continue
			}
		}
		for k, span := range pieces {
			one := w.conformWork
			one.Conform.Frames = span
			if err := one.elsewhere(ctx, tool, path, files[k]); err != nil {
				return err
			}
		}
	}
	return nil
}
