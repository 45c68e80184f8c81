package intake

import (
	"encoding/json"
	"errors"
	"math"
	"regexp"
	"slices"
	"strings"
	"testing"

	"ripieno/assemble/media"
	"ripieno/assemble/report/phrase"
	"ripieno/layout/face"
	"ripieno/layout/motion"
	"ripieno/mix/audio"
	"ripieno/mix/playing"
)

// good returns a take about which there is nothing to say: a video with sound of
// its own and a separate microphone.
func good() Facts {
	sound := func() *Sound {
		return &Sound{
			Seconds: 120, Rate: 48000, LoudnessLUFS: -24, LoudDB: -20, NoiseDB: -62, RestSeconds: 6,
			Channels: []Channel{{PeakDB: -5, RMSDB: -25, RailDB: -8, RailRatio: 0.2, RailPercent: 1},
				{PeakDB: -5.5, RMSDB: -25.5}},
			HumHz: 50, HumDB: -90, HumProminenceDB: 2, Correlation: 0.6,
		}
	}
	v := &media.Video{W: 1920, H: 1080, SARNum: 1, SARDen: 1, FPSNum: 30, FPSDen: 1, Duration: 120, Transfer: "bt709"}
	a := media.Audio{Rate: 48000, Channels: 2, Duration: 120}
	info := media.Info{Duration: 120, Audio: &a}
	with := info
	with.Video = v
	return Facts{
		Take: "oboe-1", Piece: &Piece{Cue: 8, Start: 16, End: 110},
		Files: []File{
			{Role: "video", Name: "mara.mov", Info: with, Sound: sound(), Hash: "1",
				Picture: &Picture{Frames: 60, Mean: 110, DarkPercent: 20, WhitePercent: 2, Motion: 2,
					Subject: motion.Subject{Left: 0.4, Right: 0.6, Top: 0.2, Bottom: 1, Confidence: 0.6}, Blur: 0.3,
					LongestGap: 0.034},
				Sync: &Sync{Offset: 2, DriftPPM: 40, Confidence: 0.95, Sure: true}},
			{Role: "audio", Name: "mara.wav", Info: info, Sound: sound(), Hash: "2",
				Sync: &Sync{Offset: -1, DriftPPM: -12, Confidence: 0.9, Sure: true}},
		},
	}
}

func TestGoodTakeHasNoFindings(t *testing.T) {
	if found := Judge(good()); len(found) > 0 {
		t.Errorf("%+v", found)
	}
	if Worst(nil) != OK {
		t.Error("nothing is not OK")
	}
}

// upright makes the picture an upright one with a face of a size in its middle.
func upright(f *Facts, size float64) {
	const y = 0.5
	file := &f.Files[0]
	file.Info.Video = &media.Video{W: 1080, H: 1920, SARNum: 1, SARDen: 1, FPSNum: 30, FPSDen: 1, Duration: 120,
		Transfer: "bt709"}
	p := file.Picture
	p.W, p.H = 360, 640
	p.Faces = []face.Face{{X: 0.5, Y: y, Size: size, Left: 0.5, Right: 0.5, Top: y, Bottom: y, Pictures: 8, Of: 8,
		Score: 300}}
}

func TestJudge(t *testing.T) {
	for _, c := range spoilers() {
		f := good()
		c.spoil(&f)
		found := Judge(f)
		if got := level(found, c.code); got != c.level {
			t.Errorf("%s: level %v, want %v (%+v)", c.code, got, c.level, found)
		}
		for _, x := range found {
			if !(x.Sure >= 0.5 && x.Sure <= 1) || x.What == "" || (x.Level > OK) != (x.Ask != "") {
				t.Errorf("%s: %+v", c.code, x)
			}
		}
		if c.near != nil {
			f := good()
			c.near(&f)
			if got := level(Judge(f), c.code); got >= 0 {
				t.Errorf("%s: the near miss is found as %v", c.code, got)
			}
		}
	}
}

// A silent track is said to be silent, and nothing else is said about it.
func TestSilenceSaysItAll(t *testing.T) {
	f := good()
	f.Files = f.Files[1:]
	f.Files[0].Sound = &Sound{Channels: []Channel{{PeakDB: Floor, RMSDB: Floor}, {PeakDB: Floor, RMSDB: Floor}},
		LoudnessLUFS: Floor, Seconds: 120}
	if found := Judge(f); len(found) != 1 || found[0].Code != Silent {
		t.Errorf("%+v", found)
	}
}

