package intake

import (
	"context"
	"errors"
	"fmt"
	"math"
	"strconv"

	"ripieno/assemble/fault"
	"ripieno/assemble/intake/limit"
	"ripieno/assemble/report/phrase"
)

// Judge says what is worth saying about one take, by the [Standard] limits.
func Judge(f Facts) []Finding { return JudgeBy(Standard(), f) }

// JudgeBy says what is worth saying about one take: the worst first, the surest
// first among equals. An empty result means a good take. It depends on f and l
// alone.
func JudgeBy(l Limits, f Facts) []Finding {
	j := judge{limits: &l, facts: &f}
	j.take()
	for i := range f.Files {
		j.file = &f.Files[i]
		if !j.couldOpen() {
			continue
		}
		j.whole()
		if j.file.Sound != nil {
			j.sound(j.file.Sound)
		}
		if j.file.Role == "video" && j.file.Info.Video != nil {
			j.stream()
			if j.file.Picture != nil {
				j.picture(j.file.Picture)
			}
		}
		j.pieces()
		j.place()
	}
	sortFindings(j.found)
	return j.found
}

// Compare finds what only shows among all takes: the same file sent for two of
// them, or the same recording saved anew. The result is keyed by take; the error
// is ctx's.
func Compare(ctx context.Context, all []Facts) (map[string][]Finding, error) {
	out := map[string][]Finding{}
	told := map[*File]bool{}
	lines := contours{}
	tell := func(take string, file *File, sure float64, key, otherFile, other string) {
		if told[file] {
			return // once is enough
		}
		told[file] = true
		said := phrase.New(key, "file", phrase.Quoted(otherFile), "take", phrase.Quoted(other))
		out[take] = append(out[take], Finding{
			Code: Duplicate, Level: Redo, Sure: sure, Role: file.Role, File: file.Name,
			What: said.Plain(), Said: said, Ask: question(Duplicate).Plain(),
		})
	}
	// Equal files first: that is certain, and says more.
	for _, certain := range []bool{true, false} {
		for i := range all {
			if err := ctx.Err(); err != nil {
				return nil, err
			}
			for k := i + 1; k < len(all); k++ {
				pairs(&all[i], &all[k], func(a, b *File) {
					key, sure := "found.duplicate", 1.0
					if equal := a.Hash != "" && a.Hash == b.Hash; equal != certain {
						return
					} else if !equal {
						if told[a] && told[b] || !lines.same(a, b) {
							return
						}
						key, sure = "found.duplicate-anew", 0.95
					}
					tell(all[i].Take, a, sure, key, b.Name, all[k].Take)
					tell(all[k].Take, b, sure, key, a.Name, all[i].Take)
				})
			}
		}
	}
	for take := range out {
		sortFindings(out[take])
	}
	return out, nil
}

// pairs gives all pairs of readable files of two takes.
func pairs(a, b *Facts, use func(x, y *File)) {
	for i := range a.Files {
		for k := range b.Files {
			if x, y := &a.Files[i], &b.Files[k]; x.Err == nil && y.Err == nil {
				use(x, y)
			}
		}
	}
}

// judge is one run over a take.
type judge struct {
	limits *Limits
	facts  *Facts
	file   *File // being judged; nil for the take as a whole
	found  []Finding
}

// add notes a finding in the words of a key, whose places pairs fill in. The
// player is asked only when something is wanted.
func (j *judge) add(code Code, level Level, sure float64, key string, pairs ...any) {
	j.note(code, level, sure, phrase.New("found."+key, pairs...))
}

// note adds a finding about the file in hand, with sure clamped to 0.5 to 1 and rounded to
// hundredths. What is worse than OK comes with the question to the player.
func (j *judge) note(code Code, level Level, sure float64, said phrase.Message) {
	sure = min(max(sure, 0.5), 1)
	f := Finding{Code: code, Level: level, Sure: math.Round(sure*100) / 100, What: said.Plain(), Said: said}
	if level > OK {
		f.Ask = question(code).Plain()
	}
	if j.file != nil {
		f.Role, f.File = j.file.Role, j.file.Name
	}
	j.found = append(j.found, f)
}

