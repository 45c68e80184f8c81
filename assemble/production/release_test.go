package production

import "testing"

// Which of a take's parts may go into what is made follows from its release alone:
// the table is that of the README. A name that is hidden, or of somebody who agreed
// to nothing, is in nothing that is published.
func TestReleases(t *testing.T) {
	for _, c := range []struct {
		release  Release
		word     string
		picture  bool
		withheld bool
		name     string
	}{
		{ReleaseMissing, "missing", true, false, "Mara Voss"},
		{ReleaseYes, "yes", true, false, "Mara Voss"},
		{ReleaseAudioOnly, "audio-only", false, false, "Mara Voss"},
		{ReleaseNo, "no", false, true, ""},
		{"perhaps", "perhaps", false, false, "Mara Voss"}, // no such word: nothing is shown on a guess
	} {
		take := Take{Player: "Mara Voss", Release: c.release}
		if got := c.release.Word(); got != c.word {
			t.Errorf("%q is called %q, want %q", c.release, got, c.word)
		}
		if got := take.ShowsPicture(); got != c.picture {
			t.Errorf("%s: shows the picture: %v", c.word, got)
		}
		if got := take.IsWithheld(); got != c.withheld {
			t.Errorf("%s: withheld: %v", c.word, got)
		}
		if got := take.PublicName(); got != c.name {
			t.Errorf("%s: named %q, want %q", c.word, got, c.name)
		}
		take.HideName = true
		if got := take.PublicName(); got != "" {
			t.Errorf("%s: a hidden name is %q", c.word, got)
		}
	}
}

// The name of a file tells who plays when a word of the player's name is in it, or
// all of it run together; words that part and section have as well tell nothing, nor
// do initials and particles.
func TestNamesThatTell(t *testing.T) {
	for _, c := range []struct {
		player, part, section, file string
		want                        bool
	}{
		{"Mara Voss", "Oboe 1", "winds", "mara.mov", true},
		{"Mara Voss", "Oboe 1", "winds", "MARA-2.MOV", true},
		{"Mara Voss", "Oboe 1", "winds", "voss_take3.wav", true},
		{"Mara Voss", "Oboe 1", "winds", "maravoss.mp4", true},
		{"Mara Voss", "Oboe 1", "winds", "my-maravoss-final.mp4", true},
		{"Mara Voss", "Oboe 1", "winds", "oboe-1.mov", false},
		{"Mara Voss", "Oboe 1", "winds", "samara.mov", false}, // a part of a longer word
		{"Mara Voss", "Oboe 1", "winds", "IMG_0042.MOV", false},
		{"Mara Voss", "Oboe 1", "winds", "", false},
		{"Bo Li", "Horn", "brass", "bo.mov", false},   // two letters could be anything
		{"Bo Li", "Horn", "brass", "boli.mov", true},  // both together say it
		{"Bo Li", "Horn", "brass", "bo-li.mov", true}, // with whatever stands between
		{"Viola Brandt", "Viola", "strings", "viola-2.mov", false},
		{"Viola Brandt", "Viola", "strings", "brandt.mov", true},
		{"Ada Winds", "Flute", "winds", "winds.wav", false},
		{"Ada Winds", "Flute", "winds", "adawinds.wav", true},
		{"李", "Erhu", "", "李.mov", true}, // one character is a name
		{"李", "李", "", "李.mov", false},
		{"Åse Ørn", "Harp", "", "ÅSE.mov", true},
		{"Straße", "Harp", "", "STRASSE.mov", false}, // folding is letter by letter: ß has no capital of one letter
		{"", "Harp", "", "harp.mov", false},
		{"", "", "", "", false},
		{"42", "Harp", "", "42.mov", false}, // no letters, so no word
	} {
		take := Take{Player: c.player, Part: c.part, Section: c.section}
		if got := take.TellsName(c.file); got != c.want {
			t.Errorf("%q of %q (%q, %q) tells the name: %v", c.file, c.player, c.part, c.section, got)
		}
	}
}

// Whatever somebody remarks, it names nobody whose name is not to be shown.
func TestTextsOfOthers(t *testing.T) {
	p := &Production{Takes: []Take{
		{Name: "a", Player: "Mara Voss", Part: "Oboe"},
		{Name: "b", Player: "Will Rosenbaum", Part: "Horn", Section: "Brass", HideName: true},
		{Name: "c", Player: "Bo Li", Part: "Viola", Release: ReleaseNo},
		{Name: "take-d", Player: "Viola Berg", HideName: true},
	}}
	for text, want := range map[string]string{
		"":                                     "",
		"Mara, softer!":                        "Mara, softer!",
		"Will Rosenbaum, softer!":              "Horn, softer!",
		"WILL  ROSENBAUM and Mara":             "Horn and Mara",
		"rosenbaum's note; you will hear it":   "Horn's note; you will hear it",
		"Will: late":                           "Horn: late",
		"bo li or Bo, or li":                   "… or Bo, or li",
		"(Berg) viola, Viola Berg":             "(take-d) take-d, take-d",
		"Rosenbaumer, Samara, Oboe, Brass: ok": "Rosenbaumer, Samara, Oboe, Brass: ok",
	} {
		if got := p.Discreet(text); got != want {
			t.Errorf("%q becomes %q, want %q", text, got, want)
		}
	}
}
