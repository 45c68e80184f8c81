package desk

import (
	"encoding/json"
	"regexp"
	"slices"

	"ripieno/assemble/production"
)

// placesOf returns what of a production decides where takes lie, as a text that is
// another one as soon as takes have to be placed again. Where in the file it is
// written does not count.
func placesOf(man *production.Production) string {
	type take struct {
		Name, Part, Guide string
		Timing            production.Timing
		Release           production.Release
		Video, Audio      *production.File
	}
	var list []take
	for _, t := range man.Takes {
		list = append(list, take{t.Name, t.Part, t.Guide, t.Timing, t.Release, t.Video, t.Audio})
	}
	return describe(man.Tempo.Spec(), list)
}

// voicesOf returns what of a production decides how the voices of the mix sound, in
// the same way. Gains, pans, mutes, sends and the film's loudness are the page's own affair.
func voicesOf(man *production.Production) string {
	type take struct {
		Name, Section string
		Strip         production.Strip
		From, To      *production.Time
		Mute          bool // where it changes how loud the others of its section are
	}
	var list []take
	for _, t := range man.Takes {
		shared := slices.ContainsFunc(man.Sections, func(s production.Section) bool {
			return man.Mix.Ensemble || s.Name == t.Section && s.TargetLUFS != nil
		})
		strip := t.Strip
		strip.SendDB, strip.Dry = 0, false
		list = append(list, take{t.Name, t.Section, strip, t.TrimFrom, t.TrimTo, t.Mute && shared})
	}
	sections := slices.Clone(man.Sections)
	for i := range sections {
		sections[i].GainDB = 0
	}
	mix := man.Mix
	mix.LoudnessLUFS = 0
	return describe(placesOf(man), list, sections, mix, man.Picture.LeadIn, man.Picture.Tail, man.Shots)
}

// looksOf returns what of a production decides the picture, in the same way. How takes
// sound does not count.
func looksOf(man *production.Production) string {
	list := slices.Clone(man.Takes)
	for i := range list {
		t := &list[i]
		t.GainDB, t.Pan, t.Mute, t.Strip = 0, nil, false, production.Strip{}
	}
	return describe(man.Tempo.Spec(), list, man.Seats, man.Shots, man.Picture, man.Deliver)
}

// judgedOf returns what of a production decides what is said of takes, in the same way.
func judgedOf(man *production.Production) string {
	return describe(placesOf(man), looksOf(man), man.Check, man.CallSheet, man.Language, man.Title)
}

// marks are where things stand in the file.
var marks = regexp.MustCompile(`"Mark":\{[^{}]*\}`)

// describe writes values down without their places in the file.
func describe(values ...any) string {
	data, err := json.Marshal(values)
	if err != nil {
		return err.Error()
	}
	return string(marks.ReplaceAll(data, nil))
}
