package assemble

import (
	"context"
	"fmt"
	"math"
	"slices"
	"strings"

	"ripieno/assemble/fault"
	"ripieno/assemble/guide"
	"ripieno/assemble/guide/conductor"
	"ripieno/assemble/manifest"
	"ripieno/assemble/plan"
	"ripieno/assemble/production"
	"ripieno/assemble/session"
	"ripieno/assemble/takes"
	"ripieno/assemble/task"
	"ripieno/mix/audio"
)

// GuideFile is one guide that `click` wrote.
type GuideFile = guide.File

// GuideResult is what `click` made: the guide all play to and the variants.
type GuideResult struct {
	GuideFile
	Variants []GuideFile     `json:"variants,omitempty"`
	Measures []guide.Measure `json:"measures"`                // of the guide all play to
	Order    string          `json:"order,omitempty"`         // of the page's measures, when played otherwise
	Remarks  []string        `json:"score_remarks,omitempty"` // what to know of the score
	Faults   []Bad           `json:"faults,omitempty"`
}

// ClickOptions choose what Click writes besides the guide.
type ClickOptions struct {
	Only []string // names of variants; empty: all
	Film bool     // every guide as a film too
}

// Click writes the guide as out/guide.wav (24-bit), out/guide.mp3 and
// out/guide.mid, its measures as an empty score and as labels, and every variant as
// out/guide-NAME.wav and so on; with Only, the variants of those names, and with Film each
// as out/guide.mp4 too. A variant that is to have other parts in it but
// cannot yet is among the faults of the result and keeps nothing else back. The
// tempo of every guide is kept in guide.yaml beside the manifest.
func (p *Production) Click(ctx context.Context, o ClickOptions) (GuideResult, error) {
	var r GuideResult
	if err := p.Tool().Require("libmp3lame"); err != nil {
		return r, err
	}
	man := p.Manifest()
	r.Measures, r.Remarks = guide.Measures(man), man.ScoreRemarks()
	if man.Score != nil {
		r.Order = man.Score.Order()
	}
	for _, name := range o.Only {
		if man.Guide.Variant(name) == nil {
			return r, man.NoSuch("variant of the guide", name, man.Guide.VariantNames())
		}
	}
	jobs, err := guide.Jobs(man, o.Only)
	if err != nil {
		return r, err
	}
	// What cannot be read is told before a guide is written that it would not have.
	made, err := manifest.LoadMade(man.Dir)
	if err != nil {
		return r, err
	}
	lead, err := conductor.Find(ctx, p.Session, o.Film)
	if err != nil {
		return r, err
	}
	for i, j := range jobs {
		if j.Variant != nil && j.Variant.With != "" && !math.IsInf(j.Sound.MixDB, -1) {
			var bad *Bad
			if j.Backing, bad, err = mixBacking(ctx, p, j); err != nil {
				return r, err
			}
			if bad != nil {
				r.Faults = append(r.Faults, *bad)
				continue
			}
		}
		file, err := j.Write(ctx, p.Session)
		if err != nil {
			return r, err
		}
		if o.Film {
			if err := lead.WriteFilm(ctx, p.Session, j, &file); err != nil {
				return r, err
			}
		}
		if err := j.Record(ctx, man, made); err != nil {
			return r, err
		}
		if i == 0 {
			r.GuideFile = file
		} else {
			r.Variants = append(r.Variants, file)
		}
	}
	return r, nil
}

// mixBacking mixes the parts that a variant is to have in it, as `mix` would mix
// them now. bad says why there are none yet. A guide without the others in it is no
// stand-in for one with them, so it is not written then.
func mixBacking(ctx context.Context, p *Production, j guide.Job) (b *guide.Backing, bad *Bad, err error) {
	v, man := j.Variant, p.Manifest()
	none := func(why, hint string) (*guide.Backing, *Bad, error) {
		f := fault.At(fault.Decision, v.Mark, fmt.Sprintf("the guide %q was not made: %s", v.Name, why), hint)
		return nil, &Bad{What: f.Error(), Hint: f.Hint, Kind: takes.KindMissing}, nil
	}
	if man.NeedTakes() != nil {
		return none("there are no takes to mix", "write it when the first takes are in, or leave with out")
	}
	all, err := p.locate(ctx)
	if err != nil {
		return nil, nil, err
	}
	pl, faults, err := p.plan(ctx, all, nil)
	if err != nil {
		return nil, nil, err
	}
	if v.With == "others" {
		pl.Keep(func(s plan.Strip) bool { return !playsTo(man, s.Take, v.Name) })
	}
	if len(pl.Strips) == 0 {
		return none("no other take is in and placed yet",
			"ripieno sync shows which takes are; run ripieno click again then")
	}
	sum, err := makeSum(ctx, p, pl, all)
	if err != nil {
		return nil, nil, err
	}
	if b, err = guide.NewBacking(sum, pl.Timeline, v, audio.Decibels(j.Sound.MixDB)); err != nil {
		return nil, nil, err
	}
	for _, s := range pl.Strips {
		b.Takes = append(b.Takes, s.Take)
	}
	if out := absent(faults); len(out) > 0 {
		b.Notes = append([]string{"without " + strings.Join(out, ", ") + ", which could not be used yet"}, b.Notes...)
	}
	return b, nil, nil
}

// makeSum returns the file with the plan's strips added up, made now if need be.
// What comes after it, the master, is not wanted here. It is not loud enough by
// itself: the guide measures it and sets its level.
func makeSum(ctx context.Context, p *Production, pl *plan.Plan, all material) (string, error) {
	track, err := p.track(pl, all)
	if err != nil {
		return "", err
	}
	res, err := p.Run(ctx, task.Collect(track.Sum))
	if err != nil {
		return "", err
	}
	path, ok, err := track.Sum.Result(res)
	if !ok && err == nil {
		err = session.FirstFailure(res)
	}
	return path, err
}

// playsTo reports whether a take is recorded to a variant of the guide.
func playsTo(man *production.Production, take, variant string) bool {
	return slices.ContainsFunc(man.Takes, func(t production.Take) bool { return t.Name == take && t.Guide == variant })
}

// absent lists the takes among the faults, each once.
func absent(faults []Bad) []string {
	var list []string
	for _, f := range faults {
		if f.Kind != takes.KindShort && !slices.Contains(list, f.Take) {
			list = append(list, f.Take)
		}
	}
	return list
}
