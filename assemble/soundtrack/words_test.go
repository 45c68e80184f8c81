package soundtrack

import (
	"errors"
	"fmt"
	"math"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"ripieno/assemble/plan"
	"ripieno/assemble/task"
	"ripieno/layout/card"
	"ripieno/layout/direct"
	"ripieno/mix"
	"ripieno/mix/audio"
	"ripieno/mix/denoise"
	"ripieno/mix/expand"
	"ripieno/mix/loudness"
	"ripieno/mix/mask"
	"ripieno/mix/pan"
	"ripieno/mix/tempo"
	"ripieno/mix/tone"
)

var (
	silent = float32(math.Inf(-1))
	none   = loudness.LUFS(math.Inf(-1))
)

// What is wrong with a recording is told by its worst: one that is silent is not told
// to be short as well; repairs, clipping and broken samples are told beside.
func TestNotesOnRecordings(t *testing.T) {
	heard := mix.Analysis{Frames: 480_000, Seconds: 10, Peak: -6, Integrated: -20}
	loud := voiceInfo{Measured: mix.Measured{Integrated: -20}}
	with := func(change func(a *mix.Analysis, v *voiceInfo)) []string {
		a, v := heard, loud
		change(&a, &v)
		return recordingNotes(a, v)
	}
	for _, c := range []struct {
		what   string
		change func(a *mix.Analysis, v *voiceInfo)
		want   []string
	}{
		{"fine", func(*mix.Analysis, *voiceInfo) {}, nil},
		{"nothing recorded", func(a *mix.Analysis, _ *voiceInfo) { a.Frames, a.Seconds = 0, 0 }, []string{"silent"}},
		{"zeros", func(a *mix.Analysis, _ *voiceInfo) { a.Peak, a.Integrated = audio.Decibels(none), none },
			[]string{"silent"}},
		{"short", func(a *mix.Analysis, _ *voiceInfo) { a.Seconds, a.Integrated = 0.3, none },
			[]string{"only 0.3 s long"}},
		{"soft", func(a *mix.Analysis, _ *voiceInfo) { a.Integrated = none },
			[]string{"nothing loud enough to measure while it is in the film"}},
		{"cut away", func(_ *mix.Analysis, v *voiceInfo) { v.Measured.Integrated = none },
			[]string{"nothing is left of it after trims, mutes and filters"}},
		{"clipped and broken", func(a *mix.Analysis, _ *voiceInfo) { a.Clipped, a.Broken = 12, 3 },
			[]string{"clipped: 12 samples at full scale", "3 broken samples silenced"}},
	} {
		if got := with(c.change); !slices.Equal(got, c.want) {
			t.Errorf("%s: %q, want %q", c.what, got, c.want)
		}
	}
	for r := mix.AsRecorded + 1; r.String() != mix.Repair(200).String() && r < 20; r++ {
		if got := with(func(a *mix.Analysis, _ *voiceInfo) { a.Repair = r }); len(got) != 1 || got[0] != r.String() ||
			got[0] == "" {
			t.Errorf("repair %d is told as %q", r, got)
		}
	}
}

// The balance leaves a strip softer for its noise, or because nothing would bring it
// up; half a decibel is not worth saying.
func TestWhatIsHeldBack(t *testing.T) {
	for _, c := range []struct {
		integrated, noise float64
		known             bool
		want              string
	}{
		{float64(mix.StripTarget), -90, true, ""},
		{float64(mix.StripTarget) - float64(mix.MostBoost), -90, true, ""},
		{float64(mix.StripTarget) - float64(mix.MostBoost) - 0.4, -200, true, ""},
		{float64(mix.StripTarget) - float64(mix.MostBoost) - 3, -200, true, "so soft that"},
		{float64(mix.StripTarget) - float64(mix.MostBoost) - 3, 0, false, "leave it 3.0 dB short"},
		{float64(mix.StripTarget) - 10, float64(mix.NoiseCeiling) - 4, true,
			"kept 6.0 dB softer, or its noise would be heard"},
		{float64(mix.StripTarget) - 10, float64(mix.NoiseCeiling) - 4, false, ""},
		{math.Inf(-1), -90, true, ""},
		{math.NaN(), -90, true, ""},
	} {
		got := heldBack(mix.Analysis{Integrated: loudness.LUFS(c.integrated), NoiseFloor: loudness.LUFS(c.noise),
			NoiseKnown: c.known})
		if (c.want == "") != (len(got) == 0) || c.want != "" && !strings.Contains(got[0], c.want) {
			t.Errorf("%+v: %q", c, got)
		}
	}
}

