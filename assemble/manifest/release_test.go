package manifest

import (
	"ripieno/assemble/production"
	"strings"
	"testing"
)

const releaseHead = `version: 1
title: Small Round
tempo: {changes: [{measure: 1, meter: 4/4, bpm: 120}], measures: 8}
deliver: [{name: final, canvas: 320x180}]
`

func parseReleases(t *testing.T, text string) *production.Production {
	t.Helper()
	p, err := Parse("production.yaml", []byte(releaseHead+text))
	if err != nil {
		t.Fatal(err)
	}
	return p
}

// TestRelease: a take's own word beats the manifest's, and nothing written is
// nothing known.
func TestRelease(t *testing.T) {
	takes := `takes:
  - {name: a, player: Mara Voss, video: {file: a.mov}}
  - {name: b, player: Otto Larch, video: {file: b.mov}, release: audio-only}
  - {name: c, player: Pia Lund, video: {file: c.mov}, release: no}
  - {name: d, player: Ilse Brandt, video: {file: d.mov}, release: yes, hide_name: true}
`
	for _, c := range []struct {
		top  string
		want []production.Release
	}{
		{"", []production.Release{production.ReleaseMissing, production.ReleaseAudioOnly, production.ReleaseNo,
			production.ReleaseYes}},
		{"release: yes\n", []production.Release{production.ReleaseYes, production.ReleaseAudioOnly,
			production.ReleaseNo,
			production.ReleaseYes}},
		{"release: audio-only\n", []production.Release{production.ReleaseAudioOnly, production.ReleaseAudioOnly,
			production.ReleaseNo, production.ReleaseYes}},
	} {
		p := parseReleases(t, c.top+takes)
		for i, want := range c.want {
			if got := p.Takes[i].Release; got != want {
				t.Errorf("%q, take %s: %q, want %q", c.top, p.Takes[i].Name, got, want)
			}
		}
		for i, want := range []string{"Mara Voss", "Otto Larch", "", ""} {
			if got := p.Takes[i].PublicName(); got != want {
				t.Errorf("%q, take %s is shown as %q, want %q", c.top, p.Takes[i].Name, got, want)
			}
		}
	}
	for release, want := range map[production.Release]bool{production.ReleaseMissing: true, production.ReleaseYes: true,
		production.ReleaseAudioOnly: false,
		production.ReleaseNo:        false} {
		if got := (production.Take{Release: release}).ShowsPicture(); got != want {
			t.Errorf("release %q shows a picture: %v", release, got)
		}
	}
}

// TestHiddenNames: no text of the film says a name that is hidden, and a text
// that only looks like it is left alone.
func TestHiddenNames(t *testing.T) {
	const takes = "takes:\n  - {name: a, player: Al Moss, part: Viola, video: {file: a.mov}, hide_name: true}\n"
	for _, c := range []struct {
		text   string
		refuse bool
	}{
		{"ensemble: Al Moss and friends\n", true},
		{"chapters: [{at: m1, name: al  moss alone}]\n", true},
		{"notes: [{from: m1, to: m2, text: (Al Moss)}]\n", true},
		{"shots: [{from: start, show: card, text: \"Viola\\nAl Moss\"}]\n", true},
		{"conductor: Al Moss\n", true},
		{"arranger: Al Moss\n", true},
		{"lyricist: after Al Moss\n", true},
		{"occasion: For Al Moss\n", true},
		{"credits: [{role: thanks, name: Ann and Al Moss}]\n", true},
		{"credits: [{role: Cakes by Al Moss, name: everybody}]\n", true},
		{"credits: [{role: thanks, name: Val Moss}]\n", false},
		{"guide: {variants: [{name: al-moss, from: m2}]}\n", true},
		{"composer: Val Moss\n", false},
		{"composer: Al Mossberg\n", false},
		{"composer: Val Mossal Moss\n", false},
		{"composer: Val Moss, Al Moss\n", true},
		{"chapters: [{at: m1, name: Viola alone}]\n", false},
		{"sections: [{name: Al Moss}]\n", true},
		{"callsheet: {notes: Al Moss collects them}\n", true},
		{"callsheet: {contact: Al Moss}\n", false}, // who is asked says so of their own will
	} {
		_, err := Parse("production.yaml", []byte(releaseHead+c.text+takes))
		if (err != nil) != c.refuse {
			t.Errorf("%s: %v", strings.TrimSpace(c.text), err)
		}
		if shown := strings.Replace(takes, ", hide_name: true", "", 1); c.refuse {
			if _, err := Parse("production.yaml", []byte(releaseHead+c.text+shown)); err != nil {
				t.Errorf("%s, with the name shown: %v", strings.TrimSpace(c.text), err)
			}
		}
	}
}

// TestTellingNames: a word of the player's name tells who it is, one of the part
// does not.
func TestTellingNames(t *testing.T) {
	for _, c := range []struct {
		player, part, name string
		tells              bool
	}{
		{"Mara Voss", "Oboe", "intake/mara.mov", true},
		{"Mara Voss", "Oboe", "intake/Voss_final(2).MP4", true},
		{"Mara Voss", "Oboe", "maravoss.wav", true},
		{"Mara Voss", "Oboe", "oboe-1", false},
		{"Mara Voss", "Oboe", "maraca.mov", false},
		{"Viola Berg", "Viola", "viola-2", false},
		{"Viola Berg", "Viola", "viola-berg", true},
		{"Ed O", "Horn", "take-o.mov", false},
		{"Jürgen Åß", "Horn", "JÜRGEN.mov", true},
		{"李 雷", "Horn", "李.mov", true},
		{"", "Horn", "horn.mov", false},
	} {
		if got := (production.Take{Player: c.player, Part: c.part}).TellsName(c.name); got != c.tells {
			t.Errorf("%q of %q: %v", c.name, c.player, got)
		}
	}
}

// TestATakeIsNotNamedAfterSomebodyHidden: its name stands on pages and in the
// names of files.
func TestATakeIsNotNamedAfterSomebodyHidden(t *testing.T) {
	for text, refuse := range map[string]bool{
		"{name: mara, player: Mara Voss, video: {file: mara.mov}, hide_name: true}":               true,
		"{name: mara, player: Mara Voss, video: {file: mara.mov}}":                                false,
		"{name: mara, player: Mara Voss, video: {file: mara.mov}, release: no}":                   false,
		"{name: oboe, player: Mara Voss, video: {file: mara.mov}, hide_name: true}":               false,
		"{name: oboe, player: Mara Voss, part: Mara Voss, video: {file: a.mov}, hide_name: true}": true,
	} {
		_, err := Parse("production.yaml", []byte(releaseHead+"takes:\n  - "+text+"\n"))
		if (err != nil) != refuse {
			t.Errorf("%s: %v", text, err)
		}
	}
}
