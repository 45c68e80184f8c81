package assemble

import (
	"context"
	"errors"
	"io"
	"os"
	"path/filepath"
	"strconv"
	"strings"

	"ripieno/assemble/manifest"
	"ripieno/assemble/media"
	"ripieno/assemble/plan"
	"ripieno/assemble/store"
	"ripieno/assemble/task"
	"ripieno/mix"
	"ripieno/mix/audio"
)

// Where stems go, beside the master.
const (
	stemsFolder  = "stems"
	takeStems    = "stems/takes"
	sectionStems = "stems/sections"
	noSection    = "without-section"
)

// stem is one file of a part of the mix: as loud, in its place and with its
// share of the room as it is in the sum, before mastering. All takes together,
// and all sections together, are the sum. Every stem begins at guide time 0 or,
// where the film begins before the guide, with the film.
type stem struct {
	task task.Task
	take string // "" for a section
	name string // of the section
	file string // relative to the folder of outputs
}

func stemID(take string) string { return "stem/" + take }

// stems plans a stem for every take and every section of a mix.
func (p *Production) stems(t *soundTrack, line plan.Timeline) []stem {
	var takes, sections []stem
	files := map[string]bool{}
	for _, x := range t.parts {
		takes = append(takes, stem{p.takeStem(x, line), x.Take, "", filepath.Join(takeStems, x.Take+".wav")})
	}
	for _, name := range p.sectionsOf(t.parts) {
		file := manifest.Slug(name)
		if name == "" {
			file = noSection
		}
		// Two names may give one file name.
		for n, base := 2, file; file == "" || files[file]; n++ {
			file = base + "-" + strconv.Itoa(n)
		}
		files[file] = true
		sections = append(sections, stem{p.sectionStem(name, takes, t.parts, line), "", name, filepath.Join(sectionStems, file+".wav")})
	}
	return append(takes, sections...)
}

// sectionsOf lists the sections that are heard, in the manifest's order, the
// takes without one last.
func (p *Production) sectionsOf(parts []entry) []string {
	heard := map[string]bool{}
	for _, x := range parts {
		heard[x.Section] = true
	}
	var names []string
	for _, s := range p.man.Sections {
		if heard[s.Name] {
			names = append(names, s.Name)
		}
	}
	if heard[""] {
		names = append(names, "")
	}
	return names
}

// takeStem mixes one strip alone.
func (p *Production) takeStem(x entry, line plan.Timeline) task.Task {
	key := x.mixed(p.busKey("stem", line)).Arg("take", x.Take).Arg("part", x.Part).Ext(".wav").For(x.Take)
	after := []string{levelID(x.rec), voiceID(x.rec)}
	if p.man.Mix.Room > 0 && p.room != nil {
		after = append(after, soundID(p.room))
	}
	return task.Task{
		ID: stemID(x.Take), Name: x.Take, Stage: "stems", Action: key, Cost: 0.1 + 4*costSum*line.Duration(), After: after,
		Make: func(ctx context.Context, in task.Inputs, tmp string, _ func(float64)) error {
			a, err := load[mix.Analysis](in[levelID(x.rec)])
			if err != nil {
				return err
			}
			strip, _, err := p.mixStrip(x, a, in)
			if err != nil {
				return err
			}
			o, err := p.options(line, in)
			if err != nil {
				return err
			}
			src, err := mix.PreMaster([]mix.Strip{strip}, o)
			if err != nil {
				return err
			}
			from := stemStart(line)
			what := strings.Trim(x.Take+" · "+x.Part, "· ")
			return writeStem(ctx, tmp, &afterSilence{Source: src, left: line.AudioStart - from}, p.describe(media.Float32, what, from))
		},
	}
}

// sectionStem adds the stems of a section up.
func (p *Production) sectionStem(name string, takes []stem, parts []entry, line plan.Timeline) task.Task {
	title := name
	if name == "" {
		title = noSection
	}
	key := store.NewAction("section stem").Version(mixRule).Arg("section", name).Arg("start", stemStart(line)).Ext(".wav").For(title)
	var after []string
	for i, x := range parts {
		if x.Section == name {
			key = key.Input("stem", takes[i].task.Action.ID())
			after = append(after, takes[i].task.ID)
		}
	}
	return task.Task{
		ID: "section/" + name, Name: title, Stage: "stems", Action: key, Cost: 0.1, After: after,
		Make: func(ctx context.Context, in task.Inputs, tmp string, _ func(float64)) error {
			var all added
			for _, id := range after {
				wav, err := media.OpenWAV(in[id])
				if err != nil {
					return errors.Join(err, all.Close())
				}
				all.list = append(all.list, wav)
			}
			return writeStem(ctx, tmp, &all, p.describe(media.Float32, title, stemStart(line)))
		},
	}
}