// The noise of a voice has moved with its level, and has become less by what was done
// to it; a voice or recording without loudness moves nothing.
func TestNoiseOfAVoice(t *testing.T) {
	a := mix.Analysis{Integrated: -30, NoiseFloor: -60, NoiseKnown: true}
	h := mix.Heard{Noise: denoise.Noise{Known: true}, Playing: expand.Playing{Distance: 20}}
	depth := float64(h.Depth())
	if depth <= 0 {
		t.Fatal("this noise is reduced by nothing")
	}
	for _, c := range []struct {
		what  string
		strip plan.Strip
		voice float64
		want  float64
	}{
		{"as it is", plan.Strip{}, -30, -60},
		{"6 dB louder by its treatment", plan.Strip{}, -24, -54},
		{"denoised by hand", plan.Strip{Treat: plan.Treatment{Denoise: 8}}, -30, -68},
		{"made softer under the playing", plan.Strip{Clean: plan.Cleaning{Noise: true}}, -30, -60 - depth},
		{"closed in pauses", plan.Strip{Clean: plan.Cleaning{Silence: true}}, -30, -72},
		{"all together", plan.Strip{Treat: plan.Treatment{Denoise: 8}, Clean: plan.Cleaning{Noise: true,
			Silence: true}}, -24, -74 - depth},
		{"nothing is left", plan.Strip{}, math.Inf(-1), -60},
		{"no number", plan.Strip{}, math.NaN(), -60},
	} {
		got := asVoice(c.strip, a, voiceInfo{Measured: mix.Measured{Integrated: loudness.LUFS(c.voice)}}, h)
		if math.Abs(float64(got.NoiseFloor)-c.want) > 1e-9 {
			t.Errorf("%s: the noise is at %v, want %v", c.what, got.NoiseFloor, c.want)
		}
		if !math.IsNaN(c.voice) && float64(got.Integrated) != c.voice {
			t.Errorf("%s: the voice is at %v", c.what, got.Integrated)
		}
	}
}

// By hand the gain is what the manifest says; the balance adds what brings the voice to
// the common loudness (StripTarget), unless it has none.
func TestGains(t *testing.T) {
	s := plan.Strip{Gain: -3, Group: 1.5}
	v := voiceInfo{Measured: mix.Measured{Integrated: mix.StripTarget - 4}}
	a := mix.Analysis{Integrated: mix.StripTarget - 4, NoiseFloor: -150, NoiseKnown: true}
	if got := (bus{}).gain(s, a, v, mix.Heard{}); got != -1.5 {
		t.Errorf("by hand: %v", got)
	}
	b := bus{mix: plan.Mix{Balance: true}}
	if got := b.gain(s, a, v, mix.Heard{}); math.Abs(float64(got)-2.5) > 1e-9 {
		t.Errorf("balanced: %v, want 2.5", got)
	}
	v.Measured.Integrated = none
	if got := b.gain(s, a, v, mix.Heard{}); got != -1.5 {
		t.Errorf("silent: %v", got)
	}
}

// Levels in captions and drawings: what is not known is none, and drawn as silence.
func TestLevelsThatAreNone(t *testing.T) {
	for _, v := range []float64{math.NaN(), math.Inf(1), math.Inf(-1)} {
		if level(v) != "none" || !math.IsInf(orSilence(v), -1) {
			t.Errorf("%v is %q and %v", v, level(v), orSilence(v))
		}
	}
	if level(-16.04) != "-16.0" || orSilence(-16.04) != -16.04 {
		t.Errorf("%q, %v", level(-16.04), orSilence(-16.04))
	}
	list := hundredths([]float32{-16.044, silent, float32(math.NaN()), 0})
	if len(list) != 4 || *list[0] != -16.04 || list[1] != nil || list[2] != nil || *list[3] != 0 {
		t.Errorf("%v", list)
	}
	if c := (curve{Step: 4800, Momentary: []float32{-20}, Short: []float32{silent}}).Result(); c.Step != 0.1 ||
		*c.Momentary[0] != -20 || c.ShortTerm[0] != nil {
		t.Errorf("%+v", c)
	}
}

