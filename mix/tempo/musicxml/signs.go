package musicxml

import (
	"regexp"
	"slices"
	"strconv"
	"strings"

	"ripieno/mix/tempo/score"
)

// Where a score says where to go on: sound elements (MusicXML 4.0), signs, and words
// in Italian, English and German, which people write without any of them.

// jumpWords are the words of jumps. They are compared with the text in small letters
// and without points, commas and doubled spaces: "D. C. al Fine" is "d c al fine".
// All are common practice, no source.
var jumpWords = []struct {
	kind  score.JumpKind
	words *regexp.Regexp
}{
	{score.DaCapo, regexp.MustCompile(`^((da|dal) capo|dal principio|d ?c|von vorne?|vo[nm] (an)?beginn|vo[nm] anfang|` +
		`((go |play )?back to|from|repeat from) the (beginning|start|top))\b`)},
	{score.DalSegno, regexp.MustCompile(`^(dal segno|d ?s|(vom|ab|ab dem|zum) (zeichen|segno)|` +
		`((go |play )?back to|from|repeat from) the (sign|segno))\b`)},
	{score.ToCoda, regexp.MustCompile(`^((go )?to( the)? coda|al(la)? coda|zur coda|a coda)$`)},
	{score.Fine, regexp.MustCompile(`^(fine|ende|schluss|the end|end|fin)$`)},
}

var (
	alFine = regexp.MustCompile(`\b(al(la)? fine|to( the)? (fine|end)|bis( zum| zu)? (fine|ende|schluss))\b`)
	// "D.C. poi la coda", "von vorn, dann Coda": from what was played before to the coda.
	alCoda = regexp.MustCompile(`\b(al(la)? coda|to( the)? coda|(bis )?zur coda|(e )?poi( la)? coda|` +
		`(and )?then( the)? coda|(und )?dann( die| zur)? coda)\b`)
	conRepeats = regexp.MustCompile(`\b(con (la |le |i )?(rep\w*|ripet\w*|ritornell\w*)|mit (wiederholung\w*|wdh)|` +
		`with (the )?repeats?)\b`)
)

// plainWords returns a text in small letters, with one blank for whatever parts its
// words: points, commas, brackets, dashes.
func plainWords(text string) string {
	return strings.Join(strings.FieldsFunc(strings.ToLower(text), func(r rune) bool {
		return strings.ContainsRune(" .,;:()-–\u00a0", r)
	}), " ")
}

// readJump reads the words of a jump; ok is false for any other text. The first kind
// that fits counts; the words must stand at the beginning, so that a remark with
// "coda" in it is none.
func readJump(text string) (j score.Jump, ok bool) {
	plain := strings.ReplaceAll(plainWords(text), "ß", "ss")
	plain = strings.TrimSpace(strings.NewReplacer("\U0001d10b", "segno", "\U0001d10c", "coda", "𝄋", "segno",
		"𝄌", "coda", "⊕", "coda").Replace(plain))
	for _, w := range jumpWords {
		if !w.words.MatchString(plain) {
			continue
		}
		j.Kind = w.kind
		switch {
		case j.Kind != score.DaCapo && j.Kind != score.DalSegno:
		case alCoda.MatchString(plain):
			j.Goal = score.AlCoda
		case alFine.MatchString(plain):
			j.Goal = score.AlFine
		}
		j.Repeats = conRepeats.MatchString(plain)
		return j, true
	}
	return j, false
}

// signs are what one measure says, with what is only decided when all is read.
type signs struct {
	score.Signs
	spoken   []score.Jump // in words
	bareCoda int          // coda signs without a sound element or words that say which

	nextSegno, nextCoda []string // signs at its right barline
}

// jump adds a jump once: parts and voices repeat each other.
func (s *signs) jump(j score.Jump) {
	same := func(k score.Jump) bool { return k.Kind == j.Kind && k.To == j.To }
	if !slices.ContainsFunc(s.Jumps, same) && len(s.Jumps) < maxJumps {
		s.Jumps = append(s.Jumps, j)
	}
}

// maxJumps bounds the jumps and signs of one measure.
const maxJumps = 16

// place adds the name of a sign, once, and no more than maxJumps of them: scores come from
// strangers.
func place(names *[]string, name string) {
	if !slices.Contains(*names, name) && len(*names) < maxJumps {
		*names = append(*names, name)
	}
}

