package soundtrack

import (
	"context"
	"errors"
	"fmt"
	"io"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"ripieno/assemble/fault"
	"ripieno/assemble/ffmpeg"
	"ripieno/assemble/media"
	"ripieno/assemble/plan"
	"ripieno/assemble/plan/plantest"
	"ripieno/assemble/progress"
	"ripieno/assemble/store"
	"ripieno/assemble/task"
	"ripieno/mix"
	"ripieno/mix/audio"
	"ripieno/mix/audio/audiotest"
)

// sine returns seconds of a sine of one channel at 48 kHz.
func sine(hz, amplitude, seconds float64) audio.Block {
	x := make([]float64, int(seconds*audio.Rate))
	for i := range x {
		x[i] = amplitude * math.Sin(2*math.Pi*hz*float64(i)/audio.Rate)
	}
	return audio.Block{x}
}

// mixed plans the production with words of its manifest replaced, for takes that sound
// like the blocks given, and runs what edges returns.
func mixed(t *testing.T, like map[string]audio.Block, changes []string, edges func(*Track) []task.Edge) (*Track,
	task.Result) {
	t.Helper()
	return mixedAs(t, Casting{}, like, changes, edges)
}

// mixedAs does what mixed does for players who are known.
func mixedAs(t *testing.T, who Casting, like map[string]audio.Block, changes []string,
	edges func(*Track) []task.Edge) (*Track, task.Result) {
	t.Helper()
	pl := plantest.Plan(t, round, false, changes...)
	var sounds []Sound
	for _, s := range pl.Strips {
		x := task.Task{ID: task.ID("sound", s.Take), Action: store.NewAction("sound").Arg("take", s.Take).Ext(".wav"),
			Make: func(ctx context.Context, _ task.Inputs, tmp string, _ func(float64)) error {
				if like[s.Take] == nil {
					return errors.New("no such sound")
				}
				_, err := media.CreateWAV(ctx, tmp, audio.NewMemory(like[s.Take], audio.Rate), media.Float32)
				return err
			}}
		sounds = append(sounds, Sound{Samples: task.Path(x), Name: s.Take, File: s.Take + ".wav", Seconds: 10})
	}
	track := New(plainTool(nil), 2, pl, sounds, nil, who)
	s, err := store.Open(filepath.Join(t.TempDir(), "store"))
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { s.Close() })
	if err := s.Lock(t.Context()); err != nil {
		t.Fatal(err)
	}
	res, err := task.Run(t.Context(), s, progress.New(nil, progress.Quiet), 2, task.Collect(edges(track)...))
	var failed task.Failures
	if err != nil && !errors.As(err, &failed) {
		t.Fatal(err)
	}
	return track, res
}

// read returns the samples of a WAV file.
func read(t *testing.T, path string) audio.Block {
	t.Helper()
	wav, err := media.OpenWAV(path)
	if err != nil {
		t.Fatal(err)
	}
	defer wav.Close()
	b, err := audio.ReadAll(wav)
	if err != nil {
		t.Fatal(err)
	}
	return b
}

// rms returns the root of the mean square of samples.
func rms(x []float64) float64 {
	sum := 0.0
	for _, v := range x {
		sum += v * v
	}
	return math.Sqrt(sum / float64(max(1, len(x))))
}

// dry is a mix by hand of two measures, without room, lead-in or cleaning: what is
// recorded is what is heard. Measure 1 is at guide time 4 s.
var dry = []string{"measures: 4}", "measures: 2}", "mix: {loudness: -16, true_peak: -1, room: 0.2}",
	"picture: {lead_in: 0, tail: 0}\nmix: {loudness: -16, true_peak: -1, balance: manual, clean: off, pan_law: linear}"}

