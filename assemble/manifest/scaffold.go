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

// Scaffold drafts a production.yaml for recordings whose names are all that
// is known. One player's camera and microphone become one take; player, part
// and section are guessed from the names of files and folders; takes stand in
// the order of a score. The result loads without a fault, depends on the
// files and the title only, not on the order of files, and has the places to
// edit marked: the tempo above all, which no recording tells.
//
// unguessed says in plain words what is missing or doubtful, for the person
// to fill in. Files without picture and sound, and those whose names cannot
// be written in a manifest, are left out and named there.
func Scaffold(files []ScaffoldFile, title string) (yaml []byte, unguessed []string) {
	d := draft{title: cleanTitle(title)}
	var usable []ScaffoldFile
	for _, f := range sortedFiles(files) {
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
	d.name()
	for _, t := range d.takes {
		d.review(t)
	}
	d.doubt("tempo: count-in, meter, bpm and number of measures are placeholders; no recording tells them")
	return d.write(), d.doubts
}

// draft is a manifest while it is drafted.
type draft struct {
	title  string
	takes  []*draftTake
	doubts []string
}

// draftTake is one take; its guess is of the video, or of the audio alone,
// filled up from the other.
type draftTake struct {
	guess
	name         string
	video, audio string
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
// the same path on every system.
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
	// Sure pairs first, so that a vague fit never takes another's place.
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

// join adds a sound to a take with a picture.
func (t *draftTake) join(s guess) {
	t.audio = s.file.Path
	t.player = cmp.Or(t.player, s.player)
	if t.kind < 0 {
		t.kind, t.number = s.kind, s.number
	}
	t.number = cmp.Or(t.number, s.number)
	t.other = cmp.Or(t.other, s.other)
}

// order sorts takes as a score has them; takes without a part come last.
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
			name = cmp.Or(production.Slug(t.player), production.Slug(t.stem), "take")
		} else if count[name] > 1 && t.player != "" {
			name = production.Slug(t.part() + " " + t.player)
		}
		t.name = name
		for n := 2; used[production.Fold(t.name)]; n++ {
			end := "-" + strconv.Itoa(n)
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
	case t.player == "" && t.kind < 0:
		d.doubt("%s: no player and no part in the file name", file)
	case t.player == "":
		d.doubt("%s: no player in the file name", file)
	case t.kind < 0:
		d.doubt("%s: no part in the file name", file)
	}
	if t.audio == "" && !t.file.HasAudio {
		d.doubt("%s: no sound in it, and no recording beside it", file)
	}
	if t.other != "" {
		d.doubt("%s: %q and %q may both be the part; the second is taken", file, t.other, t.part())
	}
}

const draftHead = `# One film. Whatever follows a # is a comment. Times are seconds (12.5), minutes
# (01:12.500), a measure (m33) or a beat in it (m33.2).
version: 1
title: %s
# composer: , ensemble: and dedication: are for the title card

# EDIT: tempo and meter of your piece. They make the click track that everybody
# plays to, and tell sync where the clap is.
tempo:
  count_in: {measures: 8, cue: {measure: 5, beat: 1}} # all clap on the cue
  changes:
    - {measure: 1, meter: 4/4, bpm: 100}              # EDIT: the beginning
    # - {measure: 41, meter: 6/8, beat: dotted-quarter, bpm: 72}
    # - {measure: 60, ramp_to: 54, until: 64}         # slowing down to 54
  measures: 32                                        # EDIT: how many there are

# guide: {pitch: 442, drone: [{measure: 1, note: D3, fifth: true}]}
`

const draftRelease = `
# EDIT: what the players, or the guardians of minors, agreed to have published:
# yes, audio-only or no. The finished film waits for it. For all takes here, for
# one take under it.
# release: yes
`

const draftTail = `
mix: {loudness: -16, true_peak: -1, room: 0.15, balance: auto}
picture: {fps: 30, labels: true}

# Without shots the whole film shows everybody.
# shots:
#   - {from: start, show: card, text: title}
#   - {from: m1, show: tutti}
#   - {from: m33, to: m41, show: solo, take: %s}

deliver: [{name: final, canvas: 1920x1080}]
`

// write returns the draft as a manifest.
func (d *draft) write() []byte {
	var b strings.Builder
	fmt.Fprintf(&b, draftHead, yamlText(d.title))
	var sections []string
	for _, t := range d.takes {
		if t.kind >= 0 && !slices.Contains(sections, instruments[t.kind].section) {
			sections = append(sections, instruments[t.kind].section)
		}
	}
	if len(sections) > 0 {
		b.WriteString("\nsections: # gain in decibels for all takes of a section\n")
		for _, s := range sections {
			fmt.Fprintf(&b, "  - {name: %s, gain: 0}\n", s)
		}
	}
	b.WriteString(draftRelease)
	b.WriteString("\n# In the order of their seats. Not in yet: expected: true instead of files.\n")
	if len(d.takes) == 0 {
		b.WriteString("# - {name: oboe-1, player: , part: , section: winds, expected: true}\ntakes: []\n")
	} else {
		b.WriteString("takes:\n")
	}
	for _, t := range d.takes {
		t.write(&b)
	}
	solo := "oboe-1"
	if len(d.takes) > 0 {
		solo = d.takes[0].name
	}
	fmt.Fprintf(&b, draftTail, yamlText(solo))
	return []byte(b.String())
}

// write appends the take as an entry of takes.
func (t *draftTake) write(b *strings.Builder) {
	fmt.Fprintf(b, "  - name: %s\n", yamlText(t.name))
	if t.player != "" {
		fmt.Fprintf(b, "    player: %s\n", yamlText(t.player))
	} else {
		b.WriteString("    # player:  EDIT: not in the file name\n")
	}
	if t.kind >= 0 {
		fmt.Fprintf(b, "    part: %s\n    section: %s\n", yamlText(t.part()), instruments[t.kind].section)
	} else {
		b.WriteString("    # part:    EDIT: not in the file name; a section: too\n")
	}
	if t.video != "" {
		fmt.Fprintf(b, "    video: {file: %s}\n", yamlText(t.video))
	}
	if t.audio != "" {
		fmt.Fprintf(b, "    audio: {file: %s}\n", yamlText(t.audio))
	}
}
