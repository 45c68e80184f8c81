package manifest

import (
	"fmt"
	"math"
	"strings"
	"testing"
	"time"

	"ripieno/assemble/production"
	"ripieno/mix/click"
	"ripieno/mix/tempo"
)

// A piece of 8 measures of 4/4 at 120 after a count-in of 8: 2 s a measure,
// measure 1 at 16 s.
func TestGuideSettings(t *testing.T) {
	p := parse(t, head+`guide:
  pitch: 442
  tail: 2.5
  levels: {click: -3, drone: off}
  subdivisions: written
  count_tones: true
  drone: [{measure: 3, note: G2, fifth: equal}, {measure: count-in, note: D3, fifth: just}, {measure: 5, note: none}]
  variants:
    - {name: plain, levels: {drone: +2}, subdivisions: 1, count_tones: false}
    - {name: part, from: m3, to: m7, with: mix}
    - {name: rest, from: m3, with: others}
    - {name: first, to: m3}
takes:
  - {name: a, expected: true, guide: part}
  - {name: b, expected: true, guide: part, trim: {from: m1, to: end}}
  - {name: c, expected: true, guide: rest}
  - {name: d, expected: true, guide: plain}
`)
	g := p.Guide
	if g.PitchHz != 442 || g.Tail != 2.5 || g.ClickDB != -3 || !math.IsInf(g.DroneDB, -1) || g.MixDB != 0 ||
		g.Subdivisions != click.Written || !g.CountTones {
		t.Errorf("%+v", g)
	}
	// In order of time, with their fifths.
	if d := g.Drone; len(d) != 3 || !d[0].CountIn || d[0].Note != "D3" || !d[0].Fifth || d[0].EqualFifth ||
		d[0].From.Seconds != 0 ||
		d[1].From.Seconds != 20 || !d[1].EqualFifth || d[1].CountIn || d[2].Note != "" {
		t.Errorf("%+v", d)
	}
	plain, part, rest, first := g.Variants[0], g.Variants[1], g.Variants[2], g.Variants[3]
	if plain.DroneDB != 2 || plain.ClickDB != -3 || plain.Subdivisions != 1 || plain.CountTones || plain.To != 0 ||
		plain.Tempo != p.Tempo || plain.With != "" {
		t.Errorf("%+v", plain)
	}
	if part.From != 3 || part.To != 7 || part.With != "mix" || part.Tempo.Measures() != 4 ||
		part.Subdivisions != click.Written {
		t.Errorf("%+v", part)
	}
	near(t, "offset of measures 3 to 6", part.Shift, 4)
	near(t, "their end", part.Tempo.End()+part.Shift, 28)
	near(t, "their cue", part.Tempo.Cue(), 8)
	if rest.To != 9 || rest.Tempo.Measures() != 6 || first.From != 1 || first.To != 3 || first.Shift != 0 ||
		first.Tempo.Measures() != 2 {
		t.Errorf("%+v %+v", rest, first)
	}
	if g.Variant("rest") != &p.Guide.Variants[2] && g.Variant("rest").Name != "rest" || g.Variant("none") != nil {
		t.Error("looking variants up")
	}
	a, b, c, d := p.Takes[0], p.Takes[1], p.Takes[2], p.Takes[3]
	if a.Guide != "part" || a.TrimFrom.Seconds != 20 || a.TrimTo.Seconds != 28 || a.TrimFrom.Text != "m3" ||
		a.TrimTo.Text != "m7" {
		t.Errorf("%+v %+v", a.TrimFrom, a.TrimTo)
	}
	if b.TrimFrom.Seconds != 16 || b.TrimTo.Edge != production.FilmEnd || c.TrimFrom.Seconds != 20 || c.TrimTo != nil ||
		d.TrimFrom != nil || d.TrimTo != nil {
		t.Errorf("%+v %+v %+v", b, c, d)
	}
}

func TestGuideDefaults(t *testing.T) {
	g := parse(t, head).Guide
	if g.PitchHz != 440 || g.Tail != 4 || g.ClickDB != 0 || g.DroneDB != 0 || g.MixDB != 0 || g.Subdivisions != 0 ||
		g.CountTones || g.Variants != nil {
		t.Errorf("%+v", g)
	}
}

// A part of a piece with a pick-up, a ramp and a hold: every place of it is
// the same moment of guide time as in the whole piece.
func TestPartsKeepTheirTime(t *testing.T) {
	p := parse(t, `version: 1
title: T
tempo:
  count_in: {measures: 4}
  pick_up: 1
  changes: [{measure: 1, meter: 3/4, bpm: 100}, {measure: 4, ramp_to: 60, until: 9}, {measure: 10, meter: 3+2/8, bpm: 120}]
  measures: 14
  holds: [{at: m7.2, seconds: 1.5}]
guide: {variants: [{name: a, from: m5, to: m13}, {name: b, to: m12}, {name: c, from: m8}]}
`)
	for _, v := range p.Guide.Variants {
		for n := v.From; n < v.To; n++ {
			for beat := 1.0; beat <= 2; beat += 0.25 {
				whole, err := p.Tempo.Seconds(position(n, beat))
				if err != nil {
					t.Fatal(err)
				}
				part, err := v.Tempo.Seconds(position(n-v.From+1, beat))
				if err != nil {
					t.Fatal(err)
				}
				if math.Abs(part+v.Shift-whole) > 1e-9 {
					t.Errorf("%s: measure %d beat %g is at %.9f, want %.9f", v.Name, n, beat, part+v.Shift, whole)
				}
			}
		}
	}
}