// A sound that is not in the middle is softer where left and right are added: with
// constant power by 3.01 dB at the ends, with the linear law never, with the law
// between them by half of it (the definitions in package pan).
func TestMonoLoss(t *testing.T) {
	for _, c := range []struct {
		law  pan.Law
		pan  float64
		want float64
	}{
		{pan.ConstantPower, 0, 0}, {pan.ConstantPower, -100, 3.01}, {pan.ConstantPower, 100, 3.01},
		{pan.ConstantPower, 50, 0.69},
		{pan.Linear, 70, 0}, {pan.Linear, -100, 0}, {pan.Compromise, -100, 1.51}, {pan.Compromise, 0, 0},
	} {
		if got := monoLoss(plan.Strip{Law: c.law, Pan: c.pan}); math.Abs(got-c.want) > 0.011 {
			t.Errorf("%v at %v: %v dB, want %v", c.law, c.pan, got, c.want)
		}
	}
}

// What was done to a take by itself is told where it can be heard, in words.
func TestWordsOfCleaning(t *testing.T) {
	num := func(v float64) *float64 { return &v }
	for _, c := range []struct {
		r    *CleanResult
		want []string
	}{
		{nil, nil},
		{&CleanResult{}, nil},
		{&CleanResult{Open: num(0.995)}, nil},
		{&CleanResult{Open: num(0.25)}, []string{"closed for 75 % of the film"}},
		{&CleanResult{Reduced: 6}, nil}, // by how much over what is not known
		{&CleanResult{Reduced: 6, Distance: num(21.4)},
			[]string{"noise 21 dB under the playing, reduced by up to 6 dB"}},
		{&CleanResult{Distance: num(21.4)}, nil},
		{&CleanResult{Rumble: 158}, []string{"rumble below its notes cut at 158 Hz"}},
		{&CleanResult{Hum: []float64{50.02}}, []string{"hum of the mains taken out at 50 Hz"}},
		{&CleanResult{Hum: []float64{59.98, 119.96, 179.94}}, []string{"hum of the mains taken out at 60, 120 and 180 Hz"}},
		{&CleanResult{TurnedUp: 5.6}, []string{
			"its level control turns it up by 6 dB in pauses, which is left as it is"}},
		{&CleanResult{Tops: 0.0359}, []string{"clipped: 3.6 % of its samples drawn again"}},
		{&CleanResult{Lows: 4.5, Presence: -1}, []string{"a phone: lows +4.5 dB, presence -1.0 dB"}},
		{&CleanResult{Presence: 2}, []string{"a phone: presence +2.0 dB"}},
		{&CleanResult{Open: num(0.5), Distance: num(20), Reduced: 3, Lows: 1},
			[]string{"closed for 50 % of the film", "noise 20 dB under the playing, reduced by up to 3 dB",
				"a phone: lows +1.0 dB, presence +0.0 dB"}},
	} {
		if got := c.r.words(); !slices.Equal(got, c.want) {
			t.Errorf("%+v: %q, want %q", c.r, got, c.want)
		}
	}
}

// Who is hidden for half of their playing is told, with the longest place and what
// would help.
func TestWordsOfHiding(t *testing.T) {
	spans := []HiddenSpan{{1, 4, "m1 to m2"}, {10, 20, "m5 to m9"}, {30, 32, "m15 to m15"}}
	for _, c := range []struct {
		r    *HiddenResult
		want []string
	}{
		{nil, nil},
		{&HiddenResult{Share: 0.49, Spans: spans, Lift: 3}, nil},
		{&HiddenResult{Share: 0.5, Lift: 3},
			[]string{"hidden by the others for 50 % of its playing; gain: +3.0 would bring it out"}},
		{&HiddenResult{Share: 0.8, Lift: 4.25, Spans: spans},
			[]string{"hidden by the others for 80 % of its playing, longest from m5 to m9; gain: +4.2 " +
				"would bring it out"}},
	} {
		if got := c.r.words(); !slices.Equal(got, c.want) {
			t.Errorf("%+v: %q, want %q", c.r, got, c.want)
		}
	}
	music := piece(t, 0, 8)
	r := hiddenResult(mask.Hidden{Share: 0.756, Lift: 2.5,
		Spans: []mask.Span{{From: audio.FramesAt(music.Start() + 2.1),
			To: audio.FramesAt(music.Start() + 6.1)}}}, music)
	if r.Share != 0.76 || r.Lift != 2.5 || len(r.Spans) != 1 || r.Spans[0].Measures != "m2 to m4" ||
		math.Abs(r.Spans[0].To-r.Spans[0].From-4) > 1e-9 {
		t.Errorf("%+v", r)
	}
}

