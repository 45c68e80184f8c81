package demo

import (
	"fmt"
	"strings"
	"text/template"

	"ripieno/assemble/demo/score"
)

// manifestText is production.yaml. It is the first manifest most people see,
// so it shows each thing once and says why.
const manifestText = `# One film: "{{.Piece.Title}}". Change anything and run ripieno render again:
# only what the change touches is made anew.
version: 1
title: {{.Piece.Title}}
composer: {{.Piece.Composer}}
ensemble: Nether Wick Evening Players
dedication: {{.Piece.Dedication}}

# The click track everybody played to. ripieno click writes it as a sound file.
tempo:
{{.Tempo}}guide:
  pitch: 440
  drone: [{measure: 1, note: D3, fifth: true}]      # something to tune to

sections:
  - {name: winds}
  - {name: strings}
  - {name: ground, gain: -1.5}                      # dB, for the whole section

# All have agreed to be seen, heard and named in a film that is published; a
# take can have its own word. Without it, the finished film is not made.
release: yes

# One entry a player, in the order of their seats. ripieno sync finds out when
# each recording began; offset: or cue_at: in a file's braces overrules it.
takes:
{{range .Takes}}{{.}}{{end}}
mix: {loudness: -16, true_peak: -1, room: 0.15, balance: auto}
picture: {fps: 30, labels: true, lead_in: 3, tail: 6}

# Each shot lasts until the next one.
shots:
  - {from: start, show: card, text: title}
  - {from: m1, show: tutti}
  - {from: m5, show: solo, take: oboe}              # the tune comes in
  - {from: m7, show: tutti}
  - {from: m13, show: soli, section: strings}
  - {from: m15, show: tutti}
  - {from: {{.Credits}}, show: card, text: credits}

deliver:
  - {name: final, canvas: 1920x1080}
  # - {name: vertical, canvas: 1080x1920}           # for phones; costs as much time again
`

// manifest fills in production.yaml.
func (p *production) manifest() (string, error) {
	t, err := template.New("production.yaml").Parse(manifestText)
	if err != nil {
		return "", err
	}
	data := struct {
		Piece   score.Piece
		Tempo   string
		Takes   []string
		Credits string
	}{Piece: p.piece, Tempo: score.TempoLines, Credits: fmt.Sprintf("%.1f", p.tempo.End()+2.2)}
	for _, q := range p.cast {
		data.Takes = append(data.Takes, q.entry())
	}
	var b strings.Builder
	err = t.Execute(&b, data)
	return b.String(), err
}

// entry returns the take of a player in the manifest.
func (q player) entry() string {
	var b strings.Builder
	fmt.Fprintf(&b, "  - name: %s\n    player: %s\n    part: %s\n    section: %s\n", q.take, q.name, q.part, q.section)
	if q.camera == nil && q.mic == nil {
		b.WriteString("    expected: true                      # not in yet: the seat is kept\n")
	}
	if q.camera != nil {
		fmt.Fprintf(&b, "    video: {file: %s}\n", q.camera.file)
	}
	if q.mic != nil {
		why := "# sound only, from a phone"
		if q.camera != nil {
			why = "# a separate microphone: heard instead of the phone"
		}
		line := fmt.Sprintf("    audio: {file: %s}", q.mic.file)
		fmt.Fprintf(&b, "%-40s%s\n", line, why)
	}
	b.WriteString(q.settings)
	return b.String()
}
