package takes

import (
	"testing"

	"ripieno/assemble/ffmpeg"
	"ripieno/assemble/production"
	"ripieno/mix/align"
	"ripieno/mix/audio"
	"ripieno/mix/tempo"
)

// What is mended stays so where more of it goes with the player's other device than before, and
// where there is no other device that surely heard the same; else it is as it was.
func TestMendedPartsGoWithTheOtherDevice(t *testing.T) {
	match := func(agree int, confidence float64) align.Match {
		return align.Match{Windows: 30, Agree: agree, Confidence: confidence}
	}
	for _, c := range []struct {
		what          string
		before, after *align.Match
		kept          bool
	}{
		{"no other device", nil, nil, true},
		{"one that heard something else", new(match(4, 0.2)), new(match(3, 0.1)), true},
		{"more goes with it", new(match(14, 1)), new(match(27, 1)), true},
		{"no more goes with it", new(match(14, 1)), new(match(14, 1)), false},
		{"less goes with it", new(match(14, 1)), new(match(9, 1)), false},
		{"nothing goes with it any more", new(match(14, 1)), new(match(14, 0.5)), false},
	} {
		set, _ := oboe(ffmpeg.Recorded(ffmpeg.Version{Text: "7.1"}, nil, nil))
		man := &production.Production{}
		r := set.Takes[0].Audio
		m, err := tempo.New(tempo.Spec{Measures: 20, CountIn: tempo.CountIn{Measures: 2, CueMeasure: 2, CueBeat: 1},
			Changes: []tempo.Change{{Measure: 1, Meter: common(t), BPM: 100}}})
		if err != nil {
			t.Fatal(err)
		}
		man.Tempo = m
		pairs := func(m *align.Match) []align.Pair {
			if m == nil {
				return nil
			}
			return []align.Pair{{A: set.Takes[0].Video.Name(), B: r.Name(), Match: *m}}
		}
		l := &listened{pairs: pairs(c.before), placed: map[string]align.Placement{r.Name(): {Offset: 1, Sure: true}}}
		at := align.Break{Name: r.Name(), At: 20, Jump: 2, Offset: 1, Guide: 21, Sure: true}
		try := attempt{r, at, former{}, l.along(r.Name())}
		r.mend(audio.Break(20, 2), 0)
		l.pairs = pairs(c.after)
		refused := map[string]bool{}
		again := keepWhatFits(man, l, []attempt{try}, refused)
		if kept := len(r.Parts) == 2; kept != c.kept || again == c.kept || refused[r.Name()] == c.kept {
			t.Errorf("%s: parts %+v, heard again %v, refused %v", c.what, r.Parts, again, refused)
		}
		if told := len(r.Broken) == 1 && r.Broken[0].Mended; told != c.kept {
			t.Errorf("%s: told %+v", c.what, r.Broken)
		}
	}
}

func common(t *testing.T) tempo.Meter {
	t.Helper()
	meter, err := tempo.ParseMeter("4/4")
	if err != nil {
		t.Fatal(err)
	}
	return meter
}
