package manifest

import (
	"cmp"
	"fmt"
	"path"
	"ripieno/assemble/production"
	"slices"
	"strconv"
	"strings"
	"unicode"
	"unicode/utf8"
)

// ScaffoldFile is a recording that was found in a production's folder.
type ScaffoldFile struct {
	Path               string // with slashes, relative to the folder
	HasVideo, HasAudio bool   // what a look into it found
}

// Scaffold is what a first production.yaml is drafted from.
type Scaffold struct {
	Title  string
	Files  []ScaffoldFile
	Score  string // with slashes, relative to the folder; "" for none
	People []Person
}

// Write drafts a production.yaml for recordings whose names are all that
// is known, and for people who are still to record. One player's camera and
// microphone become one take; player, part and section are guessed from the names of
// files and folders; takes stand in the order of a score, people in their own. The
// result loads without a fault when the score does, depends on what it is drafted
// from only, not on the order of files, and has the places to edit marked: the tempo
// above all, which no recording tells.
//
// unguessed says in plain words what is missing or doubtful, for the person
// to fill in. Files without picture and sound, and those whose names cannot
// be written in a manifest, are left out and named there.
func (s Scaffold) Write() (yaml []byte, unguessed []string) {
	d := draft{title: cleanTitle(s.Title), score: s.Score}
	var usable []ScaffoldFile
	for _, f := range sortedFiles(s.Files) {
		switch what, _ := pathFault(f.Path); {
		case what != "":
			d.doubt("%s; it is left out", what)
		case !writable(f.Path):
			d.doubt("%q cannot be written in a manifest; it is left out until it has another name", f.Path)
		case !f.HasVideo && !f.HasAudio:
			d.doubt("%s: neither picture nor sound; it is left out", f.Path)
		default:
			usable = append(usable, f)
		}
	}
	d.group(guessAll(usable, d.title))
	d.order()
	d.invite(s.People)
	d.name()
	for _, t := range d.takes {
		d.review(t)
	}
	if d.score == "" {
		d.doubt("tempo: count-in, meter, bpm and number of measures are placeholders; no recording tells them")
	} else {
		d.doubt("tempo: the count-in is a placeholder; the score does not tell it")
	}
	return d.write(), d.doubts
}

// draft is a manifest while it is drafted.
type draft struct {
	title  string
	score  string
	takes  []*draftTake
	doubts []string
}

// draftTake is one take; its guess is of the video, or of the audio alone,
// filled up from the other. Of a person who is still to record it has no files.
type draftTake struct {
	guess
	name         string
	video, audio string
	Person       // what a list of players says
}

// playerName returns the player's name, of the list before that of the file's name.
func (t *draftTake) playerName() string { return cmp.Or(t.Person.Player, t.guess.player) }

// partName returns the part for labels.
func (t *draftTake) partName() string { return cmp.Or(t.Person.Part, t.label()) }

// invite adds the people of a list: to the take of that player, or as a take that is
// still to come. Two takes of one player are a question that the list does not
// answer; that person then becomes a third, for somebody to see and mend.
func (d *draft) invite(people []Person) {
	sections := map[string]string{} // as first written, without regard to capitals
	for _, p := range people {
		if first, ok := sections[production.Fold(p.Section)]; ok {
			p.Section = first
		} else {
			sections[production.Fold(p.Section)] = p.Section
		}
		var match []*draftTake
		for _, t := range d.takes {
			if p.Player != "" && t.Person == (Person{}) && plainWord(t.guess.player) == plainWord(p.Player) {
				match = append(match, t)
			}
		}
		if len(match) == 1 {
			match[0].Person = p
			continue
		}
		g := guessName(p.Part, nil)
		d.takes = append(d.takes, &draftTake{guess: guess{kind: g.kind, number: g.number}, Person: p})
	}
	for _, t := range d.takes { // what is guessed is spelt as the list spells it
		if listed := sections[production.Fold(t.sectionName())]; listed != "" {
			t.Section = listed
		}
	}
}

// doubt notes what a person has to look at.
func (d *draft) doubt(format string, args ...any) {
	d.doubts = append(d.doubts, fmt.Sprintf(format, args...))
}

// sortedFiles returns the files in the order of their paths, each once.
func sortedFiles(files []ScaffoldFile) []ScaffoldFile {
	sorted := slices.Clone(files)
	slices.SortFunc(sorted, func(a, b ScaffoldFile) int { return strings.Compare(a.Path, b.Path) })
	return slices.CompactFunc(sorted, func(a, b ScaffoldFile) bool { return a.Path == b.Path })
}

