package blend

import (
	"fmt"
	"math"
	"math/rand/v2"
	"reflect"
	"testing"

	"ripieno/mix/audio"
	"ripieno/mix/mask"
)

// seconds is how long the pieces of these tests last.
const seconds = 16

// part is a strip that sounds throughout in some bands, at −30 dB of full scale and louder by db.
func part(name string, db float64, bands ...int) mask.Strip {
	l := &mask.Levels{Moments: make([][mask.Bands]float32, int(audio.FramesAt(seconds)/mask.Step))}
	for i := range l.Moments {
		for b := range l.Moments[i] {
			l.Moments[i][b] = -150
		}
		for _, b := range bands {
			l.Moments[i][b] = float32(-30 + db - 10*math.Log10(float64(len(bands))))
		}
	}
	return mask.Strip{Levels: l, Group: name}
}

// whole is one phrase over the whole piece.
func whole(roles ...Role) []Phrase { return []Phrase{{0, audio.FramesAt(seconds), roles}} }

// equal says that all strips begin equally loud.
func equal(strips []mask.Strip) []audio.Decibels { return make([]audio.Decibels, len(strips)) }

// moved returns what a strip is moved by in its first phrase, dB.
func moved(b Blend) float64 {
	if len(b.Moves) == 0 {
		return 0
	}
	return float64(b.Moves[0].Gain)
}

// with returns the strips with what was found, for mask.Find.
func with(strips []mask.Strip, found []Blend) []mask.Strip {
	out := append([]mask.Strip(nil), strips...)
	for i, b := range found {
		out[i].Gain += b.Register
		for _, m := range b.Moves {
			out[i].Moves = append(out[i].Moves, mask.Move{Span: mask.Span{From: m.From, To: m.To}, Gain: m.Gain})
		}
	}
	return out
}

// Of two parts of one level the lower one is heard softer (ISO 226) and is lifted, the other is
// not; two in one register are left alone.
func TestRegisterMoves(t *testing.T) {
	strips := []mask.Strip{part("low", 0, 0, 1), part("high", 0, 14, 15), part("middle", 0, 8)}
	found := Find(strips, equal(strips), nil)
	if low, high := found[0].Register, found[1].Register; low < 1 || high >= low || low > mostRegister {
		t.Errorf("low %+.1f dB, high %+.1f dB", float64(low), float64(high))
	}
	same := []mask.Strip{part("one", 0, 8), part("two", 0, 8)}
	if found := Find(same, equal(same), nil); found[0].Register != 0 || found[1].Register != 0 {
		t.Errorf("of one register: %+v", found)
	}
}

// Whoever has the tune is brought out from behind another, and with the tune the gain goes to
// the other. Without roles that does not happen.
func TestTheTuneIsBroughtOut(t *testing.T) {
	// The first lies 6 dB under the second in one band, the third is elsewhere.
	strips := []mask.Strip{part("one", -7, 8), part("two", 0, 8), part("three", 0, 3)}
	found := Find(strips, equal(strips), whole(Melody, Fill, Bass))
	if h := mask.Find(strips); h[0].Share < 0.9 {
		t.Fatalf("hidden for %.2f: this proves nothing", h[0].Share)
	}
	if h := mask.Find(with(strips, found)); h[0].Share > 0.1 || h[1].Share > 0.1 {
		t.Errorf("the tune is hidden for %.2f, the other for %.2f: %+v", h[0].Share, h[1].Share, found)
	}
	if moved(found[0]) < 2 || moved(found[1]) > -1 {
		t.Errorf("the tune is moved by %+.1f dB, the other by %+.1f", moved(found[0]), moved(found[1]))
	}
	other := Find(strips, equal(strips), whole(Fill, Melody, Bass))
	if moved(other[1]) < 0 || moved(other[0]) >= moved(found[0]) || found[0].Register != other[0].Register {
		t.Errorf("with the tune in the other part %+v, before %+v", other, found)
	}
	if nobody := Find(strips, equal(strips), whole(Fill, Fill, Fill)); reflect.DeepEqual(nobody, found) {
		t.Error("roles move nothing")
	}
}