// Those who play one part are heard together, whatever capitals it is written in; who
// plays none is alone.
func TestWhoIsHeardTogether(t *testing.T) {
	groups := map[string][]string{}
	for _, s := range []plan.Strip{{Take: "a", Part: "Horn 1"}, {Take: "b", Part: " horn 1 "},
		{Take: "c", Part: "Horn 2"}, {Take: "d"}, {Take: "e", Part: "  "}, {Take: "part horn 1"}} {
		g := part{Strip: s}.group()
		groups[g] = append(groups[g], s.Take)
	}
	var all []string
	for _, members := range groups {
		all = append(all, strings.Join(members, "+"))
	}
	slices.Sort(all)
	if want := []string{"a+b", "c", "d", "e", "part horn 1"}; !slices.Equal(all, want) {
		t.Errorf("%q, want %q", all, want)
	}
}

// Which files may be taken away as stems and stages of an earlier run.
func TestNamesOfStemsAndStages(t *testing.T) {
	for file, want := range map[string][2]bool{
		"takes/oboe.wav": {true, false}, "sections/low-strings.wav": {true, false}, "1-recorded.wav": {false, true},
		"takes/a/b.wav": {}, "other/a.wav": {}, "takes/a.mp3": {}, "a.mp3": {}, "": {}, "takes/": {},
		"/takes/a.wav":   {},
		"../takes/a.wav": {},
	} {
		if stem, stage := IsStem(file), IsStage(file); stem != want[0] || stage != want[1] {
			t.Errorf("%q: a stem %v, a stage %v", file, stem, stage)
		}
	}
	for start, want := range map[audio.Frames]audio.Frames{0: 0, 48000: 0, -48000: -48000} {
		if got := StemStart(plan.Timeline{AudioStart: start}); got != want {
			t.Errorf("of a film from %d stems begin at %d", start, got)
		}
	}
}

// Names of sections that give one file name have a number, and a section without any
// letter has one too; those in which nobody is heard have no stem.
func TestFilesOfSections(t *testing.T) {
	track := planned(t, plainTool(nil), "sections: [{name: winds, gain: 0}, {name: low strings, gain: -1.5}]",
		`sections: [{name: "low:strings"}, {name: low strings}, {name: "!!"}, {name: silent}]`,
		"part: Oboe, section: winds", "part: Oboe", "part: Cello, section: low strings",
		`part: Cello, section: "low:strings"`,
		"part: Bass, section: low strings", "part: Bass, section: low strings",
		"mix: {", "  - {name: drum, section: \"!!\", audio: {file: d.wav, offset: 0}}\nmix: {")
	var files []string
	for _, s := range track.Stems() {
		if s.Take == "" {
			files = append(files, s.Section+" "+filepath.ToSlash(s.File))
		}
	}
	want := []string{"low:strings stems/sections/low-strings.wav", "low strings stems/sections/low-strings-2.wav",
		"!! stems/sections/-2.wav", " stems/sections/without-section.wav"}
	if !slices.Equal(files, want) {
		t.Errorf("%q, want %q", files, want)
	}
}

