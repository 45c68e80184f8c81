package musicxml

import (
	"cmp"
	"fmt"
	"regexp"
	"slices"
	"strings"

	"ripieno/mix/tempo/score"
)

// What a score asks of the tempo in words and signs, without a number.

// maxWishes bounds the wishes of a score.
const maxWishes = 500

// tempoWords are words that ask for another tempo, in Italian, English and German, as
// they stand in small letters without points. All are common practice, no source.
var tempoWords = []struct {
	kind   score.WishKind
	factor float64
	words  *regexp.Regexp
}{
	{score.Gradual, score.Slower, regexp.MustCompile(`^(rit|ritard|ritardando|riten|ritenuto|rall|rallentando|allarg` +
		`|allargando|slentando|calando|morendo|smorz|smorzando|slower|slow down|slowing( down)?|langsamer( werden)?` +
		`|zurückhalten|zurückhaltend|verbreitern|breiter( werden)?)\b`)},
	{score.Gradual, score.Faster,
		regexp.MustCompile(`^(accel|accelerando|string|stringendo|affrett|affrettando|faster` +
			`|schneller( werden)?|beschleunigen|beschleunigend|drängend|eilen|eilend)\b`)},
	{score.AtOnce, score.Slower, regexp.MustCompile(`^meno mosso\b`)},
	{score.AtOnce, score.Faster, regexp.MustCompile(`^più mosso\b`)},
	{score.ATempo, 1, regexp.MustCompile(`^((wieder )?(a|in|im) (tempo|zeitmaß)|zeitmaß)( |$)`)},
	{score.TempoPrimo, 1, regexp.MustCompile(`^tempo (primo|[i1][o°º]?)$`)},
}

// shades stand before or behind the words and say how much.
var shades = regexp.MustCompile(
	`\b(un|poco a poco|poco|molto|sempre|allmählich|etwas|viel|gradually|a little|much|e|rit)\b`)

// readWish reads words that ask for another tempo; ok is false for any other text.
// Factor is how many times as fast it becomes. The words must come first, after words
// of degree: "a tempo" inside a sentence is none.
func readWish(text string) (w score.Wish, ok bool) {
	plain := plainWords(text)
	bare := strings.Join(strings.Fields(strings.NewReplacer("piu ", "più ", "zeitmass", "zeitmaß").Replace(plain)), " ")
	for range 3 { // "un poco più mosso"
		if at := shades.FindStringIndex(bare); at != nil && at[0] == 0 && !strings.HasPrefix(bare, "rit") {
			bare = strings.TrimSpace(bare[at[1]:])
		}
	}
	for _, t := range tempoWords {
		if !t.words.MatchString(bare) {
			continue
		}
		w = score.Wish{Kind: t.kind, Text: clean(text), Factor: t.factor}
		share := 1.0
		switch {
		case regexpMuch.MatchString(plain):
			share = score.MuchShare
		case regexpLittle.MatchString(plain):
			share = score.LittleShare
		}
		w.Factor = 1 + (t.factor-1)*share
		return w, true
	}
	return w, false
}

var (
	regexpMuch   = regexp.MustCompile(`\b(molto|viel|much)\b`)
	regexpLittle = regexp.MustCompile(`\b(un poco|poco|etwas|a little)\b`)
)

// wish adds a wish; of too many only the number is kept.
func (c *cursor) wish(w score.Wish) {
	if w.Measure = c.part.index; len(c.written.Wishes) < maxWishes {
		c.written.Wishes = append(c.written.Wishes, w)
		return
	}
	c.dropped++
}

// wishWords takes the words of a direction that has no tempo in numbers. A number
// beside the words says it better.
func (c *cursor) wishWords(e *element, at int64) {
	for _, s := range e.Sounds {
		if s.Tempo != "" {
			return
		}
	}
	if len(e.Metronomes) > 0 {
		return
	}
	for _, text := range e.Words {
		if w, ok := readWish(text); ok {
			w.Quarter = float64(at) / resolution
			c.wish(w)
		}
	}
}

// pauses takes the fermatas and caesuras of a note from one place to another.
func (c *cursor) pauses(e *element, begin, end int64) {
	w := score.Wish{Kind: score.Pause, Quarter: float64(begin) / resolution, End: float64(end) / resolution}
	if len(e.Fermatas) > 0 {
		w.Text, w.Factor = "fermata", score.Fermata
		c.wish(w)
	}
	if len(e.Caesuras) > 0 {
		w.Text, w.Factor = "caesura", score.Caesura
		c.wish(w)
	}
}

// settleWishes puts wishes in order and leaves those out that several parts and
// voices write alike. A fermata is the same where its notes end together. A wish at
// the very end of a measure is moved just inside it, where it can be played.
func (p *parser) settleWishes() {
	list := p.written.Wishes
	for i := range list {
		m := p.written.Measures[list[i].Measure]
		length := m.Length
		if length == 0 {
			length = m.Meter.Quarters()
		}
		if list[i].End < 0 { // over the barline
			list[i].End = length
		}
		list[i].Quarter = min(list[i].Quarter, max(0, length-1.0/64))
	}
	slices.SortStableFunc(list, func(a, b score.Wish) int {
		return cmp.Or(cmp.Compare(a.Measure, b.Measure), cmp.Compare(a.Kind, b.Kind), cmp.Compare(a.End, b.End),
			cmp.Compare(a.Quarter, b.Quarter), cmp.Compare(a.Text, b.Text))
	})
	list = slices.CompactFunc(list, func(a, b score.Wish) bool {
		same := a.Measure == b.Measure && a.Kind == b.Kind
		if a.Kind == score.Pause {
			return same && a.End == b.End
		}
		return same && a.Quarter == b.Quarter
	})
	p.written.Wishes = list
}

// closeRemarks says how many remarks there were no room for.
func (p *parser) closeRemarks() {
	if p.dropped > 0 {
		p.written.Remarks = append(p.written.Remarks,
			fmt.Sprintf("%d more remarks of this kind are not shown: look through the score itself", p.dropped))
	}
}
