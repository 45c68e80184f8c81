package intake

import (
	"fmt"
	"math"
	"strings"

	"ripieno/assemble/intake/limit"
	"ripieno/assemble/report/phrase"
	"ripieno/mix/audio"
)

// Break is a place at which a recording is not one piece of time.
type Break struct {
	At      float64 `json:"at"`      // seconds of the file
	Jump    float64 `json:"jump"`    // seconds that are missing there, or, negative, that are too much
	Measure int     `json:"measure"` // in which the first part ends
	By      string  `json:"by"`      // what shows it: "playing", "silence", "device" or "picture"
	Mended  bool    `json:"mended"`  // the parts are placed each by itself
	// Rivals are jumps that are nearly as likely, the likeliest first; First and Last the
	// measures between which the break may be, and Beat how long a beat is there, in
	// seconds. They are of a break that is not mended.
	Rivals []float64 `json:"rivals,omitempty"`
	First  int       `json:"first,omitempty"`
	Last   int       `json:"last,omitempty"`
	Beat   float64   `json:"beat,omitempty"`
	// Names are Measure, First and Last as the page has them, "21 (17/2)" for its measure
	// 17 the second time; "" is for those that it has as they are played.
	Names [3]string `json:"-"`
	// Parts are what the file would be with this break and those found before it, where
	// it is not mended; without them it is the only one.
	Parts audio.Parts `json:"-"`
}

// Said returns in a line what a break is, what became of it, and how to contradict that
// in the manifest.
func (b Break) Said() phrase.Message {
	key, write := "found.broken-missing", "parts: [{from: 0}]"
	if b.Jump < 0 {
		key = "found.broken-extra"
	}
	if !b.Mended {
		key += "-perhaps"
		parts := b.Parts
		if len(parts) == 0 {
			parts = audio.Break(b.At, b.Jump)
		}
		write = writeParts(parts)
	}
	if guessed := b.By == "playing" || b.By == "splice"; !b.Mended && (guessed || len(b.Rivals) > 0) {
		long := b.lengths()
		if guessed { // which beat of the measure it is playing tells less surely than which place of the beat
			long = phrase.New("found.or-beats", "long", long)
		}
		return phrase.New("found.broken-unclear", "long", long, "where", b.where(),
			"by", phrase.New("found.by-"+b.By), "write", write)
	}
	return phrase.New(key, "long", figure(math.Abs(b.Jump), 3), "at", figure(b.At, 2), "measure", b.named(0, b.Measure),
		"by", phrase.New("found.by-"+b.By), "write", write)
}

// lengths names all jumps that the break may be, in seconds and in beats.
func (b Break) lengths() phrase.Message {
	all := append([]float64{b.Jump}, b.Rivals...)
	var said phrase.Message
	for i := range all {
		jump := all[len(all)-1-i]
		key := "found.about-missing"
		if jump < 0 {
			key = "found.about-extra"
		}
		one := phrase.New(key, "long", figure(math.Abs(jump), 2))
		if b.Beat > 0 {
			one = phrase.New(key+"-beats", "long", figure(math.Abs(jump), 2), "beats",
				figure(math.Abs(jump)/b.Beat, 1))
		}
		if said = phrase.New("found.one-or", "one", one, "other", said); i == 0 {
			said = one
		}
	}
	return said
}

// where names the measures between which the break is.
func (b Break) where() phrase.Message {
	if b.First == b.Last {
		return phrase.New("found.in-measure", "measure", b.named(0, b.Measure))
	}
	return phrase.New("found.between-measures", "first", b.named(1, b.First), "last", b.named(2, b.Last))
}

// named returns what the measure of an entry of Names is called.
func (b Break) named(i, measure int) any {
	if b.Names[i] != "" {
		return b.Names[i]
	}
	return whole(measure)
}

// writeParts returns the line of the manifest that says so.
func writeParts(parts audio.Parts) string {
	var all []string
	for _, p := range parts {
		var keys []string
		if p.From > 0 {
			keys = append(keys, fmt.Sprintf("from: %.3f", p.From))
		}
		if !math.IsInf(p.To, 1) {
			keys = append(keys, fmt.Sprintf("to: %.3f", p.To))
		}
		if p.Shift != 0 {
			keys = append(keys, fmt.Sprintf("shift: %.3f", p.Shift))
		}
		all = append(all, "{"+strings.Join(keys, ", ")+"}")
	}
	return "parts: [" + strings.Join(all, ", ") + "]"
}

// String returns the line in English.
func (b Break) String() string { return b.Said().Plain() }

// pieces judges whether the file is one piece of time. What is too much is taken out and
// nothing is lost; what is missing nobody can put back.
func (j *judge) pieces() {
	for _, b := range j.file.Breaks {
		level, sure := OK, 0.95
		if lost, _ := j.limits.Over(limit.MissingAsk, b.Jump); lost && b.Mended {
			level = Ask
		}
		if !b.Mended {
			level, sure = Ask, 0.6
		}
		j.note(Broken, level, sure, b.Said())
	}
	if a := j.file.Info.Audio; a != nil && j.file.TrueRate > 0 && j.file.TrueRate != a.Rate {
		j.add(WrongRate, OK, 0.95, "wrong-rate", "true", whole(j.file.TrueRate), "label", whole(a.Rate),
			"write", fmt.Sprintf("sample_rate: %d", a.Rate))
	}
}