// Every strip has its gain, its section's and its place; stems of takes are what is in
// the sum, and those of sections add up to it. The oboe is hard left at its own level,
// the cello in the middle 1.5 dB softer by its section, the bass 6 dB softer still.
func TestStemsAddUpToTheSum(t *testing.T) {
	like := map[string]audio.Block{"oboe": sine(1000, 0.25, 9), "cello": sine(2000, 0.25, 9), "bass": sine(3000, 0.25,
		9)}
	changes := append(slices.Clone(dry), "{name: oboe, ", "{name: oboe, pan: -100, ", "{name: cello, ",
		"{name: cello, pan: 0, ", "{name: bass, ", "{name: bass, pan: 100, gain: -6, ")
	track, res := mixed(t, like, changes, func(t *Track) []task.Edge {
		list := []task.Edge{t.Sum}
		for _, s := range t.Stems() {
			list = append(list, s.Made)
		}
		return list
	})
	path, ok, err := track.Sum.Result(res)
	if err != nil || !ok {
		t.Fatalf("no sum: %v, %v", ok, err)
	}
	sum := read(t, path)
	if sum.Frames() != 4*audio.Rate || track.line.AudioStart != 4*audio.Rate {
		t.Fatalf("%d frames from %d", sum.Frames(), track.line.AudioStart)
	}
	added := map[string]audio.Block{"take": audio.NewBlock(2, sum.Frames()), "section": audio.NewBlock(2, sum.Frames())}
	for _, s := range track.Stems() {
		made, ok, err := s.Made.Result(res)
		if err != nil || !ok {
			t.Fatalf("%s: %v, %v", s.File, ok, err)
		}
		b, kind := read(t, made), "take"
		if s.Take == "" {
			kind = "section"
		}
		if b.Frames() != 8*audio.Rate { // from guide time 0
			t.Fatalf("%s has %d frames", s.File, b.Frames())
		}
		if early := rms(b[0][:4*audio.Rate]); early != 0 {
			t.Errorf("%s sounds before the film", s.File)
		}
		for c := range b {
			for i, v := range b[c][4*audio.Rate:] {
				added[kind][c][i] += v
			}
		}
		db := func(c int) float64 { return 20 * math.Log10(rms(b[c][5*audio.Rate:7*audio.Rate])*math.Sqrt2/0.25) }
		switch s.Take {
		case "oboe":
			if l, r := db(0), rms(b[1]); math.Abs(l) > 0.02 || r != 0 {
				t.Errorf("the oboe is at %.3f dB on the left, %v on the right", l, r)
			}
		case "cello": // linear law: half on either side
			if l, r := db(0), db(1); math.Abs(l+1.5+6.0206) > 0.02 || math.Abs(l-r) > 1e-9 {
				t.Errorf("the cello is at %.3f and %.3f dB", l, r)
			}
		case "bass":
			if r := db(1); math.Abs(r+7.5) > 0.02 {
				t.Errorf("the bass is at %.3f dB on the right", r)
			}
		}
	}
	for kind, b := range added {
		for c := range b {
			for i, v := range b[c] {
				if math.Abs(v-sum[c][i]) > 1e-6 { // of 32-bit floats
					t.Fatalf("all stems of a %s give %v at frame %d, the sum is %v", kind, v, i, sum[c][i])
				}
			}
		}
	}
}

// Trims and mutes silence a take to the sample of the manifest's measures, and nobody
// else; the fade of the film is on the sum.
func TestWhatIsCutAway(t *testing.T) {
	like := map[string]audio.Block{"oboe": sine(1000, 0.25, 9), "cello": sine(2000, 0.25, 9), "bass": sine(3000, 0.25,
		9)}
	changes := append(slices.Clone(dry), "{name: oboe, ", "{name: oboe, trim: {from: m2}, ", "{name: cello, ",
		"{name: cello, mutes: [{from: m1.3, to: m2}], ")
	track, res := mixed(t, like, changes, (*Track).LooseEdges)
	strips, failed := track.Loose(res)
	if len(strips) != 3 || len(failed) != 0 {
		t.Fatalf("%d strips, %v", len(strips), failed)
	}
	for _, s := range strips {
		b := read(t, s.Voice)
		loud := func(from, to float64) float64 { // in guide time
			at := func(g float64) int { return min(max(0, int(audio.FramesAt(g)-s.From)), b.Frames()) }
			return rms(b[0][at(from):at(to)])
		}
		sounds := map[string][2]float64{"first half": {4.1, 4.9}, "second half": {5.1, 5.9}, "measure 2": {6.1, 7.9}}
		want := map[string]string{"oboe": "measure 2", "cello": "first half measure 2",
			"bass": "first half second half measure 2"}[s.Take]
		for name, span := range sounds {
			if heard := loud(span[0], span[1]) > 0.1; heard != strings.Contains(want, name) {
				t.Errorf("%s is heard in the %s: %v", s.Take, name, heard)
			}
		}
		if s.Balance != 0 || float64(s.Alone) < -16.5 || float64(s.Alone) > -11 {
			t.Errorf("%s: balance %v, alone %v", s.Take, s.Balance, s.Alone)
		}
	}
}

// A take that cannot be made is told with its reason and stops no other voice.
func TestAVoiceThatFails(t *testing.T) {
	like := map[string]audio.Block{"oboe": sine(1000, 0.25, 9), "bass": sine(3000, 0.25, 9)}
	track, res := mixed(t, like, dry, (*Track).LooseEdges)
	strips, failed := track.Loose(res)
	if len(strips) != 2 || strips[0].Take != "oboe" || strips[1].Take != "bass" || len(failed) != 1 ||
		failed["cello"] == nil || !strings.Contains(failed["cello"].Error(), "failed") {
		t.Errorf("%d strips, %v", len(strips), failed)
	}
}