func TestCallSheetSettings(t *testing.T) {
	c := parse(t, head+`callsheet:
  language: it
  due: 2031-06-12T09:05
  send_to: https://drop.example.org/round
  contact: Mara Voss
  notes: |
    One.

    Two, with a "quote".
  strings: {clap: mani!, step-hold: "Fermi {tail} secondi."}
`).CallSheet
	if c.Language != "it" || c.DueClock != "09:05" || !c.DueDay.Equal(time.Date(2031, 6, 12, 0, 0, 0, 0, time.UTC)) ||
		c.SendTo != "https://drop.example.org/round" || c.Contact != "Mara Voss" ||
		!strings.HasPrefix(c.Notes, "One.\n\nTwo") ||
		len(c.Strings) != 2 || c.Strings["clap"] != "mani!" {
		t.Errorf("%+v", c)
	}
	for text, day := range map[string]int{"2031-06-12": 12, "the week after Easter": 0, "12 June": 0,
		"2032-02-29": 29} {
		c := parse(t, head+"callsheet: {due: "+text+"}\n").CallSheet
		if c.Due != text || c.DueDay.IsZero() != (day == 0) || day != 0 && c.DueDay.Day() != day || c.DueClock != "" {
			t.Errorf("%+v", c)
		}
	}
	if c := parse(t, head).CallSheet; c.Language != "en" || c.Due != "" || c.Strings != nil || !c.DueDay.IsZero() {
		t.Errorf("%+v", c)
	}
}

func position(measure int, beat float64) tempo.Position {
	return tempo.Position{Measure: measure, Beat: beat}
}

// Variants have a tempo map each, so there is a bound on them.
func TestTooManyVariants(t *testing.T) {
	text := head + "guide:\n  variants:\n"
	for i := range maxVariants + 1 {
		text += fmt.Sprintf("    - {name: v%d, from: m2}\n", i)
	}
	_, err := Parse("production.yaml", []byte(text))
	if err == nil || err.Error() != "production.yaml:5:3: the guide has 201 variants" {
		t.Error(err)
	}
}

// The conductor's film is a recording of its own, with what the manifest says of its place
// and picture; whether the players may see it is said of the production unless it is said of
// the film. Without the key there is nobody.
func TestConductor(t *testing.T) {
	for _, c := range []struct {
		what, text string
		release    production.Release
		shown      bool
		cue        float64 // NaN: none
		offset     float64
		turn       int // −1: none
	}{
		{"nothing but the film", "guide: {conductor: {video: intake/beat.mp4}}", "", true, math.NaN(), math.NaN(), -1},
		{"all that can be said",
			"guide: {conductor: {video: intake/beat.mp4, cue_at: 0:11.5, rotate: 270, release: yes}}",
			production.ReleaseYes, true, 11.5, math.NaN(), 270},
		{"of a production that is released", "release: yes\nguide: {conductor: {video: intake/beat.mp4, offset: -3}}",
			production.ReleaseYes, true, math.NaN(), -3, -1},
		{"not of the film", "release: yes\nguide: {conductor: {video: intake/beat.mp4, release: no}}",
			production.ReleaseNo, false, math.NaN(), math.NaN(), -1},
		{"of the sound alone", "release: audio-only\nguide: {conductor: {video: intake/beat.mp4}}",
			production.ReleaseAudioOnly, false, math.NaN(), math.NaN(), -1},
	} {
		p, err := Parse(FileName, []byte(head+c.text+"\n"))
		if err != nil {
			t.Errorf("%s: %v", c.what, err)
			continue
		}
		got := p.Guide.Conductor
		if got == nil || got.Video.Path != "intake/beat.mp4" || got.Release != c.release ||
			got.ShowsPicture() != c.shown ||
			(got.Video.CueAt == nil) != math.IsNaN(c.cue) || got.Video.CueAt != nil && *got.Video.CueAt != c.cue ||
			(got.Video.Offset == nil) != math.IsNaN(c.offset) || got.Video.Offset != nil &&
			*got.Video.Offset != c.offset ||
			(got.Video.Rotate == nil) != (c.turn < 0) || got.Video.Rotate != nil && *got.Video.Rotate != c.turn {
			t.Errorf("%s: %+v", c.what, got)
		}
	}
	if p, err := Parse(FileName, []byte(head)); err != nil || p.Guide.Conductor != nil {
		t.Errorf("without the key: %+v, %v", p.Guide.Conductor, err)
	}
}
