package assemble

import (
	"context"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strings"
	"time"

	"ripieno/assemble/ffmpeg"
	"ripieno/assemble/graph"
	"ripieno/assemble/media"
	"ripieno/assemble/plan"
	"ripieno/assemble/store"
	"ripieno/assemble/task"
	"ripieno/layout/shot"
)

// filmRule is the version of how a finished film is put together here.
const filmRule = 2

// takeThreads is how many threads a decoder of a take's picture has. What decoders
// make of damage depends on it, in HEVC even on which thread is faster, and mostly
// on nothing else: of 150 files of H.264 with one wrong bit 122 decode to another
// picture with three threads, and of a third of those the decoder says nothing.
// So it is the same for all, whatever the machine and its work.
const takeThreads = 1

// stageConform groups the conforming of pictures.
const stageConform = "conform"

// Estimated cost in seconds of one core for each million pixels of one frame.
const (
	costConform      = 0.009
	costCompose      = 0.035
	costComposeRough = 0.012
	costComposeHEVC  = 0.054 // in software
	costComposeAV1   = 0.063
)

// composeCost is the estimated cost of a frame of a film for each million
// pixels. With hardware it is that of a rough cut, whose encoder does little.
func composeCost(f plan.Film, c graph.Coding) float64 {
	switch {
	case f.Rough || c.Hardware():
		return costComposeRough
	case f.Codec == "hevc":
		return costComposeHEVC
	case f.Codec == "av1":
		return costComposeAV1
	}
	return costCompose
}

// runCommand runs a command whose output is tmp; its graph goes beside it.
func (p *Production) runCommand(ctx context.Context, c graph.Command, tmp string, frames int, advance func(float64)) error {
	return p.runWith(ctx, c, tmp, ffmpeg.Command{
		Patience: ownPatience,
		Progress: func(pr ffmpeg.Progress) {
			if frames > 0 {
				advance(float64(pr.Frame) / float64(frames))
			}
		},
	})
}

// ownPatience is for how long nothing may be heard of work on files of our own:
// an encoder looks 130 frames ahead, of which each takes seconds where hundreds
// of tiles are large, and a film's index is moved to its beginning at the end.
const ownPatience = 20 * time.Minute

// runWith is runCommand with the rest of run given; more arguments come first.
func (p *Production) runWith(
	ctx context.Context, c graph.Command, tmp string, run ffmpeg.Command, more ...string,
) error {
	flag := "-filter_complex_script"
	if p.tool.Version.AtLeast(7, 0) {
		flag = "-/filter_complex"
	}
	graphFile := tmp + ".graph"
	if c.Graph != "" {
		if err := os.WriteFile(graphFile, []byte(c.Graph), 0o666); err != nil {
			return err
		}
	}
	run.Args = append(more, c.Argv(flag, graphFile)...)
	return p.tool.Run(ctx, run)
}

// source opens a take under the limits for files from strangers.
func (p *Production) source(pic plan.Picture) graph.Source {
	opts := map[string]string{}
	safe := media.InputOptions(p.tool)
	for i := 0; i+1 < len(safe); i += 2 {
		opts[strings.TrimPrefix(safe[i], "-")] = safe[i+1]
	}
	return graph.Source{Options: opts, Path: "file:" + pic.Path, Stream: pic.Stream, Zscale: p.tool.Filter("zscale")}
}

// openAt is the second at which a take's file is opened for c; 0 where its
// index does not tell, or where a first frame is made of those before it as
// well: whole frames are, of fields.
func openAt(c plan.Conform, rate shot.Rate) float64 {
	if c.Picture.Fields != [2]int{} {
		return 0
	}
	keys, err := media.ReadKeys(c.Picture.Path, c.Picture.Stream)
	if err != nil {
		return 0 // not every file has one that can be read
	}
	at, _ := keys.OpenAt(c.Picture.Clock.File(rate.Seconds(c.Frames.From)), c.Picture.First, graph.SeekMargin)
	return at
}

// conformKey holds everything that decides a conformed picture, and nothing of
// where the take lies on the disk.
func (p *Production) conformKey(c plan.Conform, line plan.Timeline) (store.Action, error) {
	hash, err := store.ParseID(c.Picture.Hash)
	if err != nil {
		return store.Action{}, err
	}
	pic := c.Picture
	pic.Path, pic.Hash = "", ""
	key := store.NewAction("conform").Version(graph.Rule).Arg("ffmpeg", p.tool.Version.Text).Arg("zscale", p.tool.Filter("zscale")).
		Arg("picture", pic).Arg("size", [2]int{c.W, c.H}).Arg("frames", c.Frames).Arg("rate", line.Rate)
	if c.Draft {
		key = key.Arg("draft", true)
	}
	return key.Input("take", hash).Ext(".mp4").For(c.Take), nil
}

func (p *Production) conformTask(c plan.Conform, key store.Action, line plan.Timeline) task.Task {
	n := c.Frames.Len()
	cost := costConform * float64(n) * (mega(c.W, c.H) + mega(c.Picture.W, c.Picture.H))
	return task.Task{
		ID: conformID(c.Take, key.ID().String()), Name: c.Take, Stage: stageConform, Action: key,
		Cost: cost, Memory: conformMemory(c), Spreads: true,
		Make: func(ctx context.Context, _ task.Inputs, tmp string, advance func(float64)) error {
			src := p.source(c.Picture)
			src.Threads = takeThreads
			err := p.steady(ctx, c.Picture, func() error {
				src.Open = openAt(c, line.Rate)
				cmd, err := graph.Conform(c, src, line.Rate, "file:"+tmp)
				if err != nil {
					return err
				}
				os.Remove(tmp) // of an earlier reading
				return p.readTake(ctx, cmd, c.Picture, reading{tmp: tmp, frames: n, advance: advance,
					before: max(0, c.Picture.Clock.File(line.Rate.Seconds(c.Frames.From))-src.Open), limits: conformLimits(c, cost)})
			})
			if err != nil {
				return err
			}
			got, err := media.CountFrames(tmp)
			if err != nil {
				return err
			}
			if got != n {
				end := line.Rate.Seconds(c.Frames.From+got) + c.Picture.Lead()
				return &shortPicture{file: c.Picture.Path, got: got, want: n, seconds: c.Picture.Clock.File(end)}
			}
			return nil
		},
	}
}

