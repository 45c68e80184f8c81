package assemble

import (
	"bytes"
	"encoding/base64"
	"fmt"
	"image/color"
	"image/jpeg"
	"math"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"

	"ripieno/assemble/roll"
	"ripieno/assemble/survey"
)

// reviewManifest is a piece of eight measures of 4/4 at 120 after a count-in of
// two, so that measure n begins at 4 + 2·(n−1) seconds. Its score rests in
// measure 4.
const reviewManifest = `version: 1
title: Small Round
tempo: {score: round.musicxml, count_in: {measures: 2, cue: {measure: 2, beat: 1}}}
guide: {pitch: 442}
takes:
  - {name: oboe, player: Mara Voss, part: Oboe, section: winds, audio: {file: intake/oboe.wav, offset: -1, drift_ppm: 0}}
  - {name: horn, player: "Ilse </script> Brandt", part: Horn, section: winds, video: {file: intake/c.mp4, offset: -0.25, drift_ppm: -300}}
  - {name: cello, player: Bram Ostler, part: Cello, expected: true}
picture: {lead_in: 0.5, tail: 0.5}
deliver: [{name: final, canvas: 320x180}]
`

// roundScore returns the score: four quarters D5 E5 F#5 G5 in each measure.
func roundScore() string {
	var b strings.Builder
	b.WriteString(
		`<score-partwise><part-list><score-part id="A"><part-name>oboe</part-name></score-part></part-list><part id="A">`)
	for m := 1; m <= 8; m++ {
		fmt.Fprintf(&b, `<measure number="%d">`, m)
		if m == 1 {
			b.WriteString(
				`<attributes><divisions>1</divisions><time><beats>4</beats><beat-type>4</beat-type></time></attributes><sound tempo="120"/>`)
		}
		for _, step := range []string{"<step>D</step>", "<step>E</step>", "<step>F</step><alter>1</alter>",
			"<step>G</step>"} {
			if m == 4 {
				b.WriteString(`<note><rest/><duration>1</duration></note>`)
			} else {
				b.WriteString(`<note><pitch>` + step + `<octave>5</octave></pitch><duration>1</duration></note>`)
			}
		}
		b.WriteString(`</measure>`)
	}
	return b.String() + `</part></score-partwise>`
}

// openReview makes the production: the oboe plays what is written 12 cents
// over 442 Hz, 8 ms late in measure 2, and nothing in measure 6.
func openReview(t *testing.T) *Production {
	t.Helper()
	tool := findTool(t)
	dir := t.TempDir()
	if err := os.WriteFile(filepath.Join(dir, "round.musicxml"), []byte(roundScore()), 0o666); err != nil {
		t.Fatal(err)
	}
	var notes []ping
	for m := 1; m <= 8; m++ {
		for i, note := range []float64{74, 76, 78, 79} {
			at := 1 + 4 + 2*float64(m-1) + 0.5*float64(i) // the file begins a second before the guide
			if m == 2 {
				at += 0.03
			}
			if m != 4 && m != 6 {
				notes = append(notes, ping{at, 442 * math.Exp2((note-69+0.12)/12), 0.45})
			}
		}
	}
	writePings(t, filepath.Join(dir, "intake", "oboe.wav"), 23, notes)
	horn := cast()[2]
	horn.write(t, tool, dir)
	return openTest(t, dir, reviewManifest)
}