// With an unsure place nothing is concluded from the place.
func TestUnsurePlaceIsNotUsed(t *testing.T) {
	f := good()
	f.Files[0].Sync = &Sync{Offset: 500, DriftPPM: 900, Confidence: 0.1, Reason: "two claps are equally likely"}
	found := Judge(f)
	if len(found) != 1 || found[0].Code != CueUnsure || found[0].What != "needs review: two claps are equally likely" {
		t.Errorf("%+v", found)
	}
}

// A take at another tempo is told to be one, in words and numbers, and nobody
// asks where its clap is; without such a tempo the clap is asked for.
func TestOtherTempoSaysWhy(t *testing.T) {
	f := good()
	unsure(&f, playing.Pace{Notes: 160, Guide: 3, Other: 80, Ratio: 0.92})
	found := Judge(f)
	if len(found) != 1 || found[0].Code != OtherPiece || !strings.Contains(found[0].What,
		"92.0 % of the guide's tempo, 110 beats a minute instead of 120") ||
		!strings.Contains(found[0].Ask, "Which version of the guide") || found[0].Sure > 0.97 {
		t.Errorf("%+v", found)
	}
	f.Piece.BPM = 0
	if found := Judge(f); strings.Contains(found[0].What, "a minute") {
		t.Errorf("a tempo that changes is told as %q", found[0].What)
	}
	unsure(&f, playing.Pace{Notes: 160, Guide: 50, Other: 80, Ratio: 0.92})
	if found := Judge(f); len(found) != 1 || found[0].Code != CueUnsure {
		t.Errorf("%+v", found)
	}
}

func TestOrder(t *testing.T) {
	f := good()
	f.Files[0].Info.Video.Interlaced = true
	f.Files[0].Sound.LoudnessLUFS = -60
	f.Files[0].Picture.WhitePercent = 36
	f.Files[0].Info.Video.FPSNum = 5
	var codes []Code
	for _, x := range Judge(f) {
		codes = append(codes, x.Code)
	}
	if want := []Code{TooSoft, LowFPS, BlownOut, Interlaced}; !slices.Equal(codes, want) {
		t.Errorf("got %v, want %v", codes, want)
	}
	if Worst(Judge(f)) != Redo {
		t.Error("the worst is not redo")
	}
}

func TestCompare(t *testing.T) {
	a, b, c := good(), good(), good()
	b.Take, b.Files[0].Hash, b.Files[1].Hash = "horn-2", "3", "2" // the microphone file of oboe-1
	c.Take, c.Files[0].Hash, c.Files[1].Hash = "flute-1", "", ""  // not known
	got := compare(t, []Facts{a, b, c})
	if len(got) != 2 || len(got["horn-2"]) != 1 || got["horn-2"][0].Code != Duplicate ||
		got["oboe-1"][0].Level != Redo ||
		!strings.Contains(got["horn-2"][0].What, `"oboe-1"`) {
		t.Errorf("%+v", got)
	}
	// One take may use one file twice.
	a.Files[1].Hash = a.Files[0].Hash
	if got := compare(t, []Facts{a, c}); len(got) != 0 {
		t.Errorf("%+v", got)
	}
}

func TestLimits(t *testing.T) {
	l := Standard()
	if err := l.Set("soft_ask", -20); err != nil {
		t.Fatal(err)
	}
	if level(JudgeBy(l, good()), TooSoft) != Ask {
		t.Error("a changed threshold changes nothing")
	}
	if level(Judge(good()), TooSoft) >= 0 {
		t.Error("the standard was changed")
	}
	for _, name := range []string{"", "soft-ask", "Soft_ask"} {
		if l.Set(name, 1) == nil {
			t.Errorf("%q was accepted", name)
		}
	}
	if l.Set("soft_ask", math.NaN()) == nil || l.Set("soft_ask", math.Inf(1)) == nil {
		t.Error("a threshold that is no number was accepted")
	}
	seen := map[string]bool{}
	for _, x := range l.Table() {
		if x.Name == "" || seen[x.Name] || !(x.Spread > 0) || len(x.Why) < 10 {
			t.Errorf("bad row %+v", x)
		}
		seen[x.Name] = true
	}
}

func TestFindingAsJSON(t *testing.T) {
	f := good()
	f.Files[0].Sound.LoudnessLUFS = -50
	out, err := json.Marshal(Judge(f))
	if err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{`"code":"too-soft"`, `"level":"ask"`, `"role":"video"`, `"file":"mara.mov"`,
		`"what":"soft: -50 LUFS"`, `"ask":"Your recording is very soft.`} {
		if !strings.Contains(string(out), want) {
			t.Errorf("%s lacks %s", out, want)
		}
	}
	if _, err := json.Marshal(f); err != nil {
		t.Errorf("facts: %v", err)
	}
}

