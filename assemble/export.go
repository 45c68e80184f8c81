package assemble

import (
	"bytes"
	"context"
	"crypto/sha256"
	"fmt"
	"net/url"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"ripieno/assemble/interchange"
	"ripieno/assemble/plan"
	"ripieno/assemble/task"
	"ripieno/mix/audio"
	"ripieno/mix/tempo/smf"
)

// Where a hand-over lies among the outputs, and what is in it.
const (
	exportFolder   = "export"
	exportTimeline = "timeline.otio"
	exportEdits    = "edits"
	exportTempo    = "tempo.mid"
	exportOffsets  = "offsets.csv"
)

// export is a hand-over while it is written.
type export struct {
	p     *Production
	pl    *plan.Plan
	all   []located
	dir   string
	stems []stem
	made  task.Result // with the stems
	texts []exportText
	r     ExportResult
}

// exportText is a file of a hand-over that is not a stem.
type exportText struct {
	file string // with slashes, relative to the folder
	data []byte
}

// Export writes the production down for whoever finishes it elsewhere: stems,
// a timeline of all recordings in their places, edit lists, the tempo map and
// a table of where every recording lies, all in out/export. What a player has
// not released is in none of it. What an earlier export wrote and this one
// does not is removed.
func (p *Production) Export(ctx context.Context) (ExportResult, error) {
	x := &export{p: p, r: ExportResult{Edits: []string{}, Stems: []MixStem{}, Releases: p.releases()}}
	p.tellReleases(x.r.Releases)
	var err error
	if x.dir, err = p.out(exportFolder); err != nil {
		return x.r, err
	}
	if x.all, err = p.locate(ctx); err != nil {
		return x.r, err
	}
	if x.pl, x.r.Faults, err = p.plan(x.all, p.deliverables()); err != nil {
		return x.r, err
	}
	x.r.Dir = x.dir
	x.tellNamed()
	for _, step := range []func(context.Context) error{x.sound, x.timeline, x.tempo, x.offsets, x.close} {
		if err := step(ctx); err != nil {
			return x.r, err
		}
	}
	p.trim(ctx)
	return x.r, nil
}

// sound makes the stems. What comes after the strips is not needed for them.
func (x *export) sound(ctx context.Context) error {
	track, err := x.p.soundTrack(x.pl, x.all)
	if err != nil {
		return err
	}
	x.stems = x.p.stems(track, x.pl.Timeline)
	tasks := slices.DeleteFunc(slices.Clone(track.tasks), func(t task.Task) bool { return t.ID == track.final.ID || t.ID == track.sum.ID })
	for _, s := range x.stems {
		tasks = append(tasks, s.task)
	}
	if x.made, err = x.p.run(ctx, tasks); err != nil {
		return err
	}
	x.r.Tasks = TaskCount{Run: x.made.Stats.Run, Reused: x.made.Stats.Reused}
	return nil
}

// timeline writes the recordings in their places, as a timeline and as a list
// of cuts for each take, and the shots of every film as a list of its own.
func (x *export) timeline(ctx context.Context) error {
	t, err := x.tracks()
	if err != nil {
		return err
	}
	data, err := interchange.OTIO(t)
	if err != nil {
		return err
	}
	x.r.Timeline = x.write(exportTimeline, data)
	for _, take := range x.p.man.Takes {
		list := interchange.EDL{Title: x.p.man.Title + " " + take.Name, Rate: t.Rate}
		for _, k := range t.Tracks {
			if e, ok := t.Event(k); ok && k.Name == trackName(take.Name, k.Kind) {
				list.Events = append(list.Events, e)
			}
		}
		if len(list.Events) > 0 {
			if err := x.edit(ctx, "take-"+take.Name, list); err != nil {
				return err
			}
		}
	}
	for _, f := range x.pl.Films {
		if err := x.shots(ctx, f); err != nil {
			return err
		}
	}
	return nil
}

func trackName(take string, kind interchange.Kind) string {
	return take + " " + strings.ToLower(string(kind))
}

// edit writes an edit list.
func (x *export) edit(ctx context.Context, name string, list interchange.EDL) error {
	text, err := list.Text()
	if err != nil {
		return err
	}
	x.r.Edits = append(x.r.Edits, x.write(exportEdits+"/"+name+".edl", []byte(text)))
	return nil
}

