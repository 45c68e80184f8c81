package assemble

import (
	"context"
	"fmt"
	"path/filepath"
	"strconv"

	"ripieno/assemble/interchange"
	"ripieno/assemble/manifest"
	"ripieno/assemble/plan"
	"ripieno/mix/audio"
)

// tracks lays all recordings out: a track of video for each picture, then one
// of audio for each sound, in the order of seats.
func (x *export) tracks() (interchange.Timeline, error) {
	line := x.pl.Timeline
	t := interchange.Timeline{Name: x.p.man.Title, Rate: line.Rate, Zero: line.GuideAtZero(), Frames: line.Frames, Marks: x.marks()}
	add := func(take string, kind interchange.Kind, m interchange.Media, span plan.Span) {
		if c, ok := t.Cut(m, span.From, span.To); ok {
			t.Tracks = append(t.Tracks, interchange.Track{Name: trackName(take, kind), Kind: kind, Clip: c})
		}
	}
	for _, s := range x.pl.Sources {
		if s.Picture == nil {
			continue
		}
		m := interchange.Media{
			Rate: s.Picture.FPS, First: s.Picture.First, Last: s.Picture.Last,
			Offset: s.Picture.Clock.Offset, DriftPPM: float64(s.Picture.Clock.Drift),
		}
		if m.Rate <= 0 {
			m.Rate = line.Rate.FPS() // the file does not say
		}
		rec, err := x.recording(s.Take, s.Picture.Hash)
		if err != nil {
			return t, err
		}
		if !x.mayName(rec) {
			continue
		}
		m.Name, m.URL = x.call(rec)
		add(s.Take, interchange.Video, m, s.Seen)
	}
	for _, s := range x.pl.Sources {
		if s.Sound == nil {
			continue
		}
		m, err := x.soundSource(s)
		if err != nil {
			return t, err
		}
		add(s.Take, interchange.Audio, m, s.Heard)
	}
	return t, nil
}

// mayName reports whether the hand-over may name a recording's file.
func (x *export) mayName(r *recording) bool { return mayBeNamed(x.p.man.Takes[r.take], r.file.Path) }

// fileLabel is how the hand-over calls a recording.
func (x *export) fileLabel(r *recording) string {
	if x.mayName(r) {
		return r.file.Path
	}
	return publicFile(x.p.man.Takes[r.take], r.role, r.file.Path)
}

// tellNamed says which files the hand-over leaves out because of their names.
func (x *export) tellNamed() {
	for _, l := range x.all {
		if t := x.p.man.Takes[l.take]; l.usable() && !l.unseen && !x.mayName(l.recording) {
			x.r.Faults = append(x.r.Faults, hiddenNameFault(t, l.file))
		}
	}
}

// recording is the file that a part of a plan comes from.
func (x *export) recording(take, hash string) (*recording, error) {
	for _, l := range x.all {
		if l.owner == take && l.err == nil && l.hash.String() == hash {
			return l.recording, nil
		}
	}
	return nil, fmt.Errorf("take %q has no recording", take)
}

// call is a recording's name and address.
func (x *export) call(r *recording) (name, address string) {
	return filepath.Base(r.file.Path), x.address(filepath.Join(x.p.man.Dir, filepath.FromSlash(r.file.Path)))
}

// soundSource is the file a take is heard from: its own, or its stem where the
// file has a picture that is not released or a name that is hidden.
func (x *export) soundSource(s plan.Source) (interchange.Media, error) {
	rec, err := x.recording(s.Take, s.Sound.Hash)
	if err != nil {
		return interchange.Media{}, err
	}
	if rec.unseen || !x.mayName(rec) {
		m, ok := x.stemSource(s.Take)
		if !ok {
			err = fmt.Errorf("take %q has no stem", s.Take)
		}
		return m, err
	}
	m := interchange.Media{
		Rate: float64(s.Sound.Rate), Channels: s.Sound.Channels, First: rec.info.Audio.Start,
		Last:   float64(s.Sound.Frames) / float64(s.Sound.Rate),
		Offset: s.Sound.Clock.Offset + s.Delay, DriftPPM: float64(s.Sound.Clock.Drift),
	}
	if d := rec.info.Audio.Duration; d > 0 {
		m.Last = min(m.Last, m.First+d)
	}
	m.Name, m.URL = x.call(rec)
	return m, nil
}

// marks are the measures, shots and chapters of the film.
func (x *export) marks() []interchange.Mark {
	line, m := x.pl.Timeline, x.p.man.Tempo
	var marks []interchange.Mark
	for b := range m.Beats() {
		if !b.Downbeat || b.CountIn {
			continue
		}
		if k := line.Output(b.Seconds); k >= 0 && k < line.Frames {
			marks = append(marks, interchange.Mark{Name: "m" + strconv.Itoa(b.Measure), Frame: k, Guide: b.Seconds, Colour: interchange.White, Remark: m.Meter(b.Measure).String()})
		}
	}
	if len(x.pl.Films) > 0 {
		for _, s := range x.pl.Films[0].Shots {
			if s.Len() > 0 {
				marks = append(marks, interchange.Mark{
					Name: shotName(s), Frame: s.From, Duration: s.Len(), Guide: line.Rate.Seconds(s.From + line.First),
					Colour: interchange.Cyan, Remark: "shot, from " + position(m, line.Rate.Seconds(s.From+line.First)),
				})
			}
		}
	}
	for _, c := range x.pl.Chapters {
		marks = append(marks, interchange.Mark{Name: c.Name, Frame: c.Frame, Guide: line.Rate.Seconds(c.Frame + line.First), Colour: interchange.Yellow, Remark: "chapter"})
	}
	return marks
}

// offsetsHead names the columns of the table of places; those of the first
// row of numbers begin at offsetsNumbers.
var offsetsHead = []string{"take", "player", "part", "section", "role", "file", "placed_by",
	"offset_s", "drift_ppm", "confidence", "guide_begin_s", "guide_end_s"}

const offsetsNumbers = 7

// offsets writes where every recording lies.
func (x *export) offsets(ctx context.Context) error {
	rows := [][]string{offsetsHead}
	number := func(v float64, digits int) string { return strconv.FormatFloat(v, 'f', digits, 64) }
	for _, l := range x.all {
		t := x.p.man.Takes[l.take]
		if t.Release == manifest.ReleaseNo || !l.usable() || l.unseen && t.Audio != nil {
			continue
		}
		role := l.role
		if l.unseen {
			role = roleAudio
		}
		clock := plan.Clock{Offset: l.place.Offset, Drift: audio.PPM(l.place.DriftPPM)}
		rows = append(rows, []string{
			t.Name, t.PublicName(), t.Part, t.Section, role, x.fileLabel(l.recording), l.place.Method,
			number(l.place.Offset, 6), number(l.place.DriftPPM, 3), number(l.place.Confidence, 3),
			number(clock.Guide(0), 6), number(clock.Guide(l.info.Duration), 6),
		})
	}
	data, err := interchange.CSV(rows, func(column int) bool { return column < offsetsNumbers })
	if err != nil {
		return err
	}
	x.r.Offsets = x.write(exportOffsets, data)
	return nil
}