func TestForeignErrorsAreTold(t *testing.T) {
	f := good()
	f.Files[0].Err = errors.New("disk on fire")
	if found := Judge(f); found[0].What != "disk on fire" || found[0].Code != Unreadable {
		t.Errorf("%+v", found)
	}
}

func TestClock(t *testing.T) {
	for s, want := range map[float64]phrase.Figure{0: "0:00.0", 59.96: "1:00.0", 61.25: "1:01.3", 3600: "60:00.0"} {
		if got := clock(s); got != want {
			t.Errorf("%g reads %s, want %s", s, got, want)
		}
	}
}

// unfilled is a place of a text for which nothing was given; what is to be written in the
// manifest has a key and a value in its braces.
var unfilled = regexp.MustCompile(`\{[^{}:]*\}`)

// Every finding can be said in every language: nothing of the English is left, and
// nothing is left to fill in.
func TestFindingsInEveryLanguage(t *testing.T) {
	for _, language := range phrase.Languages() {
		words, err := phrase.Open(language, nil)
		if err != nil {
			t.Fatal(err)
		}
		for _, c := range spoilers() {
			f := good()
			c.spoil(&f)
			for _, x := range Judge(f) {
				said, asked := words.Write(x.Said), words.Write(x.Question())
				if said == "" || unfilled.MatchString(said+asked) || (asked == "") != (x.Ask == "") {
					t.Errorf("%s: %s is %q and asks %q", language, x.Code, said, asked)
				}
				if language != phrase.Default && (said == x.What && x.Code != Unreadable || asked != "" &&
					asked == x.Ask) {
					t.Errorf("%s: %s is said in English: %q, %q", language, x.Code, said, asked)
				}
			}
		}
	}
}

// A length or a place that is not known is told as all that it may be, one that a silence or a
// device shows as it is.
func TestUnclearBreaksNameWhatTheyMayBe(t *testing.T) {
	b := Break{At: 31, Jump: -0.18, Rivals: []float64{0.44}, Measure: 12, First: 12, Last: 14, By: "playing", Beat: 0.612}
	for want, edit := range map[string]func(*Break){
		"perhaps in two parts: about 0.18 s (0.3 beats) too much or about 0.44 s (0.7 beats) missing, or whole beats " +
			"more or fewer, between measures 12 and 14, shown by the playing; left": func(*Break) {},
		"perhaps in two parts: about 0.18 s too much, or whole beats more or fewer, in measure 12, shown by the playing " +
			"and a cut in the sound; left": func(b *Break) {
			b.By, b.Rivals, b.Last, b.Beat = "splice", nil, 12, 0
		},
		"perhaps in two parts: 0.180 s too much at 31.00 s of the file, in measure 12, shown by the other device": func(b *Break) {
			b.By, b.Rivals = "device", nil
		},
		"in two parts: 0.180 s too much at 31.00 s": func(b *Break) { b.Mended = true },
		"perhaps in two parts: about 0.18 s (0.3 beats) too much or about 0.44 s (0.7 beats) missing, or whole beats " +
			"more or fewer, between measures 12 (4/2) and 14 (6/2), shown": func(b *Break) {
			b.Names = [3]string{"12 (4/2)", "12 (4/2)", "14 (6/2)"}
		},
		"in two parts: 0.180 s too much at 31.00 s of the file, in measure 12 (4/2), shown": func(b *Break) {
			b.Mended, b.Names[0] = true, "12 (4/2)"
		},
	} {
		b := b
		if edit(&b); !strings.HasPrefix(b.String(), want) {
			t.Errorf("%s\nwant %s", b, want)
		}
	}
}

// What is written for a file that is in parts already keeps these.
func TestBreakKeepsEarlierParts(t *testing.T) {
	parts, ok := audio.Break(12, 0.5).BreakAt(40.5, -2, 90)
	if !ok {
		t.Fatal("no parts")
	}
	said := Break{At: parts[1].To, Jump: -2, Measure: 9, By: "device", Parts: parts}.String()
	if want := "write parts: [{to: 12.000}, {from: 12.000, to: 40.000, shift: 0.500}, {from: 42.000, " +
		"shift: -1.500}]"; !strings.Contains(said, want) {
		t.Errorf("%s\nlacks %s", said, want)
	}
}