// soundSigns takes the jumps of a sound element. TimeOnly says in which passes through a
// repeat a jump is taken; without it the rules of [score.Unroll] hold.
func (c *cursor) soundSigns(s sound) {
	var only []int
	for _, word := range strings.FieldsFunc(s.TimeOnly, func(r rune) bool { return r == ',' || r == ' ' }) {
		if n, err := strconv.Atoi(word); err == nil && n >= 1 && n <= 100 {
			only = append(only, n)
		}
	}
	b := &c.bar.signs
	for _, j := range []struct {
		set  string
		kind score.JumpKind
	}{{s.Dacapo, score.DaCapo}, {s.Dalsegno, score.DalSegno}, {s.ToCoda, score.ToCoda}, {s.Fine, score.Fine}} {
		if j.set == "" || j.set == "no" {
			continue
		}
		name := clean(j.set)
		if j.kind == score.DaCapo || j.kind == score.Fine {
			name = "" // they say yes, or how long the last note is
		}
		b.jump(score.Jump{Kind: j.kind, To: name, TimeOnly: only})
	}
	if s.Segno != "" {
		place(&b.Segno, clean(s.Segno))
	}
	if s.Coda != "" {
		place(&b.Coda, clean(s.Coda))
	}
	if s.ForwardRepeat == "yes" {
		b.Forward = true
	}
}

// directionSigns takes the words and signs of a direction. What its sound elements
// say counts more: the signs of such a direction are the same ones for the eye. Words
// are kept in any case: what they add to a sound element is decided in settle.
func (c *cursor) directionSigns(e *element) {
	b := &c.bar.signs
	told := false
	for _, s := range e.Sounds {
		told = told || s.Dacapo+s.Dalsegno+s.ToCoda+s.Fine+s.Segno+s.Coda != ""
	}
	toCoda := false
	for _, text := range e.Words {
		if j, ok := readJump(text); ok {
			b.spoken = append(b.spoken[:min(len(b.spoken), maxJumps-1)], j)
			toCoda = toCoda || j.Kind != score.Fine
		}
	}
	if told {
		return
	}
	if len(e.Segno) > 0 && !toCoda { // "D.S. 𝄋" has the sign within its words
		place(&b.Segno, "")
	}
	if len(e.Coda) > 0 && !toCoda {
		b.bareCoda++
	}
}

// barlineSigns takes the signs at a barline; on its right they are of the next
// measure, which may not have been read yet.
func (c *cursor) barlineSigns(e *element) {
	b := &c.bar.signs
	segno, coda := &b.Segno, &b.Coda
	if e.Location == "right" {
		segno, coda = &b.nextSegno, &b.nextCoda
	}
	if name := e.sound.Segno; name != "" || len(e.BarSegno) > 0 {
		place(segno, clean(name))
	}
	if name := e.sound.Coda; name != "" || len(e.BarCoda) > 0 {
		place(coda, clean(name))
	}
}

// settle decides what words and bare signs mean, once all measures are read. Where a
// sound element says the same kind of jump, words only add to it where the piece
// ends and whether repeats are played.
func (p *parser) settle() {
	for i := range p.bars {
		s := &p.bars[i].signs
		if i+1 < len(p.bars) {
			next := &p.bars[i+1].signs
			for _, name := range s.nextSegno {
				place(&next.Segno, name)
			}
			for _, name := range s.nextCoda {
				place(&next.Coda, name)
			}
		}
		for _, j := range s.spoken {
			said := slices.IndexFunc(s.Jumps, func(k score.Jump) bool { return k.Kind == j.Kind })
			if said < 0 {
				s.jump(j)
				continue
			}
			s.Jumps[said].Goal = max(s.Jumps[said].Goal, j.Goal)
			s.Jumps[said].Repeats = s.Jumps[said].Repeats || j.Repeats
		}
	}
	p.settleCodas()
}

// settleCodas decides which coda signs without words are the coda: of two the first
// is where it is left for the second.
func (p *parser) settleCodas() {
	has := func(kind score.JumpKind) bool {
		return slices.ContainsFunc(p.bars, func(b bar) bool {
			return slices.ContainsFunc(b.signs.Jumps, func(j score.Jump) bool { return j.Kind == kind })
		})
	}
	var bare []int
	for i, b := range p.bars {
		if b.signs.bareCoda > 0 {
			bare = append(bare, i)
		}
	}
	if len(bare) >= 2 && !has(score.ToCoda) && (has(score.DaCapo) || has(score.DalSegno)) {
		p.bars[bare[0]].signs.jump(score.Jump{Kind: score.ToCoda})
		bare = bare[1:]
	}
	for _, i := range bare {
		if len(p.bars[i].signs.Coda) == 0 {
			place(&p.bars[i].signs.Coda, "")
		}
	}
}
