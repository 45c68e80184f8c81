package report

import (
	"bytes"
	"fmt"
	"image"
	"image/color"
	"image/jpeg"
	"math"
	"regexp"
	"strings"
	"testing"

	"ripieno/mix/align"
)

// gradient returns a picture of a size as JPEG.
func gradient(t testing.TB, w, h int) []byte {
	t.Helper()
	img := image.NewRGBA(image.Rect(0, 0, w, h))
	for y := range h {
		for x := range w {
			img.Set(x, y, color.RGBA{uint8(255 * x / w), uint8(255 * y / h), 120, 255})
		}
	}
	var b bytes.Buffer
	if err := jpeg.Encode(&b, img, nil); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

func known(v float64) *float64 { return &v }

// review returns a production with a take of every kind: 24 measures of two seconds
// after a count-in of 8.
func review(t testing.TB) Review {
	r := Review{
		Title: "The Lamplighter's Round", Composer: "Ottilie Marsh", Ensemble: "Nether Wick Evening Players",
		Due: "Thursday, 12 June 2031, 20:00", SendTo: "takes@example.org", From: "Mara Voss",
		Span: [2]float64{0, 67}, Start: 16, Playing: true, PitchHz: 442, Film: &Film{Name: "rough.mp4", AtZero: 13},
	}
	for m := range 25 {
		r.Bars = append(r.Bars, 16+2*float64(m))
	}
	wave := make([]float64, 320)
	heat := make([]float64, 24)
	for i := range wave {
		wave[i] = 0.5 + 0.4*math.Sin(float64(i)/9)
		if i < 20 || i > 310 {
			wave[i] = -1
		} else if i < 76 {
			wave[i] = 0
		}
	}
	for i := range heat {
		heat[i] = []float64{4, 18, 30, 55, math.NaN()}[i%5]
	}
	full := func(name, player, part, section, level string) Reviewed {
		return Reviewed{
			Name: name, Player: player, Part: part, Section: section, Level: level,
			Files:   []string{"intake/" + name + ".mov"},
			Picture: gradient(t, 224, 126), W: 224, H: 126, Wave: wave,
			Places: []Place{{File: "intake/" + name + ".mov", LateMS: known(19.2), Placement: align.Placement{
				Offset: -9.81, DriftPPM: 12.5, Confidence: 0.9971, Sure: true, Method: "cue+playing",
				Evidence: []string{"cue at 31.480 s", "46 notes scatter by 11 ms about the beats"}}}},
			Levels: []Loudness{{File: "intake/" + name + ".mov", LUFS: known(-25), Peak: known(-10.1),
				Back: known(-63.5)}},
			Playing: &Playing{Notes: 46, SpreadMS: known(11), Measures: heat, Cents: known(-6.2), CentsOff: known(4),
				Tones: 45},
		}
	}
	flute := full("flute", "Nell Orrin", "Flute", "winds", LevelOK)
	oboe := full("oboe", "Mara Voss", "Oboe", "winds", LevelAsk)
	oboe.Picture, oboe.W, oboe.H = gradient(t, 70, 126), 70, 126
	oboe.Findings = []Found{
		{Level: LevelAsk, Sure: 0.9, File: "intake/oboe.mov", What: "soft: −46 LUFS",
			Ask: "Your recording is very soft. Could you come closer to the microphone or turn up its level?"},
		{Level: LevelOK, Sure: 0.8, File: "intake/oboe.mov", What: "upright picture, 360 × 640"},
	}
	oboe.Release = "yes"
	oboe.Playing.Missed = []Gap{{From: 9, To: 12, Why: "score"}}
	clarinet := full("clarinet", "Teodor Quill", "Clarinet", "winds", LevelRedo)
	clarinet.Picture, clarinet.Wave, clarinet.Playing = nil, nil, nil
	clarinet.Places[0].Sure, clarinet.Places[0].Confidence, clarinet.Places[0].Reason = false, 0.61,
		"it could as well lie 0.68 s later (61 % against 39 %)"
	clarinet.Findings = []Found{{Level: LevelRedo, Sure: 0.95, File: "intake/clarinet.mov",
		What: "clipped: 2.1 % of the samples are at the highest level, −0.0 dBFS",
		Ask: "The loud places are distorted. Could you step back from the microphone or turn its level down, and try " +
			"your loudest place first?"}}
	clarinet.Wave, clarinet.Guess, clarinet.LeftOut = wave, true, true
	clarinet.Places[0].Uncertainty = 0.0052
	clarinet.Places[0].Candidates = []align.Candidate{
		{Offset: -9.81, At: 21.81, ByCue: true, Odds: 0.61, Evidence: []string{"harmony of the others -0.20"}},
		{Offset: -9.13, At: 21.13, ByCue: true, Odds: 0.39, Evidence: []string{"no quiet before it"}},
		{Offset: -1, At: 18, Odds: 0.002},
	}
	viola := full("viola", "Davít Sørel", "Viola", "strings", LevelOK)
	viola.Places[0].DriftPPM, viola.Places[0].Evidence = 0, []string{"within 0.02 ms, clocks differ by -0.4 ppm"}
	viola.Playing.Soft, viola.Playing.Cents = true, nil
	second := full("viola-2", "Davít Sørel", "Viola 2", "strings", LevelAsk)
	second.Findings = oboe.Findings[:1]
	bass := Reviewed{Name: "double-bass", Player: "Otto Larch", Part: "Double bass", Section: "ground",
		Level: LevelMissing}
	bare := Reviewed{Name: "tin-whistle", Level: LevelOK, Wave: make([]float64, 320)}
	r.Takes = []Reviewed{flute, oboe, clarinet, viola, second, bass, bare}
	return r
}

// crowd returns a production of n takes, each with everything.
func crowd(t testing.TB, n int) Review {
	r := review(t)
	one := r.Takes[1]
	one.Picture = append(one.Picture, make([]byte, 6000-len(one.Picture))...) // as large as they become
	r.Takes = nil
	for i := range n {
		one.Name, one.Player, one.Section = fmt.Sprintf("take-%d", i), fmt.Sprintf("Player Number %d", i),
			fmt.Sprintf("section %d", i/12)
		one.Level = []string{LevelOK, LevelAsk, LevelOK, LevelRedo}[i%4]
		r.Takes = append(r.Takes, one)
	}
	return r
}

func written(t testing.TB, r Review) string {
	t.Helper()
	var b bytes.Buffer
	if err := WriteReview(&b, r); err != nil {
		t.Fatal(err)
	}
	return b.String()
}

func TestReviewSays(t *testing.T) {
	html := written(t, review(t))
	page := text(html)
	for _, want := range []string{
		"Report · Nether Wick Evening Players The Lamplighter’s Round by Ottilie Marsh",
		"record again 1 ask 2 missing 1 ok 3 to review 1 due Thursday, 12 June 2031, 20:00",
		"Nell Orrin Flute ok", "Mara Voss Oboe ask soft: −46 LUFS", "Otto Larch Double bass missing",
		"ask: soft: −46 LUFS intake/oboe.mov", "remark: upright picture", "again: clipped: 2.1 %",
		"begins at guide time −9.810 s", "drift +12.5 ppm", "drift none found", "clocks differ by −0.4 ppm",
		"placed by clap and playing", "confidence 99.7 %", "playing against clap 19 ms after the clap",
		"confidence 61.0 %, which is not sure enough", "it could as well lie 0.68 s later", "exact within about 6 ms",
		"Teodor Quill Clarinet record again " +
			"needs review", "guess", "might begin at guide time " +
			"−9.810 s", "placed not yet; a guess by clap and playing",
		"clap at 21.81 s (61 %): ripieno sync --accept clarinet=1 Evidence for place 1 of intake/clarinet.mov " +
			"harmony of the others −0.20",
		"clap at 21.13 s (39 %): ripieno sync --accept " +
			"clarinet=2", "first note at 18.00 s (<1 %): ripieno sync --accept clarinet=3",
		"ripieno sync --snippets",
		"loudness −25.0 LUFS highest peak −10.1 dBFS quietest moments −63.5 dBFS",
		"Timing: notes lie about 11 ms round the beats (46 notes).",
		"Places to listen to together: measures 4, 9, 14 and 19.",
		"Tuning: sits 6 cents below A = 442 Hz, single tones about 4 cents round that (45 steady tones against the " +
			"nearest notes of the scale).",
		"Entries: nothing is heard in measures 9 to 12, where the score has notes. Perhaps a rest; worth a listen.",
		"Many begin gently or ring into each other", "Tuning: too few steady tones to say anything.",
		"Consent Picture and sound may be published.", "Not in yet; the seat is kept.",
		"The note to Davít Sørel is with viola .",
	} {
		if !strings.Contains(page, want) {
			t.Errorf("the page does not say %q", want)
		}
	}
	if t.Failed() {
		t.Log(page)
	}
	for _, name := range []string{"flute", "oboe", "clarinet", "viola", "viola-2", "double-bass", "tin-whistle"} {
		if strings.Count(html, `data-take="`+name+`"`) != 2 || !strings.Contains(html, `id="take-`+name+`"`) {
			t.Errorf("%s has no row and card of its own", name)
		}
	}
	if html != written(t, review(t)) {
		t.Error("the same review gives another page")
	}
}

// Without playing the page has nothing of it, whatever the takes hold.
func TestReviewWithoutPlaying(t *testing.T) {
	r := review(t)
	r.Playing = false
	html := written(t, r)
	for _, no := range []string{"Timing:", "Tuning:", "Entries:", "cents", `class="heat0" d=`, `class="missed"`,
		"About playing", "measures 9 to 12"} {
		if strings.Contains(html, no) {
			t.Errorf("the page has %q", no)
		}
	}
	if !strings.Contains(html, "playing against clap") {
		t.Error("what sync found is gone too")
	}
}

func TestReviewWithoutFilm(t *testing.T) {
	r := review(t)
	r.Film = nil
	if html := written(t, r); strings.Contains(html, "<video") || !strings.Contains(html, "ripieno rough") ||
		strings.Contains(html, `data-at="`) {
		t.Error("there is a film without a film")
	}
	if html := written(t, Review{Title: "Empty", Span: [2]float64{0, 10}, Bars: []float64{0, 5, 10}}); strings.Contains(
		html, "<article") {
		t.Error("there are takes where there are none")
	}
}

// Nothing from a manifest or a file's name is ever markup, a style, a script or
// an address.
func TestReviewHostileTexts(t *testing.T) {
	evil := `</style></script></textarea><script>alert(1)</script><img src="http://evil.example/x" onerror=alert(1)>"'{{.}}` + "\u202e\n"
	r := review(t)
	plain := written(t, r)
	r.Title, r.Composer, r.Ensemble, r.Due, r.SendTo, r.From = evil, evil, evil, evil, evil, evil
	for i := range r.Takes {
		k := &r.Takes[i]
		k.Player, k.Part, k.Section, k.Release, k.Files = evil, evil, evil, evil, []string{evil}
		for j := range k.Findings {
			k.Findings[j].What, k.Findings[j].Ask, k.Findings[j].File = evil, evil, evil
		}
		for j := range k.Places {
			k.Places[j].File, k.Places[j].Reason, k.Places[j].Evidence = evil, evil, []string{evil}
		}
		for j := range k.Levels {
			k.Levels[j].File = evil
		}
	}
	page := written(t, r)
	for _, tag := range []string{"<script", "</script", "<img", "<style", "</style", "onerror=alert(1)>\""} {
		if strings.Count(page, tag) != strings.Count(plain, tag) {
			t.Errorf("%q is in the page %d times, not %d", tag, strings.Count(page, tag), strings.Count(plain, tag))
		}
	}
	// All takes have one player now, and so one letter between them.
	if strings.Count(page, "<textarea") != 1 || strings.Count(page, "</textarea") != 1 {
		t.Errorf("%d and %d", strings.Count(page, "<textarea"), strings.Count(page, "</textarea"))
	}
	if regexp.MustCompile(`(src|href)="(http|//|javascript)`).MatchString(page) {
		t.Error("the page leads elsewhere")
	}
}

// The content policy admits the page's own style and script by their hashes.
func TestReviewPolicy(t *testing.T) {
	page := written(t, review(t))
	for tag, source := range map[string]string{"style": "style-src", "script": "script-src"} {
		body := regexp.MustCompile(`(?s)<`+tag+`>(.*?)</`+tag+`>`).FindAllStringSubmatch(page, -1)
		if len(body) != 1 {
			t.Fatalf("%d %ss", len(body), tag)
		}
		if want := source + " &#39;" + hash(body[0][1]) +
			"&#39;"; !strings.Contains(strings.ReplaceAll(strings.ReplaceAll(page, "&#43;", "+"), "'", "&#39;"), want) {
			t.Errorf("the policy does not have %s", want)
		}
	}
	if strings.Contains(page, "unsafe") || strings.Contains(page, " style=") ||
		regexp.MustCompile(` on[a-z]+=`).MatchString(page) {
		t.Error("something needs an unsafe policy")
	}
}

// Whose picture may not be published is not shown here either.
func TestReviewReleases(t *testing.T) {
	r := review(t)
	for release, want := range map[string]struct {
		picture bool
		text    string
	}{"yes": {true, "Picture and sound may"}, "audio-only": {false, "Only the sound may"},
		"no": {false, "Nothing of it may"}, "missing": {true, "There is no release yet"}, "": {true, ""}} {
		r.Takes[1].Release = release
		card := r.take(1, "")
		if (card.Thumb != "") != want.picture || !strings.HasPrefix(card.Consent, want.text) ||
			(card.Consent == "") != (release == "") {
			t.Errorf("%q: picture %v, %q", release, card.Thumb != "", card.Consent)
		}
	}
}

// The sound of a take whose place is a guess is drawn as one, and told as one to
// those who see no drawing.
func TestReviewGuess(t *testing.T) {
	r := review(t)
	page := written(t, r)
	if strings.Count(page, `class="wave guess"`) != 1 || strings.Count(page, `class="guessed"`) != 1 ||
		!strings.Contains(page, `<pattern id="hatch"`) {
		t.Error("the guess is not drawn as one, or others are")
	}
	if !strings.Contains(page, `aria-label="A guess, at the likeliest place: loudness over the piece`) {
		t.Error("who does not see the drawing is told of no guess")
	}
	r.Takes[2].Guess, r.Takes[2].Places[0].Sure = false, true
	page = written(t, r)
	for _, no := range []string{`"wave guess"`, `class="guessed"`, "--accept clarinet",
		`badge review">needs review</p>`, "to review</dt>"} {
		if strings.Contains(page, no) {
			t.Errorf("a page without guesses has %s", no)
		}
	}
}

func TestStaff(t *testing.T) {
	r := review(t)
	if got, want := wave([]float64{-1, 0, 1, 1, 0.5, -1, 0, -1}),
		"M120 28v-1h120v-25h120h120v12h120V28zM720 28v-1h120V28z"; got != want {
		t.Errorf("wave %s, want %s", got, want)
	}
	if wave(nil) != "" || wave([]float64{-1, math.NaN()}) != "" {
		t.Error("nothing draws something")
	}
	s := r.staff(r.Takes[1])
	for i, n := range []int{5, 5, 5, 5} {
		if strings.Count(s.Heat[i], "z") != n {
			t.Errorf("step %d has %d measures: %s", i, strings.Count(s.Heat[i], "z"), s.Heat[i])
		}
	}
	// Measure 9 begins at 32 of 67 seconds, measure 13 at 40: 458.5 and 573.1 of 960.
	if s.Missed != "M459.5 4H572.1V39H459.5z" {
		t.Errorf("missed %s", s.Missed)
	}
	for off, want := range map[float64]int{0: 0, 14.9: 0, 15: 1, 25: 2, 39: 2, 40: 3, 500: 3} {
		if got := heatLevel(off); got != want {
			t.Errorf("%g ms is step %d, want %d", off, got, want)
		}
	}
	if marks := r.marks(); len(marks) != 12 || marks[4] != (mark{9, "9", "47.8%", "19.000"}) {
		t.Errorf("%+v", marks)
	}
	// Many measures are ruled and named at a distance.
	r.Bars, r.Span = nil, [2]float64{0, 1000}
	for m := range 701 {
		r.Bars = append(r.Bars, float64(m))
	}
	if marks := r.marks(); len(marks) > maxMarks || marks[0].Measure != 1 || marks[1].Measure != 51 {
		t.Errorf("%d marks: %+v", len(marks), marks)
	}
	if n := strings.Count(r.ruling(), "M"); n > maxBars+1 || n < maxBars/2 {
		t.Errorf("%d lines", n)
	}
}

// A page of two hundred takes is small enough to be sent and opened: nothing in
// it grows faster than the takes do.
func TestReviewSize(t *testing.T) {
	small, large := len(written(t, crowd(t, 20))), len(written(t, crowd(t, 200)))
	t.Logf("20 takes %d kB, 200 takes %d kB", small/1000, large/1000)
	if large > 10*small || large > 3_600_000 {
		t.Errorf("200 takes make %d bytes, 20 make %d", large, small)
	}
}

// Every way to place a recording has words of its own on the page.
func TestEveryMethodHasWords(t *testing.T) {
	seen := map[string]align.Method{}
	for _, m := range align.Methods() {
		words := methods[m]
		if other, twice := seen[words]; words == "" || twice {
			t.Errorf("%q is %q, as is %q", m, words, other)
		}
		seen[words] = m
	}
	if len(methods) != len(align.Methods()) {
		t.Errorf("words for %d methods of %d", len(methods), len(align.Methods()))
	}
}
