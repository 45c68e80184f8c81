// Package assemble joins the rooms: it is the only place where the manifest,
// the takes, the plan, the sound and the picture meet. A [Production] has one
// method for each verb of the program; every method can be interrupted through
// its context and run again, gives the same result however often it runs, and
// pays only for what changed.
//
// What the package writes: the outputs in the folder out, sync.yaml and
// guide.yaml beside the manifest, the manifest itself for pins, adoptions, proposed shots and the desk, and the
// store in .ripieno. It never writes to a take.
package assemble

import (
	"context"
	"fmt"

	"ripieno/assemble/picture"
	"ripieno/assemble/plan"
	"ripieno/assemble/production"
	"ripieno/assemble/roll"
	"ripieno/assemble/session"
	"ripieno/assemble/soundtrack"
	"ripieno/assemble/takes"
)

// Settings are what a verb needs besides the manifest.
type Settings = session.Settings

// TaskCount is how much work a run did.
type TaskCount = session.Count

// Bad is a take that could not be used, in the words of its fault.
type Bad = takes.Fault

// Production is an open production folder. It has no state of its own: what a
// verb finds out is gone when the verb is done.
type Production struct{ *session.Session }

// Open reads the manifest, finds ffmpeg and takes the production's store,
// waiting while another run has it. Close gives it back.
func Open(ctx context.Context, set Settings) (*Production, error) {
	s, err := session.Open(ctx, set)
	if err != nil {
		return nil, err
	}
	return &Production{s}, nil
}

// material is what films and mixes are planned from.
type material struct {
	*takes.Set
	assets *picture.Assets
}

// locate reads what drawings need, looks at and listens to every take, and
// places all of them on guide time.
func (p *Production) locate(ctx context.Context, also ...takes.Also) (material, error) {
	man := p.Manifest()
	if err := man.NeedTakes(); err != nil {
		return material{}, err
	}
	assets, err := readAssets(ctx, p)
	if err != nil {
		return material{}, err
	}
	set, err := takes.Locate(ctx, p.Session, also...)
	if err != nil {
		return material{}, err
	}
	return material{set, assets}, groundOnEnsemble(ctx, p, set, assets)
}

// readAssets reads the fonts and pictures that the manifest names.
func readAssets(ctx context.Context, p *Production) (*picture.Assets, error) {
	man := p.Manifest()
	f := picture.Files{Dir: man.Dir, Background: plan.Colour(man.Picture.Background)}
	for _, a := range man.Picture.Fonts {
		f.Fonts = append(f.Fonts, picture.Asset(a))
	}
	if a := man.Picture.Backdrop; a != nil {
		f.Backdrop = (*picture.Asset)(a)
	}
	if to := man.Picture.BackgroundTo; to != "" {
		colour := plan.Colour(to)
		f.Into = &colour
	}
	if a := man.Logo; a != nil {
		f.Logo = (*picture.Asset)(a)
	}
	for _, t := range man.Takes {
		if t.Backing != nil && !t.IsWithheld() {
			f.Behind = append(f.Behind, picture.Asset(*t.Backing))
		}
	}
	return picture.ReadAssets(ctx, f)
}

// plan plans films from what was found out about the takes. Where films are wanted
// it looks where the players are in their pictures.
func (p *Production) plan(ctx context.Context, m material, wants []plan.Want) (*plan.Plan, []Bad, error) {
	return planAs(ctx, p, p.Manifest(), m, wants)
}

// planQuick plans first looks. Their sound is that of all films, which begins and ends
// with those: up to a frame of a first look from where its picture does.
func planQuick(ctx context.Context, p *Production, m material, wants []plan.Want, sound plan.Timeline) (*plan.Plan,
	[]Bad, error) {
	pl, faults, err := planAs(ctx, p, plan.Quick(p.Manifest()), m, wants)
	if err == nil {
		pl.Timeline.AudioStart, pl.Timeline.AudioLen = sound.AudioStart, sound.AudioLen
	}
	return pl, faults, err
}

// planAs plans films of what a manifest says. A rough cut, which is for looking at the
// whole, finds players only where a tile cuts what they might stand in: with all of
// them it took a seventh longer.
func planAs(ctx context.Context, p *Production, man *production.Production, m material,
	wants []plan.Want) (*plan.Plan, []Bad, error) {
	if len(wants) > 0 {
		if err := m.RequireColour(p.Tool()); err != nil {
			return nil, nil, err
		}
		if wants[0].Rough && !wants[0].Quick {
			pl, _, err := m.planSeen(man, wants)
			if err != nil {
				return nil, nil, err
			}
			m.LookOnlyAt(p.Session, pl.Cut())
		}
		if err := m.DetectSubjects(ctx, p.Session); err != nil {
			return nil, nil, err
		}
	}
	return m.planSeen(man, wants)
}

// planSeen plans films with the players that have been found.
func (m material) planSeen(man *production.Production, wants []plan.Want) (*plan.Plan, []Bad, error) {
	line, err := plan.NewTimeline(man)
	if err != nil {
		return nil, nil, err
	}
	facts, faults := m.Facts(&line)
	pl, err := plan.New(man, facts, wants, m.assets.Look)
	return pl, faults, err
}

// track plans the sound of a plan: every strip gets the recording it comes from.
func (p *Production) track(pl *plan.Plan, m material) (*soundtrack.Track, error) {
	var sounds []soundtrack.Sound
	for _, s := range pl.Strips {
		r := m.Find(s.Take, s.Sound.Hash)
		if r == nil || r.Info.Audio == nil {
			return nil, fmt.Errorf("the sound of take %q has no recording", s.Take)
		}
		sound := soundOf(r)
		if s.Beside != nil {
			if phone := m.Find(s.Take, s.Beside.Hash); phone != nil {
				sound.Beside = &phone.Sound
			}
		}
		sounds = append(sounds, sound)
	}
	var room *soundtrack.Room
	if r := m.Room; r != nil && pl.Mix.Room > 0 {
		if r.Err != nil {
			return nil, r.Err
		}
		room = &soundtrack.Room{Sound: soundOf(r), Fault: r.UnusableRoom}
	}
	return soundtrack.New(p.Tool(), p.Workers(), pl, sounds, room, m.casting(p.Manifest())), nil
}

// casting returns who plays what, as the mix knows it; nobody where it does not ask.
func (m material) casting(man *production.Production) (who soundtrack.Casting) {
	if !man.Mix.Ensemble {
		return who
	}
	for _, t := range m.Takes {
		if !t.IsWithheld() {
			who.Takes = append(who.Takes, t.Name)
		}
	}
	who.Turns = m.Turns(man)
	return who
}

// soundOf returns a recording as the mix knows it.
func soundOf(r *takes.Recording) soundtrack.Sound {
	return soundtrack.Sound{Samples: r.Sound, Name: r.Name(), File: r.File.Path, Seconds: r.Info.Duration}
}

// openReleases returns what is open before anything may be published, and says it
// where the work goes on.
func (p *Production) openReleases() []Bad {
	open := roll.Releases(p.Manifest())
	for _, b := range open {
		p.Message("before you publish: " + b.What)
	}
	return open
}
