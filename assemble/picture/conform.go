package picture

import (
	"context"
	"errors"
	"fmt"

	"ripieno/assemble/graph"
	"ripieno/assemble/media"
	"ripieno/assemble/plan"
	"ripieno/assemble/reading"
	"ripieno/assemble/task"
)

// samePicture is what pieces have in common that one process can conform.
type samePicture struct {
	take, hash string
	w, h       int
	draft      bool
}

// conformBatch is a batch with what each of its tasks does, by the task's ID.
type conformBatch struct {
	task.Batch
	works map[string]conformWork
}

// mostTogether is how many pieces one process makes: each has an encoder, which holds its
// memory until the process ends.
const mostTogether = 8

// batchOf returns the batch of a piece, which is the task with that ID; nil for a first
// look, which is one piece.
func (m *Maker) batchOf(w conformWork, id string) *task.Batch {
	c := w.Conform
	if c.Keys {
		return nil
	}
	same := samePicture{c.Take, c.Picture.Hash, c.W, c.H, c.Draft}
	b := m.together[same]
	if b == nil {
		b = &conformBatch{works: map[string]conformWork{}}
		// A device that is opened decodes all of a take at once: opening takes longer than
		// decoding some pieces of it.
		b.Ahead = func() bool { return !m.decoders.hasRoom(c) }
		b.Most, b.Make = mostTogether, func(ctx context.Context, members []task.Member) []error {
			return m.conformMembers(ctx, b.works, members)
		}
		b.Errand = func(ids []string) task.Errand { return errandOf(b.works, ids) }
		m.together[same] = b
	}
	b.works[id] = w
	return &b.Batch
}

// conformMembers conforms pieces of one picture. Those that follow each other without a gap
// are made by one process; when anything is wrong with one of them, each by itself, so that
// the others are there and the error is its own.
func (m *Maker) conformMembers(ctx context.Context, works map[string]conformWork, members []task.Member) []error {
	wrong := make([]error, len(members))
	frames := make([]plan.Span, len(members))
	for i, b := range members {
		frames[i] = works[b.ID].Conform.Frames
	}
	for _, list := range runsOf(frames) {
		run := make([]pieceOfRun, len(list))
		for k, i := range list {
			run[k] = pieceOfRun{works[members[i].ID], members[i]}
		}
		if len(run) == 1 || m.conformRun(ctx, run) != nil {
			for k, i := range list {
				wrong[i] = m.conformPicture(ctx, run[k].work, run[k].member.Tmp, run[k].member.Advance)
			}
		}
	}
	return wrong
}

// pieceOfRun is a piece that is made with others.
type pieceOfRun struct {
	work   conformWork
	member task.Member
}

// conformRun conforms pieces that follow each other, in one process. It fails when one of
// them has too few frames.
func (m *Maker) conformRun(ctx context.Context, run []pieceOfRun) error {
	all, dst, pieces := run[0].work, []string(nil), []plan.Span(nil)
	all.Cost = 0
	for _, p := range run {
		all.Cost += p.work.Cost
		dst, pieces = append(dst, p.member.Tmp), append(pieces, p.work.Conform.Frames)
	}
	c := all.spanning(pieces).Conform
	advance := func(share float64) {
		for _, p := range run {
			f := p.work.Conform.Frames
			done := share*float64(c.Frames.Len()) - float64(f.From-c.Frames.From)
			p.member.Advance(min(1, max(0, done/float64(f.Len()))))
		}
	}
	return m.steady.Picture(ctx, c.Picture, func(ctx context.Context) error {
		src := reading.Source(m.tool, c.Picture)
		openAt(ctx, &src, c, m.line.Rate)
		device, free := m.decoders.lend(ctx, c, src, m.line.Rate, dst[0], true)
		defer free()
		src.Device = device
		return all.together(ctx, m.tool, src, pieces, dst, advance)
	})
}

// conformPicture writes the frames of a piece and counts them. Hardware that decodes does so
// instead of software only where it has been shown to give the same, and where it fails
// software does it.
func (m *Maker) conformPicture(ctx context.Context, work conformWork, tmp string, advance func(float64)) error {
	// steady may read again when the file was touched meanwhile, so got is set anew
	// each time.
	got, c := 0, work.Conform
	err := m.steady.Picture(ctx, c.Picture, func(ctx context.Context) error {
		src := reading.Source(m.tool, c.Picture)
		openAt(ctx, &src, c, m.line.Rate)
		device, free := m.decoders.lend(ctx, c, src, m.line.Rate, tmp, false)
		src.Device = device
		var err error
		got, err = work.run(ctx, m.tool, src, tmp, advance)
		free()
		if src.Device == "" || ctx.Err() != nil || err == nil && got == c.Frames.Len() {
			return err
		}
		m.decoders.tell(fmt.Sprintf("%s is decoded in software from now on: %s failed", c.Take, src.Device))
		src.Device = ""
		got, err = work.run(ctx, m.tool, src, tmp, advance)
		return err
	})
	if err != nil {
		return err
	}
	if rate := m.line.Rate; got != c.Frames.Len() {
		end := rate.Seconds(c.Frames.From+got) + c.Picture.Lead()
		return &BrokenOff{File: c.Picture.Path, Got: got, Want: c.Frames.Len(), Seconds: c.Picture.File(end)}
	}
	return nil
}

// countFrames returns how many frames a conformed picture has, 0 where nothing of it could be
// decoded. It fails for what is no picture of ours.
func countFrames(path string) (int, error) {
	got, err := media.CountFrames(path)
	if errors.Is(err, media.ErrNoPicture) {
		return 0, nil
	}
	return got, err
}

// job returns how a picture is read for w.
func (w conformWork) job(src graph.Source, tmp string, advance func(float64)) reading.Job {
	c := w.Conform
	return reading.Job{Tmp: tmp, Frames: c.Frames.Len(), Advance: advance,
		Before: max(0, c.Picture.File(w.Rate.Seconds(c.Frames.From))-src.Open),
		Limits: onDevice(reading.Limits(c, w.Cost), src.Device)}
}
