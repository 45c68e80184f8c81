package intake

import (
	"context"
	"errors"
	"fmt"
	"math"

	"ripieno/assemble/fault"
	"ripieno/assemble/intake/limit"
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
		if !j.opened() {
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
	tell := func(take string, file *File, sure float64, what, otherFile, other string) {
		if told[file] {
			return // once is enough
		}
		told[file] = true
		out[take] = append(out[take], Finding{
			Code: Duplicate, Level: Redo, Sure: sure, Role: file.Role, File: file.Name,
			What: fmt.Sprintf("%s as %q of %q", what, otherFile, other), Ask: asks[Duplicate],
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
					what, sure := "the same content", 1.0
					if equal := a.Hash != "" && a.Hash == b.Hash; equal != certain {
						return
					} else if !equal {
						if told[a] && told[b] || !lines.same(a, b) {
							return
						}
						what, sure = "the same recording, saved anew,", 0.95
					}
					tell(all[i].Take, a, sure, what, b.Name, all[k].Take)
					tell(all[k].Take, b, sure, what, a.Name, all[i].Take)
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

// add notes a finding; the player is asked only when something is wanted.
func (j *judge) add(code Code, level Level, sure float64, format string, args ...any) {
	sure = min(max(sure, 0.5), 1)
	f := Finding{Code: code, Level: level, Sure: math.Round(sure*100) / 100, What: fmt.Sprintf(format, args...)}
	if level > OK {
		f.Ask = asks[code]
	}
	if j.file != nil {
		f.Role, f.File = j.file.Role, j.file.Name
	}
	j.found = append(j.found, f)
}

// take judges what belongs to no single file.
func (j *judge) take() {
	if len(j.facts.Files) == 0 {
		j.add(Missing, Ask, 1, "nothing has come yet")
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
		j.add(NoSound, Redo, 1, "the take has no sound")
	}
}

// opened judges whether the file can be looked at at all.
func (j *judge) opened() bool {
	err := j.file.Err
	if err == nil {
		return true
	}
	what := err.Error()
	if f, ok := errors.AsType[*fault.Fault](err); ok {
		what = f.What
	}
	if j.facts.Expected && errors.Is(err, ErrNotIn) {
		j.add(Missing, Ask, 1, "nothing has come yet")
	} else {
		j.add(Unreadable, Redo, 1, "%s", what)
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
		j.add(Truncated, Redo, 0.95, "the file breaks off, its sound ends after %s", clock(seconds))
	case j.file.Sound != nil && info.SoundMissing(j.file.Sound.Seconds) > 0:
		j.add(Truncated, Redo, 0.9, "the sound ends %.1f s before the file says", info.SoundMissing(j.file.Sound.Seconds))
	case info.Truncated:
		j.add(Truncated, Redo, 0.95, "the file is shorter than its own index says")
	}
	if d != nil {
		j.damaged(d.Damaged, d.Missing)
	}
	if j.file.Role == "video" && info.Video == nil {
		j.add(NoPicture, Redo, 1, "the file has no picture")
	}
	if a := info.Audio; a != nil {
		if low, sure := j.limits.Under(limit.LowRate, float64(a.Rate)); low {
			j.add(LowRate, Ask, sure, "sampled at %d Hz", a.Rate)
		}
	}
	if v, a := info.Video, info.Audio; v != nil && a != nil && v.Duration > 0 && a.Duration > 0 && !info.Truncated {
		apart := math.Abs(v.Start + v.Duration - a.Start - a.Duration)
		if far, sure := j.limits.Over(limit.LengthApart, apart); far {
			j.add(Apart, Ask, sure, "sound and picture end %.1f s apart", apart)
		}
	}
}

// damaged judges places of the sound that do not decode. A single one is common
// at the cut edges of files that were edited without coding them anew; but
// where the file has no sound for a while, or every packet stands for itself, it
// is no edge. Nobody knows whether the sound that is missing was at that place.
func (j *judge) damaged(places int, missing float64) {
	switch gone, sure := j.limits.Over(limit.MissingAsk, missing); {
	case places > 0 && gone:
		j.add(Damaged, Ask, max(0.9, sure), "%s, and the sound has gaps of %.1f s", counted(places, "of the sound"), missing)
	case places > 1 || places == 1 && j.file.Info.Audio != nil && j.file.Info.Audio.Codec == "flac":
		j.add(Damaged, Ask, 0.9, "%s", counted(places, "of the sound"))
	case places == 1:
		j.add(Damaged, OK, 0.6, "%s", counted(places, "of the sound"))
	}
}

// counted says how many places of something do not decode.
func counted(places int, of string) string {
	if places == 1 {
		return "a place " + of + " does not decode"
	}
	return fmt.Sprintf("%d places %s do not decode", places, of)
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
		j.add(CueUnsure, Ask, 1-s.Confidence/2, "needs review: %s", s.Question())
		return // without a place nothing more can be said
	}
	if heard := j.file.Sound; heard != nil && s.ClickDB < 0 {
		distance := heard.LoudDB - s.ClickDB
		if near, sure := j.limits.Under(limit.BleedDistance, distance); near {
			j.add(Bleed, Ask, sure, "clicks of the guide are heard, %.0f dB under the playing", distance)
		}
	}
	if far, sure := j.limits.Over(limit.DriftAsk, math.Abs(s.DriftPPM)); far {
		j.add(Speed, Ask, sure, "the recording's clock is %+.0f ppm off the guide's", s.DriftPPM)
	}
	p, length := j.facts.Piece, j.file.Info.Duration
	if p == nil || length <= 0 {
		return
	}
	switch {
	case s.Offset > p.Start:
		j.add(StartsLate, Redo, 0.95, "the recording begins %.1f s after the piece", s.Offset-p.Start)
	case s.Offset > p.Cue:
		j.add(StartsLate, OK, 0.95, "the recording begins after the clap")
	}
	missing := p.End - (s.Offset + length)
	if early, sure := j.limits.Over(limit.EndsEarly, missing); early {
		j.add(EndsEarly, Ask, sure, "the recording ends %.1f s before the piece", missing)
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
	times := fmt.Sprintf("%.1f %% of the guide's tempo", 100*p.Ratio)
	if t := j.facts.Piece; t != nil && t.BPM > 0 {
		times += fmt.Sprintf(", %.0f beats a minute instead of %.0f", t.BPM*p.Ratio, t.BPM)
	}
	// A file taken for another rate than it was recorded at: the usual two. The
	// ratio is known to about half a thousandth.
	if math.Abs(math.Abs(math.Log(p.Ratio))-math.Log(48000.0/44100)) < 8e-4 {
		j.add(Speed, Ask, sure, "the playing runs at %s, as when 44.1 kHz are taken for 48 or the other way round; or it is another tempo", times)
		return true
	}
	level := Ask
	if certain, _ := j.limits.Over(limit.OtherRedo, p.Other); certain && sure > 0.95 {
		level = Redo
	}
	j.add(OtherPiece, level, min(sure, 0.97), "the playing fits no place of the guide; it runs at about %s, and may be another piece or another tempo", times)
	return true
}

// clock is seconds as m:ss.s.
func clock(seconds float64) string {
	tenths := int64(math.Round(seconds * 10))
	return fmt.Sprintf("%d:%02d.%d", tenths/600, tenths/10%60, tenths%10)
}