// A bass that is covered is held up; a filling voice that is heard better than the tune gives way,
// and stays heard.
func TestBassAndFilling(t *testing.T) {
	strips := []mask.Strip{part("tune", 0, 10), part("bass", -8, 1), part("boom", 0, 1), part("fill", 6, 5)}
	found := Find(strips, equal(strips), whole(Melody, Bass, Fill, Fill))
	if moved(found[1]) < 1 || moved(found[2]) >= 0 || moved(found[3]) >= 0 || moved(found[3]) < -2 {
		t.Errorf("%+v", found)
	}
	if h := mask.Find(with(strips, found)); h[1].Share > 0.1 || h[2].Share > 0.1 || h[3].Share > 0.1 {
		t.Errorf("hidden after it: %+v", h)
	}
}

// Each phrase has its own moves, what stays the same is one move, and outside of the phrases
// nothing moves.
func TestPhraseByPhrase(t *testing.T) {
	strips := []mask.Strip{part("one", -7, 8), part("two", -7, 8), part("three", 0, 8)}
	at := audio.FramesAt
	phrases := []Phrase{{at(2), at(6), []Role{Melody, Fill, Fill}}, {at(6), at(10), []Role{Melody, Fill, Fill}},
		{at(10), at(14), []Role{Fill, Melody, Fill}}, {at(14), at(15), []Role{None, None, None}}}
	found := Find(strips, equal(strips), phrases)
	one := found[0].Moves
	if len(one) < 2 || one[0].From != at(2) || one[0].To != at(10) || one[0].Role != Melody || one[1].Role != Fill ||
		one[0].Gain <= one[1].Gain || one[len(one)-1].To != at(14) {
		t.Errorf("%+v", one)
	}
}

// Whatever is played: gains stay within what is said of them, strips of a group get the same, no
// moves lie over each other, and the same strips give the same.
func TestBlendKeepsItsBounds(t *testing.T) {
	r := rand.New(rand.NewPCG(19, 6))
	moves := 0
	for range 60 {
		var strips []mask.Strip
		var starts []audio.Decibels
		for i := range 2 + r.IntN(6) {
			first := r.IntN(mask.Bands - 3)
			strips = append(strips, part(fmt.Sprint("part ", i/2), 12*r.Float64()-6, first, first+1+r.IntN(2)))
			starts = append(starts, audio.Decibels(8*r.Float64()-4))
			if i%2 == 1 {
				starts[i] = starts[i-1]
			}
		}
		var phrases []Phrase
		for from := 0.0; from < seconds; from += 4 {
			p := Phrase{From: audio.FramesAt(from), To: audio.FramesAt(from + 4)}
			for range strips {
				p.Roles = append(p.Roles, Role(r.IntN(4)))
			}
			phrases = append(phrases, p)
		}
		found := Find(strips, starts, phrases)
		if !reflect.DeepEqual(found, Find(strips, starts, phrases)) {
			t.Fatal("another result for the same strips")
		}
		for i, b := range found {
			start := float64(starts[i] + b.Register)
			if math.Abs(float64(b.Register)) > mostRegister {
				t.Errorf("register %+.1f dB", float64(b.Register))
			}
			if k := i &^ 1; !reflect.DeepEqual(b, found[k]) {
				t.Errorf("one group, but %+v and %+v", b, found[k])
			}
			for n, m := range b.Moves {
				least, most := m.Role.bounds(start)
				if g := float64(m.Gain); g < least-0.25 || g > most+0.25 || m.To <= m.From || n > 0 &&
					m.From < b.Moves[n-1].To || m.Role == None {
					t.Errorf("%+v of a part that begins %+.1f dB off", m, start)
				}
				moves++
			}
		}
	}
	if moves < 100 {
		t.Errorf("only %d moves", moves)
	}
	one := []mask.Strip{part("a", 0, 3), part("a", 5, 9)}
	if found := Find(one, equal(one), nil); found[0].Register != 0 || found[0].Moves != nil {
		t.Errorf("one group alone is moved: %+v", found)
	}
}