// conformID names the conforming of one take. Take names hold no slash.
func conformID(take, key string) string { return "conform/" + take + "/" + key }

func mega(w, h int) float64 { return float64(w) * float64(h) / 1e6 }

// filmTasks are the tasks of one film.
type filmTasks struct {
	before   []task.Task // everything up to the segments, these included
	segments []task.Task // in the film's order, one for each segment
	film     task.Task   // joined and checked
}

// filmTasks are the tasks of one film up to its joined and checked file. sound
// is the encoded sound's task.
func (p *Production) filmTasks(f plan.Film, line plan.Timeline, chapters []plan.Chapter, sound task.Task) (x filmTasks, err error) {
	conforms := make([]task.Task, len(f.Conforms))
	for i, c := range f.Conforms {
		key, err := p.conformKey(c, line)
		if err != nil {
			return x, err
		}
		conforms[i] = p.conformTask(c, key, line)
		x.before = append(x.before, conforms[i])
	}
	backdrop := drawTask(p.backdrop(f.Canvas))
	x.before = append(x.before, backdrop)
	seen := map[string]bool{}
	for _, seg := range f.Segments {
		c := p.composition(f, seg, line, conforms, backdrop)
		for _, over := range c.drawings() {
			if !seen[over.ID] {
				seen[over.ID] = true
				x.before = append(x.before, over)
			}
		}
		x.segments = append(x.segments, p.segmentTask(c))
	}
	// Two stretches of one card are the same computation.
	unique := map[string]bool{}
	for _, s := range x.segments {
		if !unique[s.ID] {
			unique[s.ID] = true
			x.before = append(x.before, s)
		}
	}
	x.film = p.joinTask(f, line, chapters, x.segments, sound)
	return x, nil
}

// joinTask joins the segments and the sound and checks the finished film: only
// one that passes gets into the store, and from there its name.
func (p *Production) joinTask(f plan.Film, line plan.Timeline, chapters []plan.Chapter, segments []task.Task, sound task.Task) task.Task {
	key := store.NewAction("film").Version(graph.Rule*1000+filmRule).Arg("ffmpeg", p.tool.Version.Text).
		Arg("rate", line.Rate).Arg("title", p.man.Title).Input("sound", sound.Action.ID())
	if len(chapters) > 0 {
		key = key.Arg("chapters", chapters)
	}
	after := []string{sound.ID}
	for _, s := range segments {
		key = key.Input("segment", s.Action.ID())
		after = append(after, s.ID)
	}
	key = key.Ext(".mp4").For(f.Name)
	return task.Task{
		ID: "film/" + f.Name, Name: f.Name, Stage: "join", Action: key, After: after,
		Cost: 0.3 + 0.004*line.Duration(),
		Make: func(ctx context.Context, in task.Inputs, tmp string, _ func(float64)) error {
			paths, files := make([]string, len(segments)), make([]string, len(segments))
			frames := make([]int, len(segments))
			for i, s := range segments {
				frames[i] = f.Segments[i].Len()
				// Links under names of our own: the store may lie in a folder
				// whose name a list cannot hold.
				paths[i] = fmt.Sprintf("segment-%05d.mp4", i)
				files[i] = filepath.Join(in[s.ID], segmentFile)
				if err := os.Symlink(files[i], filepath.Join(filepath.Dir(tmp), paths[i])); err != nil {
					return err
				}
			}
			if p.coding(f) != (graph.Coding{}) {
				if err := sameHeads(files); err != nil {
					return fmt.Errorf("joining %s: %w", f.Name, err)
				}
			}
			text, err := graph.SegmentList(paths, frames, line.Rate)
			if err != nil {
				return err
			}
			list := filepath.Join(filepath.Dir(tmp), "segments.txt")
			if err := os.WriteFile(list, []byte(text), 0o666); err != nil {
				return err
			}
			index, err := writeChapters(tmp, chapters, line)
			if err != nil {
				return err
			}
			cmd, err := graph.Mux("file:"+list, "file:"+filepath.Join(in[sound.ID], filmM4A), index, "file:"+tmp, p.man.Title, line.Rate)
			if err != nil {
				return err
			}
			if err := p.runCommand(ctx, cmd, tmp, 0, nil); err != nil {
				return err
			}
			return media.VerifyFilm(ctx, p.tool, tmp, media.Want{
				W: f.Canvas.W, H: f.Canvas.H, Frames: line.Frames, FPSNum: line.Rate.Num, FPSDen: line.Rate.Den,
				AudioSamples: int64(line.AudioLen), Chapters: len(chapters), Codec: f.Codec,
			})
		},
	}
}

// roughCanvas is a canvas's shape at 540 lines of its short side.
func roughCanvas(w, h int) (int, int) { return linesCanvas(w, h, 540) }

// linesCanvas is a canvas's shape at so many lines of its short side, or as it
// is when it has fewer.
func linesCanvas(w, h int, lines float64) (int, int) {
	scale := lines / float64(min(w, h))
	if scale >= 1 {
		return w, h
	}
	even := func(n int) int { return 2 * int(math.Round(float64(n)*scale/2)) }
	return even(w), even(h)
}
