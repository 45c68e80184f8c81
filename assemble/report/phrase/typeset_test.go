package phrase

import "testing"

func TestTypeset(t *testing.T) {
	for _, c := range [][3]string{
		{"en", `The Lamplighter's Round`, `The Lamplighter’s Round`},
		{"en", `Players' "Round" - again...`, `Players’ “Round” – again…`},
		{"de", `Das "Rondo" - noch einmal`, `Das „Rondo“ – noch einmal`},
		{"fr", `L'air du "Rondo"`, "L’air du «\u00a0Rondo\u00a0»"},
		{"es", `El "Rondó"`, "El «Rondó»"},
		{"it", `L'aria "Rondò"`, "L’aria «Rondò»"},
		{"en", `7" and 12" and a 6" one`, `7" and 12" and a 6" one`},             // an odd one may be inches
		{"en", `'n' roll, mid-June 2031-06-12`, `'n’ roll, mid-June 2031-06-12`}, // nobody knows what the first is
	} {
		if got := open(t, c[0], nil).Typeset(c[1]); got != c[2] {
			t.Errorf("%s: %q, want %q", c[0], got, c[2])
		}
	}
}
