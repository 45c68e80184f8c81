// Package handover writes a production down for whoever finishes it elsewhere: a
// timeline of all recordings in their places, edit lists, the tempo map and a
// table of where every recording lies. What a player has not released is in none
// of it. It returns texts and writes nothing.
package handover

import (
	"bytes"
	"fmt"
	"net/url"
	"path/filepath"
	"slices"
	"strings"

	"ripieno/assemble/interchange"
	"ripieno/assemble/plan"
	"ripieno/assemble/soundtrack"
	"ripieno/assemble/takes"
	"ripieno/mix/audio"
	"ripieno/mix/tempo/smf"
)

// Where a hand-over's texts lie in its folder.
const (
	Timeline = "timeline.otio"
	Edits    = "edits"
	Tempo    = "tempo.mid"
	Offsets  = "offsets.csv"
)

// Text is a file of a hand-over.
type Text struct {
	File string // with slashes, relative to the folder
	Data []byte
}

// Source is what a hand-over is written from. Takes must be those that Plan was made
// of.
type Source struct {
	Plan  *plan.Plan
	Takes *takes.Set
	Stems []soundtrack.Stem
	Home  string // the production's folder, in which the takes lie
	Dir   string // the folder of the hand-over
}

// Texts returns all files but the stems. It fails for a plan whose takes are not those
// given, which is a bug, and for music that a MIDI file cannot hold.
func (s Source) Texts() ([]Text, error) {
	x := &writer{Source: s}
	for _, step := range []func() error{x.timeline, x.tempo, x.offsets} {
		if err := step(); err != nil {
			return nil, err
		}
	}
	return x.texts, nil
}

// Unnamed returns the faults of files that are left out because of their names.
func (s Source) Unnamed() []takes.Fault {
	var list []takes.Fault
	for _, t := range s.Takes.Takes {
		for _, r := range t.Recordings() {
			if r.Usable() && !r.Unseen && !t.MayBeNamed(r.File.Path) {
				list = append(list, t.HiddenName(r))
			}
		}
	}
	return list
}

// mayName reports whether the hand-over may name a recording's file.
func (s Source) mayName(r *takes.Recording) bool {
	for _, t := range s.Takes.Takes {
		if t.Name == r.Owner {
			return t.MayBeNamed(r.File.Path)
		}
	}
	return false
}

// IsText reports whether a path, relative to the folder of a hand-over, can be
// one of its texts.
func IsText(file string) bool {
	switch file {
	case Timeline, Tempo, Offsets:
		return true
	}
	name, ok := strings.CutPrefix(file, Edits+"/")
	return ok && !strings.Contains(name, "/") && strings.HasSuffix(name, ".edl")
}

// writer is a hand-over while it is written.
type writer struct {
	Source
	texts []Text
}

// add takes a file into the hand-over.
func (x *writer) add(name string, data []byte) { x.texts = append(x.texts, Text{name, data}) }

// timeline writes the recordings in their places, as a timeline and as a list
// of cuts for each take, and the shots of every film as a list of its own.
func (x *writer) timeline() error {
	t, err := x.tracks()
	if err != nil {
		return err
	}
	data, err := interchange.OTIO(t)
	if err != nil {
		return err
	}
	x.add(Timeline, data)
	for _, take := range x.Takes.Takes {
		list := interchange.EDL{Title: x.Plan.Title + " " + take.Name, Rate: t.Rate}
		for _, k := range t.Tracks {
			if e, ok := t.Event(k); ok && k.Name == trackName(take.Name, k.Kind) {
				list.Events = append(list.Events, e)
			}
		}
		if len(list.Events) > 0 {
			if err := x.edit("take-"+take.Name, list); err != nil {
				return err
			}
		}
	}
	for _, f := range x.Plan.Films {
		if err := x.shots(f); err != nil {
			return err
		}
	}
	return nil
}

// trackName returns what a take's picture or sound is called on a timeline.
func trackName(take string, kind interchange.Kind) string {
	return take + " " + strings.ToLower(string(kind))
}

// edit writes an edit list as CMX 3600. It fails for a list that the format cannot hold.
func (x *writer) edit(name string, list interchange.EDL) error {
	text, err := list.Text()
	if err != nil {
		return err
	}
	x.add(Edits+"/"+name+".edl", []byte(text))
	return nil
}

// shots writes the shots of a film as cuts of the finished film: on a timeline
// it lies in one piece for every shot. A list holds 999 of them. In: and out: in the
// list are frames of the film, which has no gaps.
func (x *writer) shots(f plan.Film) error {
	var events []interchange.Event
	for _, s := range f.Shots {
		if s.Len() > 0 {
			events = append(events, interchange.Event{
				Channels: "V", Source: s.From, Record: s.From, Frames: s.Len(), Clip: f.Name +
					".mp4", Remarks: []string{"SHOT: " + shotName(s)},
			})
		}
	}
	for i, part := range slices.Collect(slices.Chunk(events, interchange.MaxEvents)) {
		name := "film-" + f.Name
		if i > 0 {
			name = fmt.Sprintf("%s-%d", name, i+1)
		}
		list := interchange.EDL{Title: x.Plan.Title + " " + f.Name, Rate: x.Plan.Timeline.Rate, Events: part}
		if err := x.edit(name, list); err != nil {
			return err
		}
	}
	return nil
}

// shotName returns a shot in a few words.
func shotName(s plan.Shot) string {
	switch {
	case len(s.Tiles) == 0:
		return string(s.Show)
	case len(s.Tiles) == 1:
		return strings.TrimSpace(string(s.Show) + " " + s.Tiles[0].PublicTake())
	}
	return fmt.Sprintf("%s of %d", s.Show, len(s.Tiles))
}

// tempo writes the tempo map as a MIDI file without notes, which editors of sound take for the
// grid of their beats.
func (x *writer) tempo() error {
	var midi bytes.Buffer
	err := smf.Write(&midi, x.Plan.Tempo, smf.Options{Title: x.Plan.Title})
	if err != nil {
		return err
	}
	x.add(Tempo, midi.Bytes())
	return nil
}

// address returns a file as the timeline refers to it: from the timeline's own
// folder, or in full where there is no way. It is escaped as addresses are: a blank
// in a file's name is %20.
func (x *writer) address(path string) string {
	rel, err := filepath.Rel(x.Dir, path)
	if err != nil {
		return (&url.URL{Scheme: "file", Path: filepath.ToSlash(path)}).String()
	}
	return (&url.URL{Path: filepath.ToSlash(rel)}).String()
}

// stemSource returns a take's stem as a medium: where a take's own file has a
// picture that is not released, the stem is what there is to hear.
func (x *writer) stemSource(take string) (interchange.Media, bool) {
	line := x.Plan.Timeline
	for _, s := range x.Stems {
		if s.Take == take {
			from := soundtrack.StemStart(line)
			return interchange.Media{
				Name: filepath.Base(s.File), URL: x.address(filepath.Join(x.Dir,
					s.File)), Rate: audio.Rate, Channels: 2,
				Last: (line.AudioStart + line.AudioLen - from).Seconds(), Clock: audio.Clock{Offset: from.Seconds()},
			}, true
		}
	}
	return interchange.Media{}, false
}
