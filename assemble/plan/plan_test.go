package plan

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"ripieno/assemble/production"
	"ripieno/layout"
	"ripieno/layout/shot"
	"ripieno/mix/audio"
	"ripieno/mix/tempo"
)

// lamplighter returns a small piece of our own: 8 measures of 4/4 at 120 after a
// count-in of 4, so a measure lasts 2 s and measure 1 begins at guide time 8.
func lamplighter(t testing.TB, takes int) *production.Production {
	t.Helper()
	meter, err := tempo.ParseMeter("4/4")
	if err != nil {
		t.Fatal(err)
	}
	m, err := tempo.New(tempo.Spec{
		CountIn:  tempo.CountIn{Measures: 4},
		Changes:  []tempo.Change{{Measure: 1, Meter: meter, BPM: 120}},
		Measures: 8,
	})
	if err != nil {
		t.Fatal(err)
	}
	p := &production.Production{
		Path: "production.yaml", Tempo: m,
		Picture: production.Picture{FPSNum: 30, FPSDen: 1, Aspect: production.Aspect{AspectW: 16, AspectH: 9},
			Gutter: 6, LeadIn: 2, Tail: 2, Labels: true, Background: "#101214"},
	}
	for i := range takes {
		p.Takes = append(p.Takes, production.Take{
			Name: fmt.Sprintf("take-%d", i+1), Fit: "crop", Crop: production.Crop{X: .5, Y: .5,
				Zoom: 1}, Section: []string{"high", "low"}[i%2],
		})
	}
	return p
}

// filmed returns facts of takes filmed in 1280x720 from 3 s before guide time 0
// to its end at guide time 27.
func filmed(p *production.Production) map[string]Facts {
	facts := map[string]Facts{}
	for _, t := range p.Takes {
		clock := audio.Clock{Offset: -3}
		facts[t.Name] = Facts{
			Picture: &Picture{W: 1280, H: 720, First: 0, Last: 30, FPS: 30, Clock: clock},
			Sound:   &Sound{Rate: 48000, Channels: 1, Frames: 30 * 48000, Clock: clock},
		}
	}
	return facts
}

var fullHD = []Want{{Name: "final", Canvas: layout.Canvas{W: 1920, H: 1080}}}

func at(measure int) production.Time {
	return production.Time{Seconds: 8 + 2*float64(measure-1)}
}

func TestTimelineRunsFromLeadInToTail(t *testing.T) {
	line, err := NewTimeline(lamplighter(t, 1))
	if err != nil {
		t.Fatal(err)
	}
	want := Timeline{Rate: shot.Rate{Num: 30, Den: 1}, First: 180, Frames: 600, AudioStart: 6 * audio.Rate,
		AudioLen: 20 * audio.Rate}
	if line != want {
		t.Errorf("got %+v, want %+v", line, want)
	}
}

// The film must begin on a whole sample, or picture and sound would be apart
// by up to a sample from the start.
func TestTimelineBeginsOnAWholeSampleAtEveryRate(t *testing.T) {
	for _, r := range []shot.Rate{{Num: 24, Den: 1}, {Num: 25, Den: 1}, {Num: 30, Den: 1}, {Num: 50, Den: 1},
		{Num: 60, Den: 1}, {Num: 24000, Den: 1001}, {Num: 30000, Den: 1001}, {Num: 60000, Den: 1001}} {
		for _, lead := range []float64{0, 0.7, 2, 3.3, 20} {
			p := lamplighter(t, 1)
			p.Picture.FPSNum, p.Picture.FPSDen, p.Picture.LeadIn = r.Num, r.Den, lead
			line, err := NewTimeline(p)
			if err != nil {
				t.Fatal(err)
			}
			exact := line.GuideAtZero() * audio.Rate
			if math.Abs(exact-math.Round(exact)) > 1e-6 {
				t.Errorf("%s, lead-in %g: the film begins at sample %v", r, lead, exact)
			}
			if early := 8 - lead - line.GuideAtZero(); early < -0.5/r.FPS()-1e-9 || early > 5/r.FPS() {
				t.Errorf("%s, lead-in %g: the film begins at %v, %v s before the lead-in", r, lead, line.GuideAtZero(),
					early)
			}
		}
	}
}