// figure returns a number with so many decimals.
func figure(v float64, decimals int) phrase.Figure {
	return phrase.Figure(strconv.FormatFloat(v, 'f', decimals, 64))
}

// whole returns a whole number as it stands in a sentence.
func whole(n int) phrase.Figure { return phrase.Figure(strconv.Itoa(n)) }

// take judges what belongs to no single file.
func (j *judge) take() {
	if len(j.facts.Files) == 0 {
		j.add(Missing, Ask, 1, "missing")
		return
	}
	readable, sound := 0, false
	for i := range j.facts.Files {
		f := &j.facts.Files[i]
		if f.Err == nil {
			readable++
			sound = sound || f.Info.Audio != nil
		}
	}
	if readable == len(j.facts.Files) && !sound {
		j.add(NoSound, Redo, 1, "no-sound")
	}
}

// couldOpen reports whether the file can be looked at at all, and notes why not.
func (j *judge) couldOpen() bool {
	err := j.file.Err
	if err == nil {
		return true
	}
	what := err.Error()
	if f, ok := errors.AsType[*fault.Fault](err); ok {
		what = f.What
	}
	if j.facts.Expected && errors.Is(err, ErrNotIn) {
		j.add(Missing, Ask, 1, "missing")
	} else {
		j.add(Unreadable, Redo, 1, "unreadable", "message", phrase.Foreign(what))
	}
	return false
}

// ErrNotIn as a File's Err says that an expected file is not there yet.
var ErrNotIn = errors.New("not in yet")

// whole judges the file as such: cut off, damaged, without what is needed.
func (j *judge) whole() {
	info, d := &j.file.Info, j.file.Decoded
	switch {
	case d != nil && d.Truncated:
		seconds := float64(d.Frames) / float64(max(1, d.Rate))
		j.add(Truncated, Redo, 0.95, "breaks-off", "clock", clock(seconds))
	case j.file.Sound != nil && info.SoundMissing(j.file.Sound.Seconds) > 0:
		j.add(Truncated, Redo, 0.9, "sound-short", "seconds", figure(info.SoundMissing(j.file.Sound.Seconds), 1))
	case info.Truncated:
		j.add(Truncated, Redo, 0.95, "index-short")
	}
	if d != nil {
		j.judgeDamage(d.Damaged, d.Missing)
	}
	if j.file.Role == "video" && info.Video == nil {
		j.add(NoPicture, Redo, 1, "no-picture")
	}
	if a := info.Audio; a != nil {
		if low, sure := j.limits.Under(limit.LowRate, float64(a.Rate)); low {
			j.add(LowRate, Ask, sure, "low-rate", "hz", whole(a.Rate))
		}
	}
	if v, a := info.Video, info.Audio; v != nil && a != nil && v.Duration > 0 && a.Duration > 0 && !info.Truncated {
		apart := math.Abs(v.Start + v.Duration - a.Start - a.Duration)
		if far, sure := j.limits.Over(limit.LengthApart, apart); far {
			j.add(Apart, Ask, sure, "apart", "seconds", figure(apart, 1))
		}
	}
}

// judgeDamage judges places of the sound that do not decode. A single one is common
// at the cut edges of files that were edited without coding them anew; but
// where the file has no sound for a while, or every packet stands for itself, it
// is no edge. Nobody knows whether the sound that is missing was at that place.
func (j *judge) judgeDamage(places int, missing float64) {
	switch gone, sure := j.limits.Over(limit.MissingAsk, missing); {
	case places > 0 && gone:
		j.add(Damaged, Ask, max(0.9, sure), "sound-gaps", "damage", countPlaces(places, "sound"), "seconds",
			figure(missing, 1))
	case places > 1 || places == 1 && j.file.Info.Audio != nil && j.file.Info.Audio.Codec == "flac":
		j.note(Damaged, Ask, 0.9, countPlaces(places, "sound"))
	case places == 1:
		j.note(Damaged, OK, 0.6, countPlaces(places, "sound"))
	}
}