// stemStart is the guide frame at which all stems begin.
func stemStart(line plan.Timeline) audio.Frames { return min(0, line.AudioStart) }

// writeStem writes 32-bit float samples, which keep what is over full scale
// and add up to the sum.
func writeStem(ctx context.Context, path string, src interface {
	audio.Source
	io.Closer
}, about *media.Broadcast) error {
	_, err := media.CreateBroadcastWAV(ctx, path, src, media.Float32, about)
	return errors.Join(err, src.Close())
}

// afterSilence is a source with silence before it.
type afterSilence struct {
	audio.Source
	left audio.Frames
}

// Read implements [audio.Source].
func (a *afterSilence) Read(dst audio.Block) (int, error) {
	n := int(min(a.left, audio.Frames(dst.Frames())))
	dst.Slice(0, n).Clear()
	a.left -= audio.Frames(n)
	if n == dst.Frames() {
		return n, nil
	}
	k, err := a.Source.Read(dst.Slice(n, dst.Frames()))
	if n > 0 {
		err = nil
	}
	return n + k, err
}

// Close closes what comes after the silence.
func (a *afterSilence) Close() error { return audio.Close(a.Source) }

// added is the sum of equally long stereo files, in their order.
type added struct {
	list []*media.WAV
	in   audio.Block
}

func (a *added) Channels() int { return 2 }
func (a *added) Rate() int     { return audio.Rate }

// Read implements [audio.Source].
func (a *added) Read(dst audio.Block) (int, error) {
	if a.in.Frames() < dst.Frames() {
		a.in = audio.NewBlock(2, dst.Frames())
	}
	dst.Clear()
	most, in := 0, a.in.Slice(0, dst.Frames())
	for _, wav := range a.list {
		n, err := wav.Read(in)
		if err != nil && err != io.EOF {
			return 0, err
		}
		most = max(most, n)
		for c := range dst {
			for i, v := range in[c][:n] {
				dst[c][i] += v
			}
		}
	}
	if most == 0 && dst.Frames() > 0 {
		return 0, io.EOF
	}
	return most, nil
}

// Close closes the files.
func (a *added) Close() error {
	var errs []error
	for _, wav := range a.list {
		errs = append(errs, wav.Close())
	}
	return errors.Join(errs...)
}

// stemFiles are the records of the stems as they lie in a folder.
func (p *Production) stemFiles(stems []stem, folder string, res task.Result) ([]writtenFile, error) {
	var list []writtenFile
	for _, s := range stems {
		if res.Path(s.task.ID) == "" {
			return nil, firstFailure(res)
		}
		hash, err := p.store.Hash(s.task.Action)
		if err != nil {
			return nil, err
		}
		file, err := filepath.Rel(folder, s.file)
		if err != nil {
			return nil, err
		}
		list = append(list, writtenFile{hash, filepath.ToSlash(file)})
	}
	return list, nil
}

// isStem says whether a path, with slashes and relative to the folder that
// holds both kinds of stems, can be a stem's: a sound directly in one of them.
func isStem(file string) bool {
	folder, name, ok := strings.Cut(file, "/")
	return ok && !strings.Contains(name, "/") && strings.HasSuffix(name, ".wav") &&
		(folder == filepath.Base(takeStems) || folder == filepath.Base(sectionStems))
}

// deliverStems copies the stems to where a person looks for them and takes away
// those of earlier mixes that are no part of this one: beside the others they
// would be taken for one.
func (p *Production) deliverStems(ctx context.Context, stems []stem, res task.Result, r *MixResult) error {
	dir, err := p.out(stemsFolder)
	if err != nil {
		return err
	}
	now, err := p.stemFiles(stems, stemsFolder, res)
	if err != nil {
		return err
	}
	gone, err := p.replace(ctx, record{dir, isStem}, now, func() error {
		r.Stems, err = p.copyStems(ctx, stems, "")
		return err
	})
	r.Removed, r.Notes = append(r.Removed, gone.removed...), append(r.Notes, gone.notes...)
	return err
}

// copyStems copies finished stems into a folder of the outputs, "" for that
// itself.
func (p *Production) copyStems(ctx context.Context, stems []stem, folder string) ([]MixStem, error) {
	var list []MixStem
	for _, s := range stems {
		path, err := p.outFile(filepath.Join(folder, s.file))
		if err != nil {
			return nil, err
		}
		if err := os.MkdirAll(filepath.Dir(path), 0o777); err != nil {
			return nil, unwritable(filepath.Dir(path), err)
		}
		if _, err := p.store.Deliver(ctx, s.task.Action, path); err != nil {
			return nil, err
		}
		list = append(list, MixStem{Take: s.take, Section: s.name, File: path})
	}
	return list, nil
}
