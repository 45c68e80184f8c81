package manifest

import (
	"path"
	"strconv"
	"strings"
	"unicode"
)

// guess is what the name of one file seems to say. It is for a draft that a person
// reads: a wrong guess costs a correction, and a doubt is told with it.
type guess struct {
	file   ScaffoldFile
	player string
	kind   int    // index in instruments, -1 when no part was found
	number int    // of the part, 0 without
	words  string // the instrument as the name has it; "" when that is a shorthand
	other  string // a second instrument in the name, for a remark
	stem   string // the file name without folder and ending, in small letters
}

// part returns the part in English, by which two names of it are told to be the same;
// "" when none was found.
func (g guess) part() string {
	if g.kind < 0 {
		return ""
	}
	return g.numbered(instruments[g.kind].part)
}

// label returns the part as a label shows it: in the words of the file name, which are
// those of the ensemble; "" when none was found.
func (g guess) label() string {
	if g.kind < 0 || g.words == "" || plainWord(g.words) == plainWord(instruments[g.kind].part) {
		return g.part()
	}
	return g.numbered(g.words)
}

// numbered adds the number of a part to its name.
func (g guess) numbered(name string) string {
	if g.number > 0 {
		return name + " " + strconv.Itoa(g.number)
	}
	return name
}

// guessAll reads the names of all files of a production together: words that
// all of them or the title have do not tell players apart.
func guessAll(files []ScaffoldFile, title string) []guess {
	dull := map[string]bool{}
	for _, w := range splitName(title) {
		if len(plainWord(w)) > 2 {
			dull[plainWord(w)] = true
		}
	}
	all := guessWith(files, dull)
	// Two files share words by chance: of brothers, or of one player.
	if len(files) < 3 {
		return all
	}
	count := map[string]int{}
	for _, g := range all {
		for w := range wordSet(plainWord(g.player)) {
			count[w]++
		}
	}
	common := false
	for w, n := range count {
		if n == len(files) {
			dull[w], common = true, true
		}
	}
	if !common {
		return all
	}
	again := guessWith(files, dull)
	for _, g := range again {
		if g.player != "" {
			return again
		}
	}
	return all // the word in all names is the only name there is
}

// guessWith reads every name on its own, words in dull left aside, and then lets
// them correct each other. A bass beside other voices sings; without any it is an
// instrument.
func guessWith(files []ScaffoldFile, dull map[string]bool) []guess {
	all := make([]guess, len(files))
	voices := false
	shared := sharedFolders(files)
	for i, f := range files {
		all[i] = guessFile(f, dull, shared)
		voices = voices || all[i].kind >= 0 && instruments[all[i].kind].section == "voices" &&
			instruments[all[i].kind].part != "Bass"
	}
	if voices {
		return all
	}
	for i, g := range all { // without other voices, a bass has strings
		if g.kind >= 0 && instruments[g.kind].part == "Bass" {
			all[i].kind, all[i].words = kindOfPart("Double Bass"), ""
		}
	}
	return all
}

// sharedFolders returns the folders that are not one player's: with more than one
// film or more than two files in them, whatever their name says. Three files are two
// players at least: one has a camera and a microphone.
func sharedFolders(files []ScaffoldFile) map[string]bool {
	films, count := map[string]int{}, map[string]int{}
	shared := map[string]bool{}
	for _, f := range files {
		dir := path.Dir(f.Path)
		if f.HasVideo {
			films[dir]++
		}
		count[dir]++
		shared[dir] = films[dir] > 1 || count[dir] > 2
	}
	return shared
}

// kindOfPart returns the index of an instrument, -1 for one there is not.
func kindOfPart(part string) int {
	for i, k := range instruments {
		if k.part == part {
			return i
		}
	}
	return -1
}

// guessFile reads one name; where it says nothing, the folder it is in may, unless
// several players share it.
func guessFile(f ScaffoldFile, dull, shared map[string]bool) guess {
	base := path.Base(f.Path)
	stem := strings.TrimSuffix(base, path.Ext(base))
	g := guessName(stem, dull)
	if dir := path.Base(path.Dir(f.Path)); dir != "." && dir != "/" {
		folder := guessName(dir, dull)
		if g.player == "" && (g.kind < 0 || folder.kind < 0) && !shared[path.Dir(f.Path)] {
			g.player = folder.player
		}
		if g.kind < 0 {
			g.kind, g.number, g.words = folder.kind, folder.number, folder.words
		}
	}
	g.file, g.stem = f, strings.ToLower(stem)
	return g
}

// copyForm is what a second download of one name ends with.
var copyForm = pattern(`\s*\([0-9]{1,2}\)$`)

