package instrument

import (
	"fmt"
	"math"
	"math/cmplx"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/dsp/fourier"
)

var names = map[Kind]string{Flute: "flute", Oboe: "oboe", Clarinet: "clarinet", Horn: "horn", Violin: "violin",
	Viola: "viola", Cello: "cello", Guitar: "guitar", Glockenspiel: "glockenspiel"}

// home is a pitch in the middle of each kind's range.
var home = map[Kind]int{Flute: 81, Oboe: 76, Clarinet: 67, Horn: 62, Violin: 76, Viola: 64, Cello: 50, Guitar: 57,
	Glockenspiel: 93}

func chance() *rand.Rand { return rand.New(rand.NewPCG(3, 4)) }

// one plays a tone from 0.5 to 1.7 s in two and a half seconds.
func one(k Kind, level float64) []float64 {
	dst := make([]float64, 5*Rate/2)
	k.Play(dst, []Tone{{0.5, 1.7, Hertz(home[k], 440, 0), level}}, chance())
	return dst
}

func rms(x []float64) float64 {
	sum := 0.0
	for _, v := range x {
		sum += v * v
	}
	return math.Sqrt(sum / float64(len(x)))
}

// ISO 16 (A4 = 440) and the same scale at 442; frequencies to four decimals.
func TestHertz(t *testing.T) {
	for _, tt := range []struct {
		note     int
		at440    float64
		at442    float64
		nameOnly string
	}{{36, 65.4064, 65.7037, "C2"}, {48, 130.8128, 131.4074, "C3"}, {55, 195.9977, 196.8886, "G3"},
		{60, 261.6256, 262.8148, "C4"},
		{64, 329.6276, 331.1259, "E4"}, {69, 440, 442, "A4"}, {108, 4186.0090, 4205.0364, "C8"}} {
		for a4, want := range map[float64]float64{440: tt.at440, 442: tt.at442} {
			if got := Hertz(tt.note, a4, 0); math.Abs(got-want) > 6e-5 {
				t.Errorf("%s at A4 = %g: %.4f, want %.4f", tt.nameOnly, a4, got, want)
			}
		}
	}
	if got := Hertz(69, 440, 7.8514); math.Abs(got-442) > 1e-4 { // 442 is +7.8514 cents
		t.Errorf("440 raised by 7.8514 cents is %v", got)
	}
}

// Nothing sounds before a tone's start, and soon after it something does: on
// this the whole comparison with the truth stands.
func TestToneStartsOnTime(t *testing.T) {
	limits := map[Kind]float64{Guitar: 0.004, Glockenspiel: 0.003} // others in proportion to their attack
	for k, name := range names {
		x := one(k, 0.7)
		start := Rate / 2
		for i, v := range x[:start] {
			if v != 0 {
				t.Errorf("%s sounds %.1f ms early", name, float64(start-i)/Rate*1000)
				break
			}
		}
		most := 0.0
		for _, v := range x {
			most = max(most, math.Abs(v))
		}
		within := limits[k]
		if within == 0 {
			within = 0.8 * voices[k].attack
		}
		heard := 0
		for i, v := range x {
			if math.Abs(v) > 0.1*most {
				heard = i
				break
			}
		}
		if late := float64(heard-start) / Rate; late > within {
			t.Errorf("%s is heard %.1f ms after its start, want at most %.1f", name, late*1000, within*1000)
		}
		if tail := rms(x[len(x)-Rate/10:]); tail > 0.03*rms(x[start:start+Rate]) && k != Glockenspiel {
			t.Errorf("%s still sounds at %.4f, 0.7 s after its end", name, tail)
		}
	}
}

// spectrum returns the power from 0.7 to about 1.4 s, in bins of Rate/size.
func spectrum(x []float64) []float64 {
	const size = 1 << 15
	b := make([]float64, size)
	for i := range b {
		b[i] = x[Rate*7/10+i] * (0.5 - 0.5*math.Cos(2*math.Pi*float64(i)/size))
	}
	var out []float64
	for _, c := range fourier.NewFFT(size).Coefficients(nil, b) {
		out = append(out, math.Pow(cmplx.Abs(c), 2))
	}
	return out
}

