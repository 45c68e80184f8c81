package soundtrack

import (
	"context"
	"errors"
	"io"
	"path/filepath"
	"strconv"
	"strings"

	"ripieno/assemble/media"
	"ripieno/assemble/plan"
	"ripieno/assemble/store"
	"ripieno/assemble/task"
	"ripieno/mix"
	"ripieno/mix/audio"
)

// Where stems go, beside the master.
const (
	StemsFolder  = "stems"
	takeStems    = "stems/takes"
	sectionStems = "stems/sections"
	noSection    = "without-section"
)

// Stem is one file of a part of the mix: as loud, in its place and with its
// share of the room as it is in the sum, before mastering. All takes together,
// and all sections together, are the sum. Every stem begins at guide time 0 or,
// where the film begins before the guide, with the film.
type Stem struct {
	Made    task.Ref[string]
	Take    string // "" for a section
	Section string // "" for a take, and for the section of those that have none
	File    string // relative to the folder of outputs
}

// Stems plans a stem for every take and every section of the mix.
func (t *Track) Stems() []Stem {
	var takes, sections []Stem
	files := map[string]bool{}
	for _, p := range t.parts {
		takes = append(takes, Stem{t.takeStem(p), p.Take, "", filepath.Join(takeStems, p.Take+".wav")})
	}
	for _, x := range t.heardSections() {
		name, file := x.Name, x.Slug
		if name == "" {
			file = noSection
		}
		// Two names may give one file name.
		for n, base := 2, file; file == "" || files[file]; n++ {
			file = base + "-" + strconv.Itoa(n)
		}
		files[file] = true
		sections = append(sections, Stem{t.sectionStem(name, takes), "", name,
			filepath.Join(sectionStems, file+".wav")})
	}
	return append(takes, sections...)
}

// heardSections lists the sections that are heard, in the manifest's order, and
// the zero Section last for takes without one. A section whose takes are all missing
// has no stem.
func (t *Track) heardSections() []plan.Section {
	heard := map[string]bool{}
	for _, p := range t.parts {
		heard[p.Section] = true
	}
	var list []plan.Section
	for _, s := range t.mix.Sections {
		if heard[s.Name] {
			list = append(list, s)
		}
	}
	if heard[""] {
		list = append(list, plan.Section{})
	}
	return list
}

// takeStem returns the task that mixes one strip alone, as it is in the sum.
func (t *Track) takeStem(p part) task.Ref[string] {
	s := t.begin("stem")
	p.add(&s)
	s.Action = s.Action.Arg("take", p.Take).Arg("part", p.Part).Ext(".wav").For(p.Take)
	s.ID, s.Name, s.Stage, s.Cost = task.ID("stem", p.Take), p.Take, "stems", 0.1+4*costSum*t.line.Duration()
	s.Make = func(ctx context.Context, in task.Inputs, tmp string, _ func(float64)) error {
		return t.mixAlone(ctx, p, in, tmp)
	}
	return task.Path(s)
}

// mixAlone writes the stem of one strip.
func (b bus) mixAlone(ctx context.Context, p part, in task.Inputs, tmp string) error {
	strip, _, _, err := b.strip(p, in)
	if err != nil {
		return err
	}
	o, err := b.options(in)
	if err != nil {
		return err
	}
	src, err := mix.PreMaster([]mix.Strip{strip}, o)
	if err != nil {
		return err
	}
	from := StemStart(b.line)
	what := strings.Trim(p.Take+" · "+p.Part, "· ")
	return writeStem(ctx, tmp, &afterSilence{Source: src, left: b.line.AudioStart - from},
		describe(media.Float32, what, from))
}

// sectionStem adds the stems of a section up.
func (t *Track) sectionStem(name string, takes []Stem) task.Ref[string] {
	title := name
	if name == "" {
		title = noSection
	}
	s := task.Task{
		ID: task.ID("section", name), Name: title, Stage: "stems", Cost: 0.1,
		Action: store.NewAction("section stem").Version(rule).Arg("section", name).Arg("start", StemStart(t.line)),
	}
	var members []task.Ref[string]
	for i, p := range t.parts {
		if p.Section == name {
			s.Needs("stem", takes[i].Made)
			members = append(members, takes[i].Made)
		}
	}
	s.Action = s.Action.Ext(".wav").For(title)
	start := StemStart(t.line)
	s.Make = func(ctx context.Context, in task.Inputs, tmp string, _ func(float64)) error {
		paths, err := task.ReadAll(members, in)
		if err != nil {
			return err
		}
		return addStems(ctx, paths, describe(media.Float32, title, start), tmp)
	}
	return task.Path(s)
}

// addStems writes the sum of stems. Stems of takes are added and not mixed again, so
// those of sections are their sums to the bit.
func addStems(ctx context.Context, paths []string, about *media.Broadcast, tmp string) error {
	var all added
	for _, path := range paths {
		wav, err := media.OpenWAV(path)
		if err != nil {
			return errors.Join(err, all.Close())
		}
		all.list = append(all.list, wav)
	}
	return writeStem(ctx, tmp, &all, about)
}

// StemStart returns the guide frame at which all stems begin.
func StemStart(line plan.Timeline) audio.Frames { return min(0, line.AudioStart) }

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

// IsStem reports whether a path, with slashes and relative to the folder that
// holds both kinds of stems, can be a stem's: a sound directly in one of them.
func IsStem(file string) bool {
	folder, name, ok := strings.Cut(file, "/")
	return ok && !strings.Contains(name, "/") && strings.HasSuffix(name, ".wav") &&
		(folder == filepath.Base(takeStems) || folder == filepath.Base(sectionStems))
}