// guessName reads one name; dull words say nothing. Shorthands such as vla are tried
// only when no whole word is an instrument: as words they may be anything. The number of
// a part comes behind it or before it: "2 horn" is a second horn, but not in "take 2
// horn". A month beside a figure is a date; May alone may be a name.
func guessName(name string, dull map[string]bool) guess {
	words := splitName(copyForm().ReplaceAllString(name, ""))
	plain := make([]string, len(words))
	for i, w := range words {
		plain[i] = plainWord(w)
	}
	g := guess{kind: -1}
	used := make([]bool, len(words))
	from, to := -1, -1
	full := false
	for _, short := range []bool{false, true} {
		if g.kind >= 0 {
			break
		}
		full = !short
		for i := 0; i < len(plain); i++ {
			kind, n := matchInstrument(plain[i:], short)
			if kind < 0 {
				continue
			}
			// The last one counts: people put their names first, and some
			// names are instruments (Viola, Horn).
			if g.kind >= 0 && g.kind != kind {
				g.other = strings.Join(words[from:to], " ")
			}
			g.kind, from, to = kind, i, i+n
			i += n - 1
		}
	}
	if g.kind >= 0 {
		for i := from; i < to; i++ {
			used[i] = true
		}
		if full {
			g.words = titleWords(words[from:to])
		}
		if to < len(plain) && numeral(plain[to]) > 0 {
			g.number, used[to] = numeral(plain[to]), true
		} else if from > 0 && numeral(plain[from-1]) > 0 && (from < 2 || !noise[plain[from-2]]) {
			g.number, used[from-1] = numeral(plain[from-1]), true
		}
	}
	var player []string
	for i, w := range words {
		if used[i] || noise[plain[i]] || dull[plain[i]] || !hasLetter(w) || plain[i] == "" || numerals[plain[i]] > 0 &&
			len(plain[i]) > 1 {
			continue
		}
		if months[plain[i]] && (i > 0 && !hasLetter(words[i-1]) || i+1 < len(words) && !hasLetter(words[i+1])) {
			continue
		}
		player = append(player, properWord(w, len(player) > 0))
	}
	if len(player) > 4 { // a sentence, not a name
		player = nil
	}
	g.player = strings.Join(player, " ")
	return g
}

// titleWords joins the words of an instrument, each with a capital.
func titleWords(words []string) string {
	var all []string
	for _, w := range words {
		all = append(all, properWord(w, false))
	}
	return strings.Join(all, " ")
}

// matchInstrument finds the instrument whose name begins plain, the one with
// the most words, and how many those are; -1 for none.
func matchInstrument(plain []string, short bool) (kind, n int) {
	kind = -1
	for k, in := range instruments {
		names := in.words
		if short {
			names = in.short
		}
		for _, name := range names {
			words := strings.Fields(name)
			if len(words) <= n || len(words) > len(plain) {
				continue
			}
			same := true
			for i, w := range words {
				same = same && plain[i] == w
			}
			if same {
				kind, n = k, len(words)
			}
		}
	}
	return kind, n
}

// numeral returns the number of a part that a word means, 0 for none. Figures up to
// 20: larger ones are years, dates and counters of cameras.
func numeral(word string) int {
	if n, err := strconv.Atoi(word); err == nil && n >= 1 && n <= 20 {
		return n
	}
	return numerals[word]
}

// splitName cuts a name into words: at everything that is neither letter nor
// digit nor an apostrophe within a word, where letters and digits meet except
// in ordinals, and before a capital that follows a small letter. Marks that combine
// with the letter before them stay with it, since disks of macOS keep accents so.
// "McAdam" stays one word.
func splitName(name string) []string {
	var words []string
	var word []rune
	end := func() {
		if w := strings.Trim(string(word), "'’"); w != "" {
			words = append(words, w)
		}
		word = nil
	}
	for _, r := range name {
		var last rune
		if len(word) > 0 {
			last = word[len(word)-1]
		}
		switch {
		case unicode.IsMark(r) || (r == '\'' || r == '’') && last != 0:
		case !unicode.IsLetter(r) && !unicode.IsDigit(r):
			end()
			continue
		case unicode.IsLetter(r) && unicode.IsDigit(last), unicode.IsDigit(r) && unicode.IsLetter(last),
			unicode.IsUpper(r) && unicode.IsLower(last) && !(string(word) == "Mc" || string(word) == "Mac"):
			end()
		}
		word = append(word, r)
	}
	end()
	// Put 1st and 2nd together again.
	var joined []string
	for _, w := range words {
		if n := len(joined); n > 0 && numerals[strings.ToLower(joined[n-1]+w)] > 0 && !hasLetter(joined[n-1]) {
			joined[n-1] += w
			continue
		}
		joined = append(joined, w)
	}
	return joined
}

// plainLetters takes off accents; German umlauts too, which leaves the names
// that write them as ae, oe, ue to the table.
var plainLetters = strings.NewReplacer("à", "a", "á", "a", "â", "a", "ä", "a", "å", "a", "ç", "c", "è", "e", "é", "e",
	"ê", "e", "ë", "e",
	"ì", "i", "í", "i", "î", "i", "ï", "i", "ñ", "n", "ò", "o", "ó", "o", "ô", "o", "ö", "o", "ù", "u", "ú", "u", "û",
	"u", "ü", "u", "ß", "ss", "’", "'",
	"\u0300", "", "\u0301", "", "\u0302", "", "\u0303", "", "\u0308", "", "\u0327", "", "\u030a", "")

// plainWord returns a word in small letters without accents.
func plainWord(w string) string { return plainLetters.Replace(strings.ToLower(w)) }

// hasLetter reports whether a word has a letter in it.
func hasLetter(w string) bool { return strings.ContainsFunc(w, unicode.IsLetter) }

// properWord returns a word of a person's name with the capitals it should have.
// inner tells that other words of the name come before: only there "van" and "de"
// stay small.
func properWord(w string, inner bool) string {
	small := strings.ToLower(w)
	r := []rune(small)
	switch {
	case inner && w == small && particles[small]:
		return w
	case w != small && w != strings.ToUpper(w), len(r) == 1 && w != small:
		return w // the person chose the capitals
	}
	return string(unicode.ToUpper(r[0])) + string(r[1:])
}
