package manifest

import (
	"fmt"
	"slices"
	"strings"
)

// What a drafted production.yaml looks like.

const draftHead = `# One film. Whatever follows a # is a comment. Times are seconds (12.5), minutes
# (01:12.500), a measure (m33) or a beat in it (m33.2).
version: 1
title: %s
# composer: , ensemble: and dedication: are for the title card

%s
# guide: {pitch: 442, drone: [{measure: 1, note: D3, fifth: true}]}
`

// draftTempo and draftScore are the tempo of a draft, without and with a score.
const draftTempo = `# EDIT: tempo and meter of your piece. They make the click track that everybody
# plays to, and tell sync where the clap is.
tempo:
  count_in: {measures: 8, cue: {measure: 5, beat: 1}} # all clap on the cue
  changes:
    - {measure: 1, meter: 4/4, bpm: 100}              # EDIT: the beginning
    # - {measure: 41, meter: 6/8, beat: dotted-quarter, bpm: 72}
    # - {measure: 60, ramp_to: 54, until: 64}         # slowing down to 54
  measures: 32                                        # EDIT: how many there are
`

const draftScore = `# The click track that everybody plays to. Meters, tempos and repeats are the score's;
# ripieno click prints them.
tempo:
  count_in: {measures: 8, cue: {measure: 5, beat: 1}} # EDIT: all clap on the cue
  score: %s
  # interpret: yes        # follows rit., fermata and the like, as click proposes
  # changes: [{measure: 1, bpm: 96}]   # a tempo instead of the score's
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
	music := draftTempo
	if d.score != "" {
		music = fmt.Sprintf(draftScore, yamlText(d.score))
	}
	fmt.Fprintf(&b, draftHead, yamlText(d.title), music)
	var sections []string
	for _, t := range d.takes {
		if s := t.sectionName(); s != "" && !slices.Contains(sections, s) {
			sections = append(sections, s)
		}
	}
	if len(sections) > 0 {
		b.WriteString("\nsections: # gain in decibels for all takes of a section\n")
		for _, s := range sections {
			fmt.Fprintf(&b, "  - {name: %s, gain: 0}\n", yamlText(s))
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

// sectionName returns the section that the list says, or that of the instrument.
func (t *draftTake) sectionName() string {
	if t.Section != "" || t.kind < 0 {
		return t.Section
	}
	return instruments[t.kind].section
}

// yamlPlain returns a value of one of the closed sets of words bare, others as text.
func yamlPlain(key, value string) string {
	if key == "email" {
		return yamlText(value)
	}
	return value
}

// write appends the take as an entry of takes.
func (t *draftTake) write(b *strings.Builder) {
	fmt.Fprintf(b, "  - name: %s\n", yamlText(t.name))
	if player := t.playerName(); player != "" {
		fmt.Fprintf(b, "    player: %s\n", yamlText(player))
	} else {
		b.WriteString("    # player:  EDIT: not in the file name\n")
	}
	if part := t.partName(); part != "" {
		fmt.Fprintf(b, "    part: %s\n", yamlText(part))
	} else {
		b.WriteString("    # part:    EDIT: not in the file name; a section: too\n")
	}
	if section := t.sectionName(); section != "" {
		fmt.Fprintf(b, "    section: %s\n", yamlText(section))
	}
	for _, more := range []struct{ key, value string }{{"email", t.Email}, {"language", t.Language},
		{"release", t.Release}} {
		if more.value != "" {
			fmt.Fprintf(b, "    %s: %s\n", more.key, yamlPlain(more.key, more.value))
		}
	}
	if t.video+t.audio == "" {
		b.WriteString("    expected: true\n")
	}
	if t.video != "" {
		fmt.Fprintf(b, "    video: {file: %s}\n", yamlText(t.video))
	}
	if t.audio != "" {
		fmt.Fprintf(b, "    audio: {file: %s}\n", yamlText(t.audio))
	}
}