// A step does what the one before it does and one thing more, and never what the take
// itself does not want.
func TestSteps(t *testing.T) {
	all := everything
	all.Piece = mix.Span{From: 1, To: 2}
	done := func(c plan.Cleaning) string {
		return fmt.Sprint(c.Tops, c.Silence, c.Noise, c.Hum, c.Rumble, c.Tone, c.Piece)
	}
	var got []string
	for _, step := range stageSteps {
		got = append(got, step.name+" "+done(step.of(all)))
		if c := step.of(plan.Cleaning{Noise: true}); c.Silence || c.Tone || c.Hum || c.Tops {
			t.Errorf("%s does %+v to a take that wants its noise reduced alone", step.name, c)
		}
		if step.of(plan.Cleaning{}).Any() {
			t.Errorf("%s cleans a take that wants none", step.name)
		}
	}
	no := " false false false false false false {1 2}"
	want := []string{"recorded" + no, "balance" + no, "tops true false false false false false {1 2}",
		"silence true true false false false false {1 2}", "noise true true true true true false {1 2}",
		"tone true true true true true true {1 2}", "master true true true true true true {1 2}"}
	if !slices.Equal(got, want) {
		t.Errorf("%q, want %q", got, want)
	}
}

// Stages are 20 s from 4 s before measure 1, or as much as the film has; each depends on
// what it does and on no more.
func TestStagesAsTasks(t *testing.T) {
	track := planned(t, plainTool(nil), "measures: 4}", "measures: 40}")
	music := piece(t, 2, 40)
	list := track.Stages(music)
	var files []string
	keys := map[string]string{}
	for _, s := range list {
		files = append(files, filepath.ToSlash(s.File))
		made := s.Made.Task()
		keys[made.Action.ID().String()] = s.Step
		if !slices.Contains(made.After, "sound/oboe") || !slices.Contains(made.After, "master") {
			t.Errorf("%s comes after %q", s.Step, made.After)
		}
	}
	if want := []string{"stages/1-recorded.wav", "stages/2-balance.wav", "stages/3-tops.wav", "stages/4-silence.wav",
		"stages/5-noise.wav", "stages/6-tone.wav", "stages/7-master.wav"}; !slices.Equal(files, want) || len(keys) != 7 {
		t.Errorf("%q with %d keys", files, len(keys))
	}
	if track.line.AudioLen < audio.FramesAt(stageSeconds) {
		t.Fatal("the film is too short for this test")
	}
}

// What a run could not make has the reason of whoever failed.
func TestWhyThereIsNothing(t *testing.T) {
	read, failed := errors.New("cannot be read"), errors.New("failed")
	if got := orFailure(read, task.Outcome{Err: failed}); got != read {
		t.Errorf("%v", got)
	}
	if got := orFailure(nil, task.Outcome{Err: failed}); got != failed {
		t.Errorf("%v", got)
	}
	if got := orFailure(nil, task.Outcome{State: task.Unneeded}); got == nil ||
		got.Error() != "nothing was made (unneeded)" {
		t.Errorf("%v", got)
	}
	track := planned(t, plainTool(nil))
	for _, x := range task.Collect(track.LooseEdges()...) {
		if strings.HasPrefix(x.ID, "level/") && !x.Keep {
			t.Errorf("%s is not made where its voice is stored", x.ID)
		}
	}
	strips, wrong := track.Loose(task.Result{})
	if len(strips) != 0 || len(wrong) != 3 {
		t.Errorf("%d strips, %v", len(strips), wrong)
	}
	if len(track.LooseEdges()) != 9 { // level, voice and heard of each
		t.Errorf("%d tasks", len(track.LooseEdges()))
	}
	heard, err := track.Heard(task.Result{})
	if err != nil || len(heard) != 3 {
		t.Errorf("%v, %v", heard, err)
	}
	found, err := track.Find(Report{}, task.Result{}, piece(t, 2, 4), direct.Cast{})
	if err != nil || len(found.Hidden) != 3 || found.Hidden[0] != nil || len(found.Tunes) != 3 ||
		len(found.Roles) != 3 || len(found.Rooms) != 3 || found.Rooms[0] != nil {
		t.Errorf("%+v, %v", found, err)
	}
	if got, err := track.Cleaned(task.Result{}); err != nil || len(got) != 0 {
		t.Errorf("%v, %v", got, err)
	}
	var nobody *Track
	if got, err := nobody.Cleaned(task.Result{}); err != nil || len(got) != 0 || nobody.Cleanings() != nil {
		t.Errorf("of no mix: %v, %v", got, err)
	}
	if len(track.Bands()) != 3 || len(track.Cleanings()) != 3 || len(track.Findings()) != 6 {
		t.Errorf("%d, %d, %d tasks", len(track.Bands()), len(track.Cleanings()), len(track.Findings()))
	}
}