// writable reports whether a path survives being a one-line text of YAML, and is read as
// the same path on every system. A backslash is a name's part on one system and parts
// folders on another.
func writable(p string) bool {
	return utf8.ValidString(p) && utf8.RuneCountInString(p) <= maxPath && strings.TrimSpace(p) != "" &&
		!strings.Contains(p, `\`) && !strings.ContainsFunc(p, unicode.IsControl)
}

// cleanTitle returns a title of one line.
func cleanTitle(title string) string {
	title = strings.Map(func(r rune) rune {
		if unicode.IsControl(r) {
			return ' '
		}
		return r
	}, strings.ToValidUTF8(title, ""))
	r := []rune(strings.TrimSpace(title))
	return cmp.Or(strings.TrimSpace(string(r[:min(len(r), maxLine)])), "Untitled")
}

// group makes takes: every video is one, and every sound joins the one video
// it fits best or is a take of its own.
func (d *draft) group(all []guess) {
	var videos, sounds []guess
	for _, g := range all {
		if g.file.HasVideo {
			videos = append(videos, g)
		} else {
			sounds = append(sounds, g)
		}
	}
	// By player and part: the file that came first.
	first := map[[2]string]string{}
	for _, g := range videos {
		who := [2]string{plainWord(g.player), g.part()}
		if other := first[who]; other != "" && g.player != "" {
			d.doubt("%s: the same player and part as %s; both are takes, delete one if it is another try", g.file.Path,
				other)
		}
		first[who] = g.file.Path
		d.takes = append(d.takes, &draftTake{guess: g, video: g.file.Path})
	}
	// Sure pairs first, so that a vague fit never takes another's place. A sound that
	// fits two takes equally well is never given to one of them: the wrong one would
	// be heard under somebody's picture.
	for _, fits := range []func(v *draftTake, s guess) bool{sameStem, samePlayerAndPart, samePlayer, samePart,
		namesake} {
		var rest []guess
		for _, s := range sounds {
			var match []*draftTake
			for _, t := range d.takes {
				if t.video != "" && t.audio == "" && fits(t, s) {
					match = append(match, t)
				}
			}
			if len(match) == 1 {
				match[0].join(s)
				continue
			}
			if len(match) > 1 {
				d.doubt("%s: could belong to %s or %s; it is a take of its own", s.file.Path, match[0].video,
					match[1].video)
				d.takes = append(d.takes, &draftTake{guess: s, audio: s.file.Path})
				continue
			}
			rest = append(rest, s)
		}
		sounds = rest
	}
	for _, s := range sounds {
		d.takes = append(d.takes, &draftTake{guess: s, audio: s.file.Path})
	}
}

// sameStem reports whether two files differ in their ending alone.
func sameStem(t *draftTake, s guess) bool {
	return t.stem == s.stem && path.Dir(t.video) == path.Dir(s.file.Path)
}

// samePlayerAndPart reports whether a file names the player and the part of a take.
func samePlayerAndPart(t *draftTake, s guess) bool {
	return s.player != "" && plainWord(t.player) == plainWord(s.player) && t.part() == s.part()
}

// samePlayer: one of the two names says nothing of the part, or not its number.
func samePlayer(t *draftTake, s guess) bool {
	return s.player != "" && plainWord(t.player) == plainWord(s.player) &&
		(t.kind < 0 || s.kind < 0 || t.kind == s.kind && (t.number == 0 || s.number == 0))
}

// samePart: one of the two names says nothing of the player.
func samePart(t *draftTake, s guess) bool {
	return s.kind >= 0 && t.part() == s.part() && (t.player == "" || s.player == "")
}

// namesake: one of the two has the first or last name only.
func namesake(t *draftTake, s guess) bool {
	short, long := wordSet(plainWord(t.player)), wordSet(plainWord(s.player))
	if len(short) > len(long) {
		short, long = long, short
	}
	for w := range short {
		if !long[w] {
			return false
		}
	}
	return len(short) > 0 && (t.kind < 0 || s.kind < 0 || t.part() == s.part())
}

// join adds a sound to a take with a picture. What the picture's name says goes
// before what the sound's name says.
func (t *draftTake) join(s guess) {
	t.audio = s.file.Path
	t.player = cmp.Or(t.player, s.player)
	if t.kind < 0 {
		t.kind, t.number = s.kind, s.number
	}
	t.number = cmp.Or(t.number, s.number)
	t.other = cmp.Or(t.other, s.other)
}

// order sorts takes as a score has them; takes without a part come last. instruments
// is in the order of a score. Sorting is stable and ends with the file, so the draft
// is the same whatever order a disk lists files in.
func (d *draft) order() {
	slices.SortStableFunc(d.takes, func(a, b *draftTake) int {
		if (a.kind < 0) != (b.kind < 0) {
			return b.kind - a.kind // the one below zero last
		}
		return cmp.Or(cmp.Compare(a.kind, b.kind), cmp.Compare(a.number, b.number),
			strings.Compare(a.player, b.player), strings.Compare(a.video+a.audio, b.video+b.audio))
	})
}

// name gives every take a name of its own: after its part, with the player
// where several have that part, else after the player or the file.
func (d *draft) name() {
	count := map[string]int{}
	for _, t := range d.takes {
		count[production.Slug(t.part())]++
	}
	used := map[string]bool{}
	for _, t := range d.takes {
		name := production.Slug(t.part())
		if name == "" {
			name = cmp.Or(production.Slug(t.playerName()), production.Slug(t.stem), production.Slug(t.partName()),
				"take")
		} else if count[name] > 1 && t.playerName() != "" {
			name = production.Slug(t.part() + " " + t.playerName())
		}
		t.name = name
		for n := 2; used[production.Fold(t.name)]; n++ {
			end := "-" + strconv.Itoa(n)
			// So short that the number fits.
			r := []rune(name)
			t.name = string(r[:min(len(r), production.MaxName-len(end))]) + end
		}
		used[production.Fold(t.name)] = true
	}
}

// review notes what is doubtful about a take.
func (d *draft) review(t *draftTake) {
	file := cmp.Or(t.video, t.audio)
	switch {
	case file == "": // of the list
		if t.playerName() == "" {
			d.doubt("%s: nobody plays it yet", t.partName())
		}
		return
	case t.playerName() == "" && t.partName() == "":
		d.doubt("%s: no player and no part in the file name", file)
	case t.playerName() == "":
		d.doubt("%s: no player in the file name", file)
	case t.partName() == "":
		d.doubt("%s: no part in the file name", file)
	}
	if t.audio == "" && !t.file.HasAudio {
		d.doubt("%s: no sound in it, and no recording beside it", file)
	}
	if t.other != "" {
		d.doubt("%s: %q and %q may both be the part; the second is taken", file, t.other, t.part())
	}
}
