package report

import (
	"slices"
	"testing"

	"ripieno/assemble/report/phrase"
)

// What was done is said in the page's own language; what was not is not said.
func TestCleanedInWords(t *testing.T) {
	for _, c := range []struct {
		language string
		cleaned  *Cleaned
		want     []string
	}{
		{"en", nil, nil},
		{"en", &Cleaned{Closed: 0.004}, nil},
		{"en", &Cleaned{Closed: 0.254, Reduced: 7, Lows: 3.5, Presence: -2}, []string{
			"closed for 25\u00a0% of the film, where nobody plays",
			"noise under the playing reduced by up to 7\u00a0dB",
			"recorded by a phone: lows +3.5\u00a0dB, presence −2.0\u00a0dB"}},
		{"en", &Cleaned{Hum: "50, 100"}, []string{"hum of the mains taken out at 50, 100\u00a0Hz"}},
		{"en", &Cleaned{Rumble: 158}, []string{"rumble below its notes cut at 158\u00a0Hz"}},
		{"en", &Cleaned{TurnedUp: 5.6}, []string{"its level control turns it up by 6\u00a0dB in pauses"}},
		{"de", &Cleaned{Drawn: 0.0359}, []string{"bei der Aufnahme übersteuert: 3,6\u00a0% der Werte neu gezeichnet"}},
		{"de", &Cleaned{Presence: -2},
			[]string{"mit einem Telefon aufgenommen: Tiefen +0,0\u00a0dB, Präsenz −2,0\u00a0dB"}},
	} {
		if got := c.cleaned.words(phrase.Of(c.language)); !slices.Equal(got, c.want) {
			t.Errorf("%+v says %q, want %q", c.cleaned, got, c.want)
		}
	}
}