// TestReview makes the page of a small production: what is known of how the
// oboe played is what was put into its file, the frame of the horn is the one
// of its moment, and the second time nothing is made again.
func TestReview(t *testing.T) {
	t.Parallel()
	p := openReview(t)
	r, err := p.Review(t.Context(), ReviewOptions{})
	if err != nil {
		t.Fatal(err)
	}
	page, err := os.ReadFile(r.File)
	if err != nil || len(page) != r.Bytes || r.Film != "" || len(r.Takes) != 3 {
		t.Fatalf("%v, %d bytes, %+v", err, len(page), r)
	}
	oboe, horn, cello := r.Takes[0], r.Takes[1], r.Takes[2]
	if oboe.Playing == nil || horn.Playing == nil || cello.Playing != nil || oboe.Picture || !horn.Picture ||
		cello.Level != roll.LevelMissing {
		t.Fatalf("%+v", r.Takes)
	}
	got := *oboe.Playing
	if !slices.Equal(got.Missed, []survey.MissedSpan{{From: 6, To: 6, Why: "score"}}) {
		t.Errorf("missed %+v", got.Missed)
	}
	if got.Cents == nil || math.Abs(*got.Cents-12) > 1 || !got.Score || got.Tones < 20 {
		t.Errorf("tuning %+v", got)
	}
	if got.SpreadMS == nil || *got.SpreadMS > 3 || got.Notes < 22 || got.Soft || len(got.Measures) != 8 {
		t.Errorf("timing %+v", got)
	}
	for m, want := range []float64{0, 30, 0, math.NaN(), 0, math.NaN(), 0, 0} {
		off := got.Measures[m]
		if (off == nil) != math.IsNaN(want) || off != nil && !(math.Abs(*off-want) < 4) &&
			math.Abs(*off-1.4826*want) > 4 {
			t.Errorf("measure %d is %v ms off, want %g", m+1, off, want)
		}
	}
	for _, want := range []string{"Ilse &lt;/script&gt; Brandt",
		"nothing is heard in measure 6, where the score has notes", "sits 12\u00a0cents above A = 442\u00a0Hz",
		"There is no rough cut yet"} {
		if !bytes.Contains(page, []byte(want)) {
			t.Errorf("the page does not say %q", want)
		}
	}
	checkThumbnail(t, string(page))
	again, err := p.Review(t.Context(), ReviewOptions{})
	if err != nil || again.Tasks.Run != 0 || r.Tasks.Run == 0 {
		t.Errorf("%v; first %+v, then %+v", err, r.Tasks, again.Tasks)
	}
	if same, err := os.ReadFile(again.File); err != nil || !bytes.Equal(same, page) {
		t.Errorf("the second page is another one (%v)", err)
	}
}

// checkThumbnail reads the mark in the horn's frame: upright, small, and of two
// fifths of the music, which lasts from 4 to 20 s: 10.4 s. The file, though, ends
// at 9.75 s, and its last frames stand for it.
func checkThumbnail(t *testing.T, page string) {
	t.Helper()
	m := regexp.MustCompile(
		`<img src="data:image/jpeg;base64,([^"]+)" width="(\d+)" height="(\d+)"`).FindStringSubmatch(page)
	if m == nil {
		t.Fatal("there is no frame")
	}
	data, err := base64.StdEncoding.DecodeString(strings.ReplaceAll(m[1], "&#43;", "+"))
	if err != nil || len(data) > 6000 {
		t.Fatalf("%d bytes, %v", len(data), err)
	}
	img, err := jpeg.Decode(bytes.NewReader(data))
	if err != nil {
		t.Fatal(err)
	}
	w, h := img.Bounds().Dx(), img.Bounds().Dy()
	if m[2] != fmt.Sprint(w) || m[3] != fmt.Sprint(h) || w > 224 || h > 126 {
		t.Errorf("a frame of %dx%d for %sx%s", w, h, m[2], m[3])
	}
	gray := make([]byte, w*h)
	for i := range gray {
		gray[i] = color.GrayModel.Convert(img.At(i%w, i/w)).(color.Gray).Y
	}
	take := cast()[2]
	if id, counter := readMark(gray, w, 0, 0, w, h); id != 3 {
		t.Errorf("the mark reads %d, %d", id, counter)
	} else if at := take.guide(float64(counter) / take.fps); at < 9.4 || at > 9.8 {
		t.Errorf("the frame is that of %.2f s", at)
	}
}

// Without playing nothing is measured for it, and the page has nothing of it.
func TestReviewNoPlaying(t *testing.T) {
	t.Parallel()
	p := openReview(t)
	r, err := p.Review(t.Context(), ReviewOptions{NoPlaying: true})
	if err != nil {
		t.Fatal(err)
	}
	for _, take := range r.Takes {
		if take.Playing != nil {
			t.Errorf("%+v", take)
		}
	}
	page, err := os.ReadFile(r.File)
	if err != nil || bytes.Contains(page, []byte("cents")) || bytes.Contains(page, []byte("Entries:")) {
		t.Errorf("the page speaks of playing (%v)", err)
	}
	with, err := p.Review(t.Context(), ReviewOptions{})
	// What is heard of both, a voice of each and how it excites the ear, and the sum.
	if err != nil || with.Tasks.Run != 7 {
		t.Errorf("with playing, %d tasks run besides (%v)", with.Tasks.Run, err)
	}
}