// shots writes the shots of a film as cuts of the finished film: on a timeline
// it lies in one piece for every shot. A list holds 999 of them.
func (x *export) shots(ctx context.Context, f plan.Film) error {
	var events []interchange.Event
	for _, s := range f.Shots {
		if s.Len() > 0 {
			events = append(events, interchange.Event{
				Channels: "V", Source: s.From, Record: s.From, Frames: s.Len(), Clip: f.Name + ".mp4", Remarks: []string{"SHOT: " + shotName(s)},
			})
		}
	}
	for i, part := range slices.Collect(slices.Chunk(events, interchange.MaxEvents)) {
		name := "film-" + f.Name
		if i > 0 {
			name = fmt.Sprintf("%s-%d", name, i+1)
		}
		list := interchange.EDL{Title: x.p.man.Title + " " + f.Name, Rate: x.pl.Timeline.Rate, Events: part}
		if err := x.edit(ctx, name, list); err != nil {
			return err
		}
	}
	return nil
}

// shotName is a shot in a few words.
func shotName(s plan.Shot) string {
	switch {
	case len(s.Tiles) == 0:
		return string(s.Show)
	case len(s.Tiles) == 1:
		return strings.TrimSpace(string(s.Show) + " " + publicTake(s.Tiles[0]))
	}
	return fmt.Sprintf("%s of %d", s.Show, len(s.Tiles))
}

// tempo writes the tempo map.
func (x *export) tempo(ctx context.Context) error {
	var midi bytes.Buffer
	err := smf.Write(&midi, x.p.man.Tempo, smf.Options{Title: x.p.man.Title})
	if err != nil {
		return err
	}
	x.r.Tempo = x.write(exportTempo, midi.Bytes())
	return nil
}

// write takes a file into the hand-over and says where it will lie.
func (x *export) write(name string, data []byte) string {
	x.texts = append(x.texts, exportText{name, data})
	return filepath.Join(x.dir, filepath.FromSlash(name))
}

// close writes everything and removes what an earlier export wrote besides: a
// take that was withdrawn must not lie around.
func (x *export) close(ctx context.Context) error {
	now, err := x.p.stemFiles(x.stems, "", x.made)
	if err != nil {
		return err
	}
	for _, t := range x.texts {
		now = append(now, writtenFile{sha256.Sum256(t.data), t.file})
	}
	slices.SortFunc(now, func(a, b writtenFile) int { return strings.Compare(a.file, b.file) })
	if err := os.MkdirAll(filepath.Join(x.dir, exportEdits), 0o777); err != nil {
		return unwritable(x.dir, err)
	}
	gone, err := x.p.replace(ctx, record{x.dir, isExported}, now, func() error {
		for _, t := range x.texts {
			if err := publishBytes(ctx, filepath.Join(x.dir, filepath.FromSlash(t.file)), t.data); err != nil {
				return err
			}
		}
		list, err := x.p.copyStems(ctx, x.stems, exportFolder)
		x.r.Stems = append(x.r.Stems, list...)
		return err
	})
	x.r.Removed, x.r.Notes = gone.removed, gone.notes
	return err
}

// isExported says whether a path, relative to the folder of a hand-over, can be
// a file of one.
func isExported(file string) bool {
	switch file {
	case exportTimeline, exportTempo, exportOffsets:
		return true
	}
	if name, ok := strings.CutPrefix(file, exportEdits+"/"); ok {
		return !strings.Contains(name, "/") && strings.HasSuffix(name, ".edl")
	}
	stem, ok := strings.CutPrefix(file, stemsFolder+"/")
	return ok && isStem(stem)
}

// address is a file as the timeline refers to it: from the timeline's own
// folder, or in full where there is no way.
func (x *export) address(path string) string {
	rel, err := filepath.Rel(x.dir, path)
	if err != nil {
		return (&url.URL{Scheme: "file", Path: filepath.ToSlash(path)}).String()
	}
	return (&url.URL{Path: filepath.ToSlash(rel)}).String()
}

// stemSource is a take's stem as a medium: where a take's own file has a
// picture that is not released, the stem is what there is to hear.
func (x *export) stemSource(take string) (interchange.Media, bool) {
	line := x.pl.Timeline
	for _, s := range x.stems {
		if s.take == take {
			from := stemStart(line)
			return interchange.Media{
				Name: filepath.Base(s.file), URL: x.address(filepath.Join(x.dir, s.file)), Rate: audio.Rate, Channels: 2,
				Last: (line.AudioStart + line.AudioLen - from).Seconds(), Offset: from.Seconds(),
			}, true
		}
	}
	return interchange.Media{}, false
}
