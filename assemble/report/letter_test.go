package report

import (
	"regexp"
	"strings"
	"testing"
)

func TestLetters(t *testing.T) {
	r := review(t)
	for i, want := range map[int]string{
		0: "Hello Nell Orrin,\n\nthank you very much for recording “The Lamplighter’s Round”!\n\nYour recording is " +
			"in and everything is fine. There is nothing left to do for you.\n" +
			"\nThank you for playing along\nMara Voss\nNether Wick Evening Players\n",
		2: "Hello Teodor Quill,\n\nthank you very much for recording “The Lamplighter’s Round”!\n\nYour recording " +
			"has come, but we cannot use it as it is. That has nothing to do with your playing:\n\n" +
			"- The loud places are distorted. Could you step back from the microphone or turn its level down, and " +
			"try your loudest place first?\n" +
			"\nPlease send it to takes@example.org, by Thursday, 12 June 2031, 20:00.\n\nThank you for playing " +
			"along\nMara Voss\nNether Wick Evening Players\n",
		4: "", // with the first of the two
		5: "Hello Otto Larch,\n\nYour recording of Double bass for “The Lamplighter’s Round” is not in yet, and your " +
			"place is kept. When may we expect it?\n" +
			"\nPlease send it to takes@example.org, by Thursday, 12 June 2031, 20:00.\n\nThank you for playing " +
			"along\nMara Voss\nNether Wick Evening Players\n",
	} {
		if got := r.letter(i); got != want {
			t.Errorf("%s:\n%s\nwant\n%s", r.Takes[i].Name, got, want)
		}
	}
	if both := r.letter(3); !strings.Contains(both, "Your recording of Viola is in and everything is fine") ||
		!strings.Contains(both, "Your recording of Viola 2 is in and we can use it. "+
			"One small thing would make it even better:\n\n- Your recording is very soft.") {
		t.Errorf("two takes:\n%s", both)
	}
	if nobody := r.letter(6); !strings.HasPrefix(nobody, "Hello,\n\nthank you") {
		t.Errorf("nobody:\n%s", nobody)
	}
	// How somebody plays is never in a letter.
	for i := range r.Takes {
		for _, no := range []string{"Timing", "cents", "ms", "measure", "late"} {
			if strings.Contains(r.letter(i), no) {
				t.Errorf("the letter to %s speaks of %q", r.Takes[i].Player, no)
			}
		}
	}
	// A title cannot begin a line of its own.
	r.Title = "A\n\nSubject: B"
	if got := r.letter(0); !strings.Contains(got, "“A Subject: B”") {
		t.Error(got)
	}
}

// A note never says or lets one think that a take is used when it is not, whatever
// else is said of it, and says so when it is.
func TestLettersOfTakesNotUsed(t *testing.T) {
	used := regexp.MustCompile(
		`(?i)can use it|everything is fine|in the film[^.]*!|take what we have|even better|already in`)
	ask := Found{Level: LevelAsk, What: "soft", Ask: "Could you come closer?"}
	r := review(t)
	for _, level := range []string{LevelOK, LevelAsk, LevelRedo, LevelMissing} {
		for _, asks := range [][]Found{nil, {ask}} {
			for _, c := range []struct {
				left, partly bool
				release      string
				says         string
			}{
				{left: true, says: "It is not in the film yet"}, {partly: true,
					says: "It is only partly in the film yet"},
				{left: true, release: "no", says: "nothing of it is published"},
			} {
				r.Takes = []Reviewed{{Name: "horn-2", Player: "Ilse Brandt", Level: level, Findings: asks,
					LeftOut: c.left, Partly: c.partly, Release: c.release}}
				got := r.letter(0)
				if used.MatchString(strings.ReplaceAll(got, "we cannot use it", "")) {
					t.Errorf("level %s, %d questions, %+v:\n%s", level, len(asks), c, got)
				}
				if (level == LevelOK || level == LevelAsk) && !strings.Contains(got, c.says) {
					t.Errorf("level %s, %d questions: the letter does not say %q:\n%s", level, len(asks), c.says, got)
				}
				if level == LevelAsk && asks != nil && c.release == "" &&
					!strings.Contains(got, "- Could you come closer?") {
					t.Errorf("the question is missing:\n%s", got)
				}
			}
			r.Takes[0].LeftOut, r.Takes[0].Partly, r.Takes[0].Release = false, false, ""
			if got := r.letter(0); (level == LevelOK || level == LevelAsk) && (!used.MatchString(got) ||
				strings.Contains(got, "not in the film")) {
				t.Errorf("level %s: a take that is used:\n%s", level, got)
			}
		}
	}
}