func TestSegmentsCoverTheFilmOnceAndStayInsideShots(t *testing.T) {
	p := lamplighter(t, 3)
	p.Shots = []production.Shot{
		{From: production.Time{Edge: production.FilmStart}, Show: "card", Text: "title"},
		{From: at(1), Show: "tutti"},
		{From: at(5), Show: "solo", Take: "take-2"},
		{From: at(6), Show: "soli", Section: "high"},
	}
	pl, err := New(p, filmed(p), fullHD, Look{})
	if err != nil {
		t.Fatal(err)
	}
	f := pl.Films[0]
	next := 0
	for _, s := range f.Segments {
		sh := f.Shots[s.Shot]
		if s.From != next || s.From < sh.From || s.To > sh.To || s.Len() < 1 || s.Len() > 240 {
			t.Errorf("segment %+v after frame %d in shot %v", s, next, sh.Span)
		}
		next = s.To
	}
	if next != pl.Timeline.Frames {
		t.Errorf("segments end at %d of %d", next, pl.Timeline.Frames)
	}
	// Measure 5 is 16 s of guide time, the film begins at 6: frame 300.
	if got := f.Shots[2]; got.From != 300 || got.Show != shot.Solo || len(got.Tiles) != 1 ||
		got.Tiles[0].Take != "take-2" {
		t.Errorf("the solo is %+v", got)
	}
	if got := f.Shots[0]; len(got.Tiles) != 0 || got.Text != "title" {
		t.Errorf("the title card is %+v", got)
	}
}

func TestLateTakeIsShownFromItsFirstFrameOn(t *testing.T) {
	p := lamplighter(t, 2)
	facts := filmed(p)
	late := *facts["take-2"].Picture
	late.Clock.Offset, late.Last = 9.5, 4 // guide 9.5 to 13.5, output frames 105 to 225
	facts["take-2"] = Facts{Picture: &late}
	pl, err := New(p, facts, fullHD, Look{})
	if err != nil {
		t.Fatal(err)
	}
	tile := pl.Films[0].Shots[0].Tiles[1]
	if want := (Span{105, 225}); tile.Shown != want {
		t.Errorf("shown in %v, want %v", tile.Shown, want)
	}
	if c := pl.Films[0].Conforms[tile.Conform]; c.Frames != (Span{285, 405}) {
		t.Errorf("conformed on guide frames %v", c.Frames)
	}
}

func TestDriftMovesPictureAndTrimCutsIt(t *testing.T) {
	p := lamplighter(t, 1)
	facts := filmed(p)
	pic := *facts["take-1"].Picture
	pic.Clock, pic.Last = audio.Clock{Offset: 0, Drift: 500}, 20 // 20 s of file are 20.010 s of guide
	facts["take-1"] = Facts{Picture: &pic}
	from, to := at(2), at(4)
	pl, err := New(p, facts, fullHD, Look{})
	if err != nil {
		t.Fatal(err)
	}
	if got := pl.Films[0].Shots[0].Tiles[0].Shown.To; got != 420 { // 20.01 s·30 − 180
		t.Errorf("with drift the picture ends at frame %d, want 420", got)
	}
	p.Takes[0].TrimFrom, p.Takes[0].TrimTo = &from, &to
	pl, err = New(p, facts, fullHD, Look{})
	if err != nil {
		t.Fatal(err)
	}
	if got, want := pl.Films[0].Shots[0].Tiles[0].Shown, (Span{120, 240}); got != want {
		t.Errorf("trimmed to %v, want %v", got, want)
	}
}

// In a rough cut.
func TestAbsentTakesKeepTheirSeats(t *testing.T) {
	p := lamplighter(t, 9)
	facts := filmed(p)
	rough := []Want{fullHD[0]}
	rough[0].Rough = true
	whole, err := New(p, facts, rough, Look{})
	if err != nil {
		t.Fatal(err)
	}
	facts["take-5"] = Facts{Absent: Awaited}
	without, err := New(p, facts, rough, Look{})
	if err != nil {
		t.Fatal(err)
	}
	for i, tile := range without.Films[0].Shots[0].Tiles {
		if tile.Rect != whole.Films[0].Shots[0].Tiles[i].Rect {
			t.Errorf("%s moved from %v to %v", tile.Take, whole.Films[0].Shots[0].Tiles[i].Rect, tile.Rect)
		}
	}
	if tile := without.Films[0].Shots[0].Tiles[4]; tile.Absent != Awaited || tile.Conform != -1 || tile.Hole.W != 0 {
		t.Errorf("the seat of take-5 is %+v", tile)
	}
	if len(without.Strips) != 8 {
		t.Errorf("%d strips, want 8", len(without.Strips))
	}
}