// The report beside a sum has every strip in the order of the mix, with what was applied.
func TestTheReportOfASum(t *testing.T) {
	like := map[string]audio.Block{"oboe": sine(1000, 0.25, 9), "cello": sine(2000, 0.025, 9), "bass": sine(3000, 0.25,
		9)}
	changes := append(slices.Clone(dry), "balance: manual", "balance: auto")
	track, res := mixed(t, like, changes, func(t *Track) []task.Edge { return []task.Edge{t.Sum} })
	path, ok, err := track.Sum.Result(res)
	if err != nil || !ok {
		t.Fatalf("no sum: %v, %v", ok, err)
	}
	rep, err := store.Load[soundReport](filepath.Join(filepath.Dir(path), reportFile))
	if err != nil || len(rep.Strips) != 3 || len(rep.Voices) != 3 || len(rep.Gains) != 3 {
		t.Fatalf("%+v, %v", rep, err)
	}
	// Tenfold softer, so 20 dB more of gain; of sines at 1, 2 and 3 kHz the loudness differs
	// by the filter of BS.1770, table 1: it rises by 3.3 dB towards 3 kHz.
	if by := float64(rep.Strips[0].Integrated - rep.Strips[1].Integrated); by < 16 || by > 20 {
		t.Errorf("the cello is %v dB softer as recorded", by)
	}
	for i, g := range rep.Gains {
		// What balance brings to the common loudness, the section is added to.
		if mixed := float64(rep.Voices[i].Measured.Integrated) +
			float64(g-track.parts[i].Group); math.Abs(mixed-float64(mix.StripTarget)) > 0.05 {
			t.Errorf("strip %d is at %v LUFS in the mix", i, mixed)
		}
	}
	if s := float64(rep.Sum.Integrated); s < float64(mix.StripTarget)-6 || s > float64(mix.StripTarget)+10 {
		t.Errorf("the sum is at %v LUFS", s)
	}
}

// encoder is a fake ffmpeg whose encoding changes the sound as change says; a decoder
// gives back what was written.
func encoder(t *testing.T, change func(try int, b audio.Block)) *ffmpeg.Tool {
	t.Helper()
	tries := 0
	return plainTool(func(c ffmpeg.Command) error {
		from := strings.TrimPrefix(c.Args[slices.Index(c.Args, "-i")+1], "file:")
		to := c.Args[len(c.Args)-1]
		if at := slices.Index(c.Args, "-y"); at >= 0 && strings.HasSuffix(c.Args[at+1], ".wav") {
			to = c.Args[at+1]
		}
		b := read(t, from)
		if strings.HasSuffix(to, ".m4a") {
			change(tries, b)
			tries++
		}
		_, err := media.CreateWAV(t.Context(), strings.TrimPrefix(to, "file:"), audio.NewMemory(b, audio.Rate),
			media.Float32)
		return err
	})
}

// mastered masters a sum with an encoder, and returns the report and the master.
func mastered(t *testing.T, tool *ffmpeg.Tool, sum audio.Block) (Report, audio.Block, error) {
	t.Helper()
	from, to := t.TempDir(), t.TempDir()
	measured, err := writeSum(t.Context(), audio.NewMemory(sum, audio.Rate), filepath.Join(from, sumWAV))
	if err == nil {
		err = store.Save(filepath.Join(from, reportFile), soundReport{Sum: measured})
	}
	if err != nil {
		t.Fatal(err)
	}
	b := bus{tool: tool, workers: 1, title: "Test Round", mix: plan.Mix{Loudness: -16, TruePeak: -1},
		line: plan.Timeline{AudioLen: audio.Frames(sum.Frames())}}
	last := 0.0
	err = b.masterSum(t.Context(), from, to, func(x float64) {
		if x <= last || x > 1 {
			t.Errorf("done by %v after %v", x, last)
		}
		last = x
	})
	if err != nil {
		return Report{}, nil, err
	}
	rep, err := store.Load[soundReport](filepath.Join(to, reportFile))
	if err != nil {
		t.Fatal(err)
	}
	return rep, read(t, filepath.Join(to, masterWAV)), nil
}

// amplify changes a block by decibels.
func amplify(b audio.Block, db float64) {
	g := math.Pow(10, db/20)
	for _, ch := range b {
		for i := range ch {
			ch[i] *= g
		}
	}
}