// What --json says of strips and master: nothing that is not known is a number.
func TestResultsOfAMix(t *testing.T) {
	track := planned(t, plainTool(nil), "{name: bass, ", "{name: bass, pan: 100, send: none, ", "{name: oboe, ",
		"{name: oboe, pan: -25, ")
	inf := audio.Decibels(math.Inf(-1))
	rep := Report{Tries: 2, Gains: []audio.Decibels{1, 2, 3},
		Strips: []mix.Analysis{{Frames: 1, Seconds: 10, Integrated: -20, Peak: -3, NoiseFloor: -60, NoiseKnown: true},
			{Frames: 1, Seconds: 10, Integrated: none, Peak: inf}, {Frames: 1, Seconds: 10, Integrated: -30, Peak: -9}},
		Voices: []voiceInfo{{Measured: mix.Measured{Integrated: -21}}, {Measured: mix.Measured{Integrated: none}},
			{Measured: mix.Measured{Integrated: -29}}},
		Master: mix.MasterReport{Before: mix.Measured{Integrated: none}, Gain: 7, Reduction: 1.5, Limited: 0.25,
			Reached: true},
		AAC: mix.Measured{Integrated: -16, TruePeak: -1.2}}
	list := track.StripResults(rep, Found{Heard: make([]mix.Heard, 3),
		Cleaned: map[string]*CleanResult{"bass": {Presence: 1}},
		Hidden:  []*HiddenResult{nil, nil, {Share: 0.9, Lift: 2}},
		Tunes:   []*HiddenResult{nil, nil, {Share: 0.5, Lift: 3}},
		Roles:   [][]RoleResult{nil, nil, {{direct.HasMelody, HiddenSpan{Measures: "m1 to m2"}}}},
		Rooms:   []*RoomResult{nil, nil, {Decay: 0.42, Direct: 6.3}}})
	if len(list) != 3 {
		t.Fatalf("%+v", list)
	}
	if s := list[0]; s.Take != "oboe" || *s.Loudness != -20 || *s.Mixed != -20 || *s.Peak != -3 || *s.Noise != -60 ||
		s.Gain != 1 || *s.Send != 0 || s.Pan != -25 || s.Width != 1 || s.DelaySamples != 0 {
		t.Errorf("%+v", s)
	}
	if s := list[1]; s.Loudness != nil || s.Peak != nil || s.Mixed != nil || s.Noise != nil ||
		!slices.Contains(s.Notes, "silent") {
		t.Errorf("%+v", s)
	}
	s := list[2]
	if s.Send != nil || s.Clean == nil || s.Hidden == nil || s.MonoLoss != 3.01 {
		t.Errorf("%+v", s)
	}
	told := strings.Join(s.Notes, "; ")
	for _, want := range []string{"a phone: presence +1.0 dB", "hidden by the others for 90 %",
		"a room of 0.4 s, direct sound +6 dB against it", "melody in m1 to m2",
		"its melody is hidden by the others for 50 %; gain: +3.0 would bring it out",
		"3.0 dB softer where left and right are added"} {
		if !strings.Contains(told, want) {
			t.Errorf("no %q in %q", want, told)
		}
	}
	m := track.MasterResult(rep)
	if m.Target != -16 || m.Ceiling != -1 || m.Sum != nil || m.Gain != 7 || m.Tries != 2 || *m.AAC != -16 ||
		*m.AACPeak != -1.2 || !m.Reached || m.Limited != 0.25 || m.Reduction != 1.5 {
		t.Errorf("%+v", m)
	}
	rep.Curve = curve{Step: 4800, Momentary: []float32{-20, silent}, Short: []float32{silent, -18}}
	rep.Master.After = mix.Measured{Integrated: -16, Range: 4, TruePeak: audio.Decibels(math.Inf(-1))}
	pl := &plan.Plan{Tempo: piece(t, 2, 4)}
	o := track.Levels(pl, rep, make([]mix.Heard, 3), nil)
	if o.Title != "Test Round · levels" ||
		o.Summary != "integrated -16.0 LUFS · range 4.0 LU · true peak none dBTP · limiter 1.5 dB at most" ||
		len(o.Strips) != 3 || len(o.Momentary) != 2 || o.Target != -16 {
		t.Errorf("%+v", o)
	}
	if n := []float64{o.Strips[0].Noise, o.Strips[1].Noise}; n[0] == n[1] || n[1] != float64(loudness.Silence) {
		t.Errorf("noise at %v", n)
	}
	var ticks []string
	for _, k := range o.Ticks {
		ticks = append(ticks, fmt.Sprintf("%s %.1f", k.Text, k.At))
	}
	if want := []string{"m1 3.0", "m2 5.0", "m3 7.0", "m4 9.0"}; !slices.Equal(ticks, want) {
		t.Errorf("%q, want %q", ticks, want)
	}
	if _, err := card.Levels(o); err != nil {
		t.Errorf("it cannot be drawn: %v", err)
	}
}

