package manifest

import (
	"strconv"
	"strings"
	"unicode"
)

// plainForm is a text that YAML reads back unchanged without quotes wherever
// it stands, in braces and lists too. It is stricter than YAML: a text with a colon,
// a comma or a # is quoted, and one that begins with a digit, since it could be read
// as a number or a time.
var plainForm = pattern(`^[\pL_/][\pL\pN\pM _./'’()&+-]*$`)

// yamlText returns a text as a YAML value: plain where that is safe, else in
// double quotes. Invalid UTF-8 becomes U+FFFD. It never breaks a line, so a value can
// be exchanged for another in place. Every control and unprintable character is
// escaped, also those that would turn the direction of writing.
func yamlText(s string) string {
	s = strings.ToValidUTF8(s, "\uFFFD")
	if plainForm().MatchString(s) && !strings.HasSuffix(s, " ") && !reservedWords[strings.ToLower(s)] {
		return s
	}
	var b strings.Builder
	b.WriteByte('"')
	for _, r := range s {
		switch {
		case r == '"' || r == '\\':
			b.WriteByte('\\')
			b.WriteRune(r)
		case r == '\n':
			b.WriteString(`\n`)
		case r == '\t':
			b.WriteString(`\t`)
		case !unicode.IsPrint(r) && r <= 0xFFFF:
			b.WriteString(`\u` + hexDigits(r, 4))
		case !unicode.IsPrint(r):
			b.WriteString(`\U` + hexDigits(r, 8))
		default:
			b.WriteRune(r)
		}
	}
	b.WriteByte('"')
	return b.String()
}

// reservedWords have a meaning of their own to some reader of YAML. Readers of YAML
// 1.1 take all of these for null or a truth value, those of 1.2 only some.
var reservedWords = map[string]bool{"null": true, "true": true, "false": true,
	"yes": true, "no": true, "on": true, "off": true, "y": true, "n": true}

// hexDigits returns a character's number with at least so many digits.
func hexDigits(r rune, width int) string {
	h := strconv.FormatInt(int64(r), 16)
	return strings.Repeat("0", width-len(h)) + h
}