func TestPitchAndColour(t *testing.T) {
	const bin = float64(Rate) / (1 << 15)
	profiles := map[Kind][]float64{}
	for k, name := range names {
		p := spectrum(one(k, 0.7))
		f := Hertz(home[k], 440, 0)
		// The centre of gravity round the fundamental is the pitch: vibrato
		// swings evenly about it.
		sum, weight := 0.0, 0.0
		for i := int(f * 0.97 / bin); i <= int(f*1.03/bin)+1; i++ {
			sum += float64(i) * bin * p[i]
			weight += p[i]
		}
		if cents := 1200 * math.Log2(sum/weight/f); math.Abs(cents) > 4 {
			t.Errorf("%s is %.1f cents off", name, cents)
		}
		// Share of the power in each of the first ten harmonics.
		shares := make([]float64, 10)
		total := 0.0
		for _, v := range p {
			total += v
		}
		for n := range shares {
			c := f * float64(n+1)
			for i := int(c * 0.975 / bin); i <= int(c*1.025/bin) && i < len(p); i++ {
				shares[n] += p[i] / total
			}
		}
		profiles[k] = shares
	}
	for a, x := range profiles {
		for b, y := range profiles {
			if a >= b {
				continue
			}
			d := 0.0
			for i := range x {
				d += math.Abs(math.Sqrt(x[i]) - math.Sqrt(y[i]))
			}
			if d < 0.2 {
				t.Errorf("%s and %s sound alike: %.2f between their harmonics", names[a], names[b], d)
			}
		}
	}
	if c := profiles[Clarinet]; c[1] > 0.1*c[0] || c[2] < c[1] {
		t.Errorf("a clarinet's even harmonics are weak, not %v", c)
	}
}

func TestLevels(t *testing.T) {
	for k, name := range names {
		loud, soft := rms(one(k, 0.9)[Rate/2:]), rms(one(k, 0.3)[Rate/2:])
		if ratio := loud / soft; ratio < 2.2 || ratio > 6 {
			t.Errorf("%s: level 0.9 is %.1f times level 0.3", name, ratio)
		}
		if loud < 0.01 || loud > 0.25 {
			t.Errorf("%s: rms %.3f at level 0.9", name, loud)
		}
		if a, b := fmt.Sprint(one(k, 0.5)[Rate:Rate+50]), fmt.Sprint(one(k, 0.5)[Rate:Rate+50]); a != b {
			t.Errorf("%s: two runs differ", name)
		}
	}
}

// Tones that begin before the buffer, end after it, or lie outside it.
func TestToneOutside(t *testing.T) {
	for k, name := range names {
		dst := make([]float64, Rate/2)
		k.Play(dst, []Tone{{-3, -2.5, 220, 1}, {-0.2, 0.1, 440, 1}, {0.3, 4, 440, 1}, {5, 6, 440, 1},
			{0.2, 0.2, 30000, 1}}, chance())
		for i, v := range dst {
			if math.IsNaN(v) || math.Abs(v) > 4 {
				t.Fatalf("%s: sample %d is %v", name, i, v)
			}
		}
	}
}

func TestClap(t *testing.T) {
	dst := make([]float64, Rate)
	const at = 0.4003
	Clap(dst, at, 0.8, chance())
	most, first := 0.0, -1
	for _, v := range dst {
		most = max(most, math.Abs(v))
	}
	for i, v := range dst {
		if v != 0 && float64(i)/Rate < at {
			t.Fatalf("sound %v before the hands meet", v)
		}
		if first < 0 && math.Abs(v) > most/4 {
			first = i
		}
	}
	if late := float64(first)/Rate - at; late > 0.0004 {
		t.Errorf("a quarter of the peak is reached %.2f ms after the hands meet", late*1000)
	}
	if most < 0.4 || most > 1.6 {
		t.Errorf("peak %.2f for level 0.8", most)
	}
	if early, late := rms(dst[first:first+Rate/50]), rms(dst[Rate*6/10:Rate*7/10]); late > early/300 {
		t.Errorf("a clap rings on: %.5f after 0.2 s against %.3f", late, early)
	}
}

func BenchmarkVoice(b *testing.B) {
	dst := make([]float64, Rate)
	for b.Loop() {
		Violin.Play(dst, []Tone{{0, 1, 440, 0.7}}, chance())
	}
}

func BenchmarkStruck(b *testing.B) {
	dst := make([]float64, Rate)
	for b.Loop() {
		Guitar.Play(dst, []Tone{{0, 0.5, 220, 0.7}}, chance())
	}
}

// A tone is heard to begin where its envelope stands 10 dB below its peak, sooner where it is
// slurred, and at once where it is plucked or struck.
func TestHeardWhereTheEnvelopePasses(t *testing.T) {
	for kind, v := range voices {
		for _, slurred := range []bool{false, true} {
			top := 0.0
			for at := 0.0; at < 0.5; at += 0.001 {
				top = max(top, v.envelope(at, 0.6, slurred))
			}
			below := 20 * math.Log10(v.envelope(kind.Heard(slurred), 0.6, slurred)/top)
			if math.Abs(below+10) > 1.2 { // it swells a little after its rise
				t.Errorf("%v: heard %.1f dB below its peak", kind, below)
			}
		}
		if kind.Heard(true) >= kind.Heard(false) {
			t.Errorf("%v is heard no sooner when slurred", kind)
		}
	}
	if Guitar.Heard(false) != 0 || Glockenspiel.Heard(true) != 0 {
		t.Error("what is struck is not heard at once")
	}
}