// countPlaces says how many places of the sound or the picture do not decode.
func countPlaces(places int, of string) phrase.Message {
	return phrase.New("found."+of+"-damaged", "count", whole(places)).One(places)
}

// place judges what alignment said, and whether the whole piece is there.
func (j *judge) place() {
	s := j.file.Sync
	if s == nil {
		return
	}
	if j.pace() && !s.Sure {
		return // where the clap is would not help
	}
	if !s.Sure {
		j.add(CueUnsure, Ask, 1-s.Confidence/2, "cue", "question", phrase.Foreign(s.Question()))
		return // without a place nothing more can be said
	}
	if heard := j.file.Sound; heard != nil && s.ClickDB < 0 {
		distance := heard.LoudDB - s.ClickDB
		if near, sure := j.limits.Under(limit.BleedDistance, distance); near {
			j.add(Bleed, Ask, sure, "click-bleed", "db", figure(distance, 0))
		}
	}
	if far, sure := j.limits.Over(limit.DriftAsk, math.Abs(s.DriftPPM)); far {
		j.add(Speed, Ask, sure, "speed", "ppm", phrase.Figure(fmt.Sprintf("%+.0f", s.DriftPPM)))
	}
	p, length := j.facts.Piece, j.file.Info.Duration
	if p == nil || length <= 0 {
		return
	}
	switch {
	case s.Offset > p.Start:
		j.add(StartsLate, Redo, 0.95, "starts-late", "seconds", figure(s.Offset-p.Start, 1))
	case s.Offset > p.Cue:
		j.add(StartsLate, OK, 0.95, "starts-after-clap")
	}
	missing := p.End - (s.Offset + length)
	if early, sure := j.limits.Over(limit.EndsEarly, missing); early {
		j.add(EndsEarly, Ask, sure, "ends-early", "seconds", figure(missing, 1))
	}
}

// pace judges whether the playing fits another tempo than the guide's, and tells
// whether it does. Chance makes pulses of any tempo in sounds that have none,
// and music may have pulses that are not the guide's; so the other has to be
// strong, and much stronger than all that are.
func (j *judge) pace() bool {
	p := j.file.Pace
	if p == nil || p.Notes == 0 {
		return false
	}
	strong, sure := j.limits.Over(limit.OtherPulse, p.Other)
	// A pulse by chance has a power of 1.
	apart, sureApart := j.limits.Over(limit.OtherOver, p.Other/max(1, p.Guide))
	if !strong || !apart {
		return false
	}
	sure = min(sure, sureApart)
	tempo := phrase.New("found.tempo", "percent", figure(100*p.Ratio, 1))
	if t := j.facts.Piece; t != nil && t.BPM > 0 {
		tempo = phrase.New("found.tempo-beats", "percent", figure(100*p.Ratio, 1), "bpm", figure(t.BPM*p.Ratio, 0),
			"guide", figure(t.BPM, 0))
	}
	// A file taken for another rate than it was recorded at: the usual two. The
	// ratio is known to about half a thousandth.
	if math.Abs(math.Abs(math.Log(p.Ratio))-math.Log(48000.0/44100)) < 8e-4 {
		j.add(Speed, Ask, sure, "speed-rate", "tempo", tempo)
		return true
	}
	level := Ask
	if certain, _ := j.limits.Over(limit.OtherRedo, p.Other); certain && sure > 0.95 {
		level = Redo
	}
	j.add(OtherPiece, level, min(sure, 0.97), "other-piece", "tempo", tempo)
	return true
}

// clock returns seconds as m:ss.s.
func clock(seconds float64) phrase.Figure {
	tenths := int64(math.Round(seconds * 10))
	return phrase.Figure(fmt.Sprintf("%d:%02d.%d", tenths/600, tenths/10%60, tenths%10))
}