// bursts returns three seconds of stereo with bursts that a limiter has to cut.
func bursts() audio.Block {
	b := audio.Block{sine(997, 0.05, 3)[0], sine(1499, 0.05, 3)[0]}
	for i := range b[0] {
		if i%24000 < 240 {
			b[0][i], b[1][i] = 16*b[0][i], 16*b[1][i]
		}
	}
	return b
}

// The delivered sound is what counts, not the master: an encoder that overshoots makes
// the limiter's ceiling go down until nothing of it is over, and the loudness stays
// where that is possible. Levels are those of EBU R 128 and BS.1770 as package loudness
// measures them.
func TestEncodersThatOvershoot(t *testing.T) {
	for _, c := range []struct {
		what   string
		change func(try int, b audio.Block)
		least  int // tries
	}{
		{"an honest encoder", func(int, audio.Block) {}, 1},
		{"0.7 dB of overshoot", func(_ int, b audio.Block) { amplify(b, 0.7) }, 2},
		{"softer by 1 dB", func(_ int, b audio.Block) { amplify(b, -1) }, 2},
		{"one that overshoots once", func(try int, b audio.Block) {
			if try == 0 {
				amplify(b, 2)
			}
		}, 2},
		{"with nothing but peaks", func(_ int, b audio.Block) {
			for i := range b[0] {
				b[0][i] *= 1 + 0.3*math.Max(0, math.Abs(b[0][i])-0.3)
			}
		}, 2},
	} {
		rep, master, err := mastered(t, encoder(t, c.change), bursts())
		if err != nil {
			t.Errorf("%s: %v", c.what, err)
			continue
		}
		if rep.AAC.TruePeak > -1 || math.Abs(float64(rep.AAC.Integrated)+16) > 2*closeEnough || !rep.Master.Reached {
			t.Errorf("%s: %v dBTP, %v LUFS, reached %v (%s)", c.what, rep.AAC.TruePeak, rep.AAC.Integrated,
				rep.Master.Reached, rep.Master.Reason)
		}
		if rep.Tries < c.least || rep.Tries > ceilingTries+1 || c.least == 1 && rep.Tries != 1 {
			t.Errorf("%s took %d tries", c.what, rep.Tries)
		}
		if master.Frames() != 3*audio.Rate || len(rep.Curve.Momentary) != 30 || len(rep.Curve.Short) != 30 ||
			rep.Master.Limited <= 0 || rep.Master.Limited >= 1 {
			t.Errorf("%s: %d frames, %d points, limited %v", c.what, master.Frames(), len(rep.Curve.Momentary),
				rep.Master.Limited)
		}
	}
}

// An encoder that gives peaks over the ceiling whatever it gets is given up on, with
// what a person can change.
func TestAnEncoderThatIsHopeless(t *testing.T) {
	tries := 0
	_, _, err := mastered(t, encoder(t, func(_ int, b audio.Block) {
		tries++
		b[0][1000] = 1.5
	}), bursts())
	var f *fault.Fault
	if !errors.As(err, &f) || f.Kind != fault.Failed || !strings.Contains(f.What, "over a ceiling of -1.0") ||
		!strings.Contains(f.Hint, "true_peak under mix") || tries != encodingTries {
		t.Errorf("after %d tries: %v", tries, err)
	}
}

// Silence has no loudness to reach: it stays silent, and nothing is searched for ever.
func TestMasteringSilence(t *testing.T) {
	rep, master, err := mastered(t, encoder(t, func(int, audio.Block) {}), audio.NewBlock(2, audio.Rate))
	if err != nil || rep.Tries != 1 || rms(master[0]) > 1e-6 || !math.IsInf(float64(rep.AAC.Integrated), -1) {
		t.Errorf("%d tries, %v, %v", rep.Tries, rep.AAC, err)
	}
	broken := errors.New("the encoder is broken")
	if _, _, err := mastered(t, plainTool(func(ffmpeg.Command) error { return broken }), bursts()); !errors.Is(err,
		broken) {
		t.Errorf("%v", err)
	}
	if err := (bus{}).masterSum(t.Context(), t.TempDir(), t.TempDir(), func(float64) {}); err == nil {
		t.Error("a folder without a sum was mastered")
	}
}

