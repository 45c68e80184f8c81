package plan

import (
	"slices"
	"testing"

	"ripieno/layout/shot"
	"ripieno/mix/audio"
)

// phone is a picture of 1080 lines at 30 frames a second whose file can be opened
// every second, placed on guide time.
func phone(offset float64) Picture {
	p := Picture{W: 1920, H: 1080, FPS: 30, Last: 40, Clock: audio.Clock{Offset: offset}}
	for k := range 40 {
		p.Cuts = append(p.Cuts, float64(k))
	}
	return p
}

// Pieces are cut where the file can be opened, near whole steps of guide time, whatever
// the film shows; a small picture is cut more seldom than a large one.
func TestPiecesAreCutWhereAFileOpens(t *testing.T) {
	rate := shot.Rate{Num: 30, Den: 1}
	if got := pieceSeconds(phone(0)); got != 8 {
		t.Errorf("1080 lines are cut every %g s", got)
	}
	small, sparse, late := phone(0), phone(0), phone(0.3)
	small.W, small.H = 1280, 720
	if got := pieceSeconds(small); got != 16 {
		t.Errorf("720 lines are cut every %g s", got)
	}
	if got := pieceCuts(phone(0), rate, 1200); !slices.Equal(got, []int{0, 240, 480, 720, 960, 1080, 1170}) {
		t.Errorf("cut at %v", got)
	}
	// 0.3 s late, the nearest places to open the file are 0.3 s behind whole steps.
	if got := pieceCuts(late, rate, 1200); !slices.Equal(got, []int{9, 249, 489, 729, 969, 1089, 1179}) {
		t.Errorf("0.3 s late: cut at %v", got)
	}
	sparse.Cuts = []float64{0, 11.9, 12.1, 30}
	if got := pieceCuts(sparse, rate, 1200); !slices.Equal(got, []int{0, 357, 900}) {
		t.Errorf("with few places: cut at %v", got)
	}
	broken := phone(0)
	broken.Parts = audio.Parts{{}, {}}
	if pieceCuts(broken, rate, 1200) != nil || len(pieceCuts(Picture{W: 9, H: 9, FPS: 9}, rate, 1200)) > 0 {
		t.Error("a file of several parts, or one without an index, is cut")
	}
}

// A span loses no frame by being cut, has no short end, and is cut inside where the
// same picture always is.
func TestPiecesOfASpan(t *testing.T) {
	cuts := []int{0, 240, 480, 720}
	for _, c := range []struct {
		span Span
		want []Span
	}{
		{Span{0, 900}, []Span{{0, 240}, {240, 480}, {480, 720}, {720, 900}}},
		{Span{-40, 300}, []Span{{-40, 300}}},
		{Span{-40, 500}, []Span{{-40, 240}, {240, 500}}},
		{Span{100, 700}, []Span{{100, 240}, {240, 480}, {480, 700}}},
		{Span{250, 260}, []Span{{250, 260}}},
	} {
		if got := inPieces(c.span, cuts); !slices.Equal(got, c.want) {
			t.Errorf("%v is cut into %v, want %v", c.span, got, c.want)
		}
	}
}

// What a tile shows is found in the pieces, each frame once.
func TestTilesShowPieces(t *testing.T) {
	f := Film{Conforms: []Conform{
		{Take: "a", H: 360, Frames: Span{0, 240}}, {Take: "a", H: 360, Frames: Span{240, 480}},
		{Take: "a", H: 360, Frames: Span{480, 700}}, {Take: "a", H: 1080, Frames: Span{0, 240}},
		{Take: "b", H: 360, Frames: Span{0, 700}},
	}}
	got := f.PiecesOf(Tile{Take: "a", Conform: 0}, Span{230, 500})
	want := []Shown{{0, Span{230, 240}}, {1, Span{240, 480}}, {2, Span{480, 500}}}
	if !slices.Equal(got, want) {
		t.Errorf("%v, want %v", got, want)
	}
	if got := f.PiecesOf(Tile{Take: "a", Conform: 3}, Span{0, 10}); len(got) != 1 || got[0].Conform != 3 {
		t.Errorf("a close-up is found in %v", got)
	}
	if got := f.PiecesOf(Tile{Conform: -1}, Span{0, 10}); got != nil {
		t.Errorf("a card is found in %v", got)
	}
}

// A film of 96 seconds or more has 48 segments at least, and none is shorter than two
// seconds for its length alone.
func TestSegmentsAreEnoughForManyCores(t *testing.T) {
	for _, c := range []struct {
		seconds, least int
		rough          bool
	}{{5, 2, false}, {30, 15, false}, {60, 30, false}, {120, 48, false}, {240, 48, false}, {600, 75, false}, {30, 7, true}, {240, 30, true}} {
		line := Timeline{Rate: shot.Rate{Num: 30, Den: 1}, Frames: 30 * c.seconds}
		f := Film{Rough: c.rough, Shots: []Shot{{Span: Span{0, line.Frames}, Pages: 1}}}
		f.cut(line)
		if n := len(f.Segments); n < c.least {
			t.Errorf("%d s, rough %v: %d segments, want %d", c.seconds, c.rough, n, c.least)
		}
		at := 0
		for _, s := range f.Segments {
			if s.From != at || s.Len() < 60 || s.Len() > 240 {
				t.Errorf("%d s: a segment on %v behind frame %d", c.seconds, s.Span, at)
			}
			at = s.To
		}
		if at != line.Frames {
			t.Errorf("%d s: segments end at %d", c.seconds, at)
		}
	}
}
