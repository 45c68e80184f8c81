package handover

import (
	"fmt"
	"path/filepath"
	"strconv"

	"ripieno/assemble/interchange"
	"ripieno/assemble/picture"
	"ripieno/assemble/plan"
	"ripieno/assemble/takes"
	"ripieno/mix/audio"
)

// tracks lays all recordings out: a track of video for each picture, then one
// of audio for each sound, in the order of seats. A picture whose file cannot be named
// is left out; its sound is that of the stem.
func (x *writer) tracks() (interchange.Timeline, error) {
	line := x.Plan.Timeline
	t := interchange.Timeline{Name: x.Plan.Title, Rate: line.Rate, Zero: line.GuideAtZero(), Frames: line.Frames,
		Marks: x.marks()}
	add := func(take string, kind interchange.Kind, m interchange.Media, parts audio.Parts, span plan.Span) {
		for i, m := range partsOf(m, parts) {
			name := trackName(take, kind)
			if i > 0 {
				name += fmt.Sprintf(" part %d", i+1)
			}
			if c, ok := t.Cut(m, span.From, span.To); ok {
				t.Tracks = append(t.Tracks, interchange.Track{Name: name, Kind: kind, Clip: c})
			}
		}
	}
	for _, s := range x.Plan.Sources {
		if s.Picture == nil {
			continue
		}
		m := interchange.Media{
			Rate: s.Picture.FPS, First: s.Picture.First, Last: s.Picture.Last,
			Clock: s.Picture.Clock,
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
		add(s.Take, interchange.Video, m, s.Picture.Parts, s.Seen)
	}
	for _, s := range x.Plan.Sources {
		if s.Sound == nil {
			continue
		}
		m, parts, err := x.soundSource(s)
		if err != nil {
			return t, err
		}
		add(s.Take, interchange.Audio, m, parts, s.Heard)
	}
	return t, nil
}

// recording returns the file that a part of a plan comes from.
func (x *writer) recording(take, hash string) (*takes.Recording, error) {
	if r := x.Takes.Find(take, hash); r != nil {
		return r, nil
	}
	return nil, fmt.Errorf("take %q has no recording", take)
}

// call returns a recording's name and address.
func (x *writer) call(r *takes.Recording) (name, address string) {
	return filepath.Base(r.File.Path), x.address(filepath.Join(x.Home, filepath.FromSlash(r.File.Path)))
}

// soundSource returns the file a take is heard from: its own, or its stem where the
// file has a picture that is not released or a name that is hidden. parts are those of
// the file.
func (x *writer) soundSource(s plan.Source) (m interchange.Media, parts audio.Parts, err error) {
	rec, err := x.recording(s.Take, s.Sound.Hash)
	if err != nil {
		return m, nil, err
	}
	if rec.Unseen || !x.mayName(rec) {
		m, ok := x.stemSource(s.Take)
		if !ok {
			err = fmt.Errorf("take %q has no stem", s.Take)
		}
		return m, nil, err
	}
	m = interchange.Media{
		Rate: float64(s.Sound.Rate), Channels: s.Sound.Channels, First: rec.Info.Audio.Start,
		Last:  float64(s.Sound.Frames) / float64(s.Sound.Rate),
		Clock: audio.Clock{Offset: s.Sound.Clock.Offset + s.Delay, Drift: s.Sound.Clock.Drift},
	}
	if d := rec.Info.Audio.Duration; d > 0 {
		m.Last = min(m.Last, m.First+d)
	}
	m.Name, m.URL = x.call(rec)
	return m, s.Sound.Parts, nil
}

// partsOf returns a file as the media of its parts, each on its own clock.
func partsOf(m interchange.Media, parts audio.Parts) []interchange.Media {
	if len(parts) == 0 {
		return []interchange.Media{m}
	}
	var all []interchange.Media
	for _, p := range parts {
		x := m
		x.First, x.Last = max(m.First, p.From), min(m.Last, p.To)
		// Shift is in seconds of the file, Offset in guide time.
		x.Clock.Offset += p.Shift * m.Clock.Drift.Ratio()
		if x.Last > x.First {
			all = append(all, x)
		}
	}
	return all
}

// marks returns the measures, shots and chapters of the film.
func (x *writer) marks() []interchange.Mark {
	line, m := x.Plan.Timeline, x.Plan.Tempo
	var marks []interchange.Mark
	for b := range m.Beats() {
		if !b.Downbeat || b.CountIn {
			continue
		}
		if k := line.Output(b.Seconds); k >= 0 && k < line.Frames {
			marks = append(marks, interchange.Mark{Name: "m" + m.Label(b.Measure), Frame: k, Guide: b.Seconds,
				Colour: interchange.White, Remark: m.Meter(b.Measure).String()})
		}
	}
	if len(x.Plan.Films) > 0 {
		for _, s := range x.Plan.Films[0].Shots {
			if s.Len() > 0 {
				marks = append(marks, interchange.Mark{
					Name: shotName(s), Frame: s.From, Duration: s.Len(), Guide: line.Rate.Seconds(s.From + line.First),
					Colour: interchange.Cyan, Remark: "shot, from " +
						picture.Position(m, line.Rate.Seconds(s.From+line.First)),
				})
			}
		}
	}
	for _, c := range x.Plan.Chapters {
		marks = append(marks, interchange.Mark{Name: c.Name, Frame: c.Frame,
			Guide: line.Rate.Seconds(c.Frame + line.First), Colour: interchange.Yellow, Remark: "chapter"})
	}
	return marks
}

// offsetsHead names the columns of the table of places; those of the first
// row of numbers begin at offsetsNumbers.
var offsetsHead = []string{"take", "player", "part", "section", "role", "file", "placed_by",
	"offset_s", "drift_ppm", "confidence", "guide_begin_s", "guide_end_s"}

const offsetsNumbers = 7

// offsets writes where every recording lies. Seconds have six digits, which is finer
// than a sample.
func (x *writer) offsets() error {
	rows := [][]string{offsetsHead}
	number := func(v float64, digits int) string { return strconv.FormatFloat(v, 'f', digits, 64) }
	for _, t := range x.Takes.Takes {
		for _, r := range t.Recordings() {
			if t.IsWithheld() || !r.Usable() || r.Unseen && t.Audio != nil {
				continue
			}
			role := r.Role
			if r.Unseen {
				role = takes.Audio
			}
			clock, file := r.Place.Clock(), r.File.Path
			if !t.MayBeNamed(file) {
				file = t.PublicFile(r.Role, file)
			}
			rows = append(rows, []string{
				t.Name, t.PublicName(), t.Part, t.Section, string(role), file, string(r.Place.Method),
				number(r.Place.Offset, 6), number(r.Place.DriftPPM, 3), number(r.Place.Confidence, 3),
				number(clock.Guide(0), 6), number(clock.Guide(r.Info.Duration), 6),
			})
		}
	}
	data, err := interchange.CSV(rows, func(column int) bool { return column < offsetsNumbers })
	if err != nil {
		return err
	}
	x.add(Offsets, data)
	return nil
}