// piece returns a piece of 4/4 at 120 beats a minute.
func piece(t *testing.T, countIn, measures int) *tempo.Map {
	t.Helper()
	meter, err := tempo.ParseMeter("4/4")
	if err != nil {
		t.Fatal(err)
	}
	m, err := tempo.New(tempo.Spec{CountIn: tempo.CountIn{Measures: countIn}, Measures: measures,
		Changes: []tempo.Change{{Measure: 1, Meter: meter, BPM: 120}}})
	if err != nil {
		t.Fatal(err)
	}
	return m
}

// A strip has what it is cleaned by as far as it wants it: an equaliser for a phone
// before its own, nothing at all where nothing is known.
func TestCleaningAStrip(t *testing.T) {
	h := mix.Heard{Noise: denoise.Noise{Known: true, Rate: 48000}, Playing: expand.Playing{Distance: 20,
		Phrases: []expand.Phrase{{From: 1, To: 2}}}}
	strip := mix.Strip{Offset: 10, EQ: []mix.Band{{Hz: 1000}}}
	got := applyCleaning(strip, plan.Cleaning{Silence: true, Noise: true}, h, tone.Usual)
	if len(got.Playing) != 1 || got.Playing[0].From != 11*48000 || got.Reduce == nil || got.Reduce.Depth != h.Depth() ||
		len(got.EQ) != 1 {
		t.Errorf("%+v", got)
	}
	h.Hum = []float64{50, 100}
	if got := applyCleaning(strip, plan.Cleaning{Hum: true}, h, tone.Usual); len(got.Hum) != 2 || got.Playing != nil {
		t.Errorf("of hum alone: %+v", got)
	}
	h.Playing.Lowest, h.Playing.Rumble = 200, 30
	got = applyCleaning(strip, plan.Cleaning{Rumble: true}, h, tone.Usual)
	if len(got.EQ) != 2 || got.EQ[0].Shape != mix.LowCut || got.EQ[0].Hz != 120 || got.EQ[1].Hz != 1000 || got.Hum != nil {
		t.Errorf("of rumble alone: %+v", got.EQ)
	}
	strip.LowCut, h.Playing.Below = 120, 59
	if got = applyCleaning(strip, plan.Cleaning{Uncut: true}, h, tone.Usual); got.LowCut != 120 {
		t.Errorf("over noise 59 dB below: a low cut of %v Hz", got.LowCut)
	}
	h.Playing.Below = 61
	if got = applyCleaning(strip, plan.Cleaning{Uncut: true}, h, tone.Usual); got.LowCut >= 0 {
		t.Errorf("over silence: a low cut of %v Hz", got.LowCut)
	}
	got = applyCleaning(strip, plan.Cleaning{}, h, tone.Usual)
	if got.LowCut != 120 {
		t.Errorf("nothing cleaned: a low cut of %v Hz", got.LowCut)
	}
	if got.Hum != nil || got.Playing != nil || got.Reduce != nil || len(got.EQ) != 1 {
		t.Errorf("of nothing: %+v", got)
	}
	h.Noise.Known = false
	if got := applyCleaning(strip, plan.Cleaning{Noise: true}, h, tone.Usual); got.Reduce != nil {
		t.Errorf("of noise that is not known: %+v", got)
	}
}