// Sources of stems keep the contract of a source, whatever the block.
func TestSourcesOfStems(t *testing.T) {
	dir := t.TempDir()
	var paths []string
	for i, n := range []float64{0.05, 0.08} {
		path := filepath.Join(dir, fmt.Sprint(i, ".wav"))
		x := sine(440, 0.1, n)[0]
		if _, err := media.CreateWAV(t.Context(), path, audio.NewMemory(audio.Block{x, x}, audio.Rate),
			media.Float32); err != nil {
			t.Fatal(err)
		}
		paths = append(paths, path)
	}
	both := func() audio.Source {
		var a added
		for _, p := range paths {
			wav, err := media.OpenWAV(p)
			if err != nil {
				t.Fatal(err)
			}
			a.list = append(a.list, wav)
		}
		t.Cleanup(func() { a.Close() })
		return &a
	}
	audiotest.Source(t, both)
	audiotest.Source(t, func() audio.Source { return &added{} })
	audiotest.Source(t, func() audio.Source {
		return &afterSilence{Source: audio.NewMemory(sine(440, 0.1, 0.05), audio.Rate), left: 777}
	})
	audiotest.Source(t, func() audio.Source { return newCurved(audio.NewMemory(bursts(), audio.Rate), 3*audio.Rate) })
	all, err := audio.ReadAll(both())
	if err != nil || all.Frames() != int(0.08*audio.Rate) || len(all) != 2 {
		t.Fatalf("%d frames, %v", all.Frames(), err)
	}
	if v, one := all[0][100], read(t, paths[0])[0][100]; math.Abs(v-2*one) > 1e-7 {
		t.Errorf("two equal sounds give %v, one is %v", v, one)
	}
	out := filepath.Join(dir, "sum.wav")
	if err := addStems(t.Context(), paths, describe(media.Float32, "both", 0), out); err != nil {
		t.Fatal(err)
	}
	if b := read(t, out); b.Frames() != all.Frames() || math.Abs(b[1][50]-all[1][50]) > 1e-7 {
		t.Errorf("%d frames", b.Frames())
	}
	if err := addStems(t.Context(), append(paths, dir+"/gone.wav"), describe(media.Float32, "x", 0),
		out); !errors.Is(err, os.ErrNotExist) {
		t.Errorf("a stem that is not there: %v", err)
	}
}

// A curve has a point every tenth of a second, or fewer where it would have more than a
// picture has columns; an hour has no more points than a quarter of one.
func TestPointsOfACurve(t *testing.T) {
	for seconds, want := range map[audio.Frames]audio.Frames{0: 4800, 3: 4800, 120: 4800, 121: 9600, 3600: 144_000} {
		if got := newCurved(audio.NewMemory(nil, audio.Rate), seconds*audio.Rate).curve.Step; got != want {
			t.Errorf("of %d s a point every %d frames, want %d", seconds, got, want)
		}
	}
	if n := 3600 * audio.Rate / 144_000; n > curvePoints {
		t.Errorf("%d points", n)
	}
}

// How loud a programme is follows from all of it, and a source that fails is told.
func TestLoudnessOfAProgramme(t *testing.T) {
	// A stereo sine of 997 Hz at −20 dBFS on both channels is −20 LUFS and a little: EBU Tech
	// 3341, case 1 and 2, with a 1 kHz sine at −23 and −33 dBFS.
	x := sine(1000, math.Pow(10, -23.0/20), 5)[0]
	got, err := loudnessOf(func() (audio.Source, error) { return audio.NewMemory(audio.Block{x, x}, audio.Rate), nil })
	if err != nil || math.Abs(float64(got)+23) > 0.1 {
		t.Errorf("%v LUFS, %v", got, err)
	}
	got, err = loudnessOf(func() (audio.Source, error) {
		return audio.NewMemory(audio.NewBlock(2, 0), audio.Rate),
			nil
	})
	if err != nil || !math.IsInf(float64(got), -1) {
		t.Errorf("of nothing %v LUFS, %v", got, err)
	}
	broken := errors.New("cut off")
	for _, open := range []func() (audio.Source, error){
		func() (audio.Source, error) { return nil, broken },
		func() (audio.Source, error) {
			return &audiotest.Failing{Source: audio.NewMemory(audio.Block{x, x}, audio.Rate), Left: 5000, Err: broken},
				nil
		},
	} {
		if _, err := loudnessOf(open); !errors.Is(err, broken) {
			t.Errorf("%v", err)
		}
	}
}

// What is done when a source ends is done once it has, by whoever reads it.
func TestAtTheEnd(t *testing.T) {
	done := 0
	src := &atEnd{audio.NewMemory(sine(440, 1, 0.01), audio.Rate), func() { done++ }}
	buf := audio.NewBlock(1, 100)
	for k := 0; ; k++ {
		_, err := src.Read(buf)
		if err == io.EOF {
			break
		}
		if err != nil || done != 0 || k > 100 {
			t.Fatalf("read %d: %v, done %d times", k, err, done)
		}
	}
	if done != 1 {
		t.Errorf("done %d times", done)
	}
}
