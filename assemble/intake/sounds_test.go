package intake

import (
	"context"
	"math"
	"math/rand/v2"
	"path/filepath"
	"sync"
	"testing"

	"ripieno/assemble/ffmpeg/ffmpegtest"
	"ripieno/assemble/media"
	"ripieno/mix/audio"
)

const testRate = 48000

// instrument is a made-up sound: harmonics, how much loudness differs from
// note to note (dB), vibrato, and whether notes die away.
type instrument struct {
	name      string
	harmonics []float64
	range_    float64
	vibrato   float64
	plucked   bool
}

var instruments = []instrument{
	{"flute", []float64{1, .1, .02}, 5, .003, false},
	{"steady flute", []float64{1, .05}, 0, 0, false}, // nearly a sine, the hardest case
	{"oboe", []float64{.4, .7, 1, .6, .4, .3, .2}, 6, .003, false},
	{"violin", []float64{1, .5, .33, .25, .2, .17, .14, .12, .11, .1, .09}, 6, .003, false},
	{"harp", []float64{1, .6, .4, .2, .1}, 6, 0, true},
	{"clarinet", []float64{1, 0, .5, 0, .3, 0, .15}, 6, .002, false},
}

// play makes a take: two seconds of a room, then notes for the given seconds,
// then a second of the room. The highest sample of the playing is 1, the
// noise of the room is at noiseDB (RMS).
func (in instrument) play(seconds float64, noiseDB float64) []float64 {
	made, _ := performances.LoadOrStore(performance{in.name, seconds}, sync.OnceValues(func() (x, room []float64) {
		return in.perform(seconds)
	}))
	playing, room := made.(func() ([]float64, []float64))()
	noise, x := math.Pow(10, noiseDB/20), make([]float64, len(playing))
	for i := range x {
		x[i] = playing[i] + float64(noise*room[i])
	}
	return x
}

// performances are what instruments have played so far, for so many seconds. Tests want
// the same in rooms of all kinds.
var performances sync.Map

type performance struct {
	name    string
	seconds float64
}

// perform returns what [instrument.play] plays, and the noise of a room beside it at
// 0 dB.
func (in instrument) perform(seconds float64) (x, room []float64) {
	rng := rand.New(rand.NewPCG(7, uint64(len(in.name))))
	var notes []float64
	for float64(len(notes)) < seconds*testRate {
		length := 0.2 + 0.6*rng.Float64()
		pitch := 220 * math.Pow(2, float64(rng.IntN(24))/12)
		amp := math.Pow(10, -in.range_*rng.Float64()/20)
		phase, start := 0.0, rng.Float64()*6
		phases := make([]float64, len(in.harmonics))
		for i := range phases {
			phases[i] = rng.Float64() * 6
		}
		for i := range int(length * testRate) {
			t := float64(i) / testRate
			phase += 2 * math.Pi * pitch * (1 + in.vibrato*math.Sin(2*math.Pi*5.5*t+start)) / testRate
			v := 0.0
			for k, a := range in.harmonics {
				v += a * math.Sin(float64(k+1)*phase+phases[k])
			}
			env := min(1, t/.03, (length-t)/.05) * (1 + .1*math.Sin(2*math.Pi*.7*t))
			if in.plucked {
				env *= math.Exp(-4 * t)
			}
			notes = append(notes, amp*env*v)
		}
	}
	top := 0.0
	for _, v := range notes {
		top = max(top, math.Abs(v))
	}
	x = make([]float64, 2*testRate+len(notes)+testRate)
	for i, v := range notes {
		x[2*testRate+i] = v / top
	}
	room = make([]float64, len(x))
	for i := range room {
		room[i] = rng.NormFloat64()
	}
	return x, room
}

// scale multiplies and limits to ±1, as a converter does, in steps of 16 bits.
func scale(x []float64, gain float64) []float64 {
	y := make([]float64, len(x))
	for i, v := range x {
		y[i] = math.Round(min(max(v*gain, -1), 32767.0/32768)*32768) / 32768
	}
	return y
}

func listen(t testing.TB, channels ...[]float64) Sound {
	t.Helper()
	s, err := Listen(audio.NewMemory(audio.Block(channels), testRate))
	if err != nil {
		t.Fatal(err)
	}
	return s
}

// throughCodec encodes with ffmpeg and decodes as a take is decoded.
func throughCodec(t testing.TB, x []float64, name string, args ...string) Sound {
	t.Helper()
	ctx := context.Background()
	dir := t.TempDir()
	raw := filepath.Join(dir, "raw.wav")
	if _, err := media.CreateWAV(ctx, raw, audio.NewMemory(audio.Block{x}, testRate), media.PCM16); err != nil {
		t.Fatal(err)
	}
	coded := ffmpegtest.Make(t, name, append([]string{"-i", raw}, args...)...)
	tool := ffmpegtest.Tool(t)
	info, err := media.Probe(ctx, tool, coded)
	if err != nil {
		t.Fatal(err)
	}
	decoded := filepath.Join(dir, "decoded.wav")
	if err := media.DecodeAudio(ctx, tool, info, decoded); err != nil {
		t.Fatal(err)
	}
	w, err := media.OpenWAV(decoded)
	if err != nil {
		t.Fatal(err)
	}
	defer w.Close()
	s, err := Listen(w)
	if err != nil {
		t.Fatal(err)
	}
	return s
}

// level returns the level of a finding with this code, -1 without one.
func level(found []Finding, code Code) Level {
	for _, f := range found {
		if f.Code == code {
			return f.Level
		}
	}
	return -1
}

// judgeSound judges a file that has nothing but this sound.
func judgeSound(s Sound) []Finding {
	f := File{Role: "audio", Name: "x.wav", Sound: &s}
	f.Info.Audio = &media.Audio{Rate: s.Rate, Channels: len(s.Channels)}
	return Judge(Facts{Take: "x", Files: []File{f}})
}

func TestGoodSoundIsNotMentioned(t *testing.T) {
	for _, in := range instruments {
		x := in.play(8, -66)
		for _, gain := range []float64{0.85, 0.25, 0.06} { // 1.4 dB under full scale at most
			if found := judgeSound(listen(t, scale(x, gain))); len(found) > 0 {
				t.Errorf("%s at %g: %+v", in.name, gain, found)
			}
		}
	}
}

// Driven 6 dB over full scale every instrument is to be asked about or redone,
// straight from the converter and after the codecs of phones; at 1 dB under
// full scale none is.
func TestClipping(t *testing.T) {
	t.Parallel()
	for n, in := range instruments {
		x := in.play(6, -66)
		for _, c := range []struct {
			gain float64
			aac  string
			want Level // at least
			not  bool
		}{
			{0.9, "", 0, true}, {0.9, "96k", 0, true},
			{2, "", Ask, false}, {2, "96k", Ask, false},
			{4, "", Redo, false},
		} {
			var s Sound
			switch {
			case c.aac != "" && n%2 == 0:
				continue // half of them through the codec is enough
			case c.aac == "":
				s = listen(t, scale(x, c.gain))
			default:
				s = throughCodec(t, scale(x, c.gain), "x.m4a", "-c:a", "aac", "-b:a", c.aac)
			}
			got := level(judgeSound(s), Clipped)
			if c.not && got >= 0 || !c.not && got < c.want {
				t.Errorf("%s × %g %s: %v, measured %+v", in.name, c.gain, c.aac, got, s.Channels[0])
			}
		}
	}
}