func TestMutedAndTrimmedStrips(t *testing.T) {
	p := lamplighter(t, 2)
	p.Takes[0].Mute = true
	to := at(3)
	p.Takes[1].TrimTo = &to
	pl, err := New(p, filmed(p), nil, Look{})
	if err != nil {
		t.Fatal(err)
	}
	if len(pl.Strips) != 1 || pl.Strips[0].Take != "take-2" {
		t.Fatalf("strips are %+v", pl.Strips)
	}
	if s := pl.Strips[0]; s.Treat.From != 6*audio.Rate || s.Treat.To != 12*audio.Rate {
		t.Errorf("the strip may sound from %d to %d", s.Treat.From, s.Treat.To)
	}
}

// A conformed picture must be large enough for its tile, never larger than
// the original, and not much larger than needed.
func TestLadderIsLargeEnoughAndNotWasteful(t *testing.T) {
	r := rand.New(rand.NewPCG(7, 7))
	for range 2000 {
		h := 2 * (45 + r.IntN(2000))
		scale := r.Float64() * 1.5
		got := rung(h, scale)
		need := math.Min(scale, 1) * float64(h)
		if float64(got) < need-1e-9 || got > h {
			t.Fatalf("height %d at scale %.3f is kept at %d", h, scale, got)
		}
		if need >= 90 && float64(got) > 1.51*need {
			t.Fatalf("height %d at scale %.3f (%.0f lines) is kept at %d", h, scale, need, got)
		}
	}
}

func TestShotFaultsPointAtTheirLine(t *testing.T) {
	p := lamplighter(t, 2)
	p.Shots = []production.Shot{{From: at(1), Show: "solo", Take: "take-9"}}
	p.Shots[0].Mark.File, p.Shots[0].Mark.Line = "production.yaml", 40
	_, err := New(p, filmed(p), fullHD, Look{})
	if err == nil {
		t.Fatal("a solo of nobody was planned")
	}
	if got, want := err.Error(), `production.yaml:40: shot 1: unknown take: "take-9"`; got != want {
		t.Errorf("got  %s\nwant %s", got, want)
	}
}

// TestWithheld: what is not released is in no plan, whatever is known of the
// files.
func TestWithheld(t *testing.T) {
	p := lamplighter(t, 3)
	for i, name := range []string{"Mara Voss", "Pia Lund", "Ilse Brandt"} {
		p.Takes[i].Player, p.Takes[i].Part = name, "Horn"
	}
	p.Takes[1].Release, p.Takes[1].HideName = production.ReleaseAudioOnly, true
	p.Takes[2].Release = production.ReleaseNo
	facts := filmed(p)
	rough := fullHD[0]
	rough.Rough = true
	pl, err := New(p, facts, []Want{rough}, Look{})
	if err != nil {
		t.Fatal(err)
	}
	tiles := pl.Films[0].Shots[0].Tiles
	for i, want := range []Tile{
		{Player: "Mara Voss", Part: "Horn", Absent: Present}, {Part: "Horn", Card: true, Absent: Present},
		{Card: true, Silent: true, Absent: Withheld},
	} {
		if x := tiles[i]; x.Player != want.Player || x.Card != want.Card || x.Silent != want.Silent ||
			x.Absent != want.Absent || x.Part != want.Part {
			t.Errorf("tile %d is %+v, want %+v", i, x, want)
		}
	}
	if c := pl.Films[0].Conforms; len(c) != 1 || c[0].Take != "take-1" {
		t.Errorf("conformed are %+v", c)
	}
	if s := pl.Strips; len(s) != 2 || s[0].Take != "take-1" || s[1].Take != "take-2" {
		t.Errorf("strips are %+v", s)
	}
	if list := newCards(p, nil).Roster; len(list) != 2 || list[0].Name != "Mara Voss" || list[1].Name != "" ||
		list[1].Part != "Horn" {
		t.Errorf("the credits are %+v", list)
	}
	if facts["take-2"].Picture == nil {
		t.Error("the caller's facts were changed")
	}
	if _, err := New(p, nil, fullHD, Look{}); err != nil {
		t.Error(err)
	}
}
