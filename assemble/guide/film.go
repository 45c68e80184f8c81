package guide

import (
	"context"
	"fmt"
	"image"
	"io"
	"math"
	"os"
	"strconv"
	"strings"
	"time"

	"ripieno/assemble/ffmpeg"
	"ripieno/assemble/graph"
	"ripieno/assemble/media"
	"ripieno/assemble/production"
	"ripieno/assemble/report/phrase"
	"ripieno/assemble/session"
	"ripieno/assemble/store"
	"ripieno/layout"
	"ripieno/layout/card"
	"ripieno/layout/shot"
	"ripieno/mix/audio"
	"ripieno/mix/tempo"
)

// A guide film is what players see who cannot go by clicks alone: count-in, beats,
// measures, the clap as a sign, and what comes next. It lies frame by frame on the
// sound: a beat lights up in the frame whose time is nearest to it.

// filmCanvas is small: the film is watched on a telephone beside a music stand and
// sent to everybody. With a conductor in it, whom all have to see, it is larger.
var (
	filmCanvas      = layout.Canvas{W: 640, H: 360}
	conductorCanvas = layout.Canvas{W: 960, H: 540}
)

const (
	// litSeconds is how long a light is bright; at most half of its beat.
	litSeconds = 0.2
	// ahead is how many measures before it a new meter or tempo is announced.
	ahead = 2
)

// Conductor is the film of who conducts, ready to be laid into that of a guide.
type Conductor struct {
	Path string      // conformed to the production's rate, of the size of Hole
	From int         // frame of the guide's film at which it begins
	Hole layout.Rect // where it is seen, as [ConductorHole] says
}

// ConductorHole returns where in a guide film a picture of w × h upright pixels is seen:
// all of it, since arms may go anywhere, at the left of the beats, which keep a third of
// the width and more. Its sides and corner are even, since the film's colours are
// stored for two by two pixels.
func ConductorHole(w, h int) layout.Rect {
	c := conductorCanvas
	scale := math.Min(float64(c.W)*2/3/float64(w), float64(c.H)/float64(h))
	r := layout.Rect{W: max(2, layout.FloorEven(int(math.Round(scale*float64(w))))),
		H: max(2, layout.FloorEven(int(math.Round(scale*float64(h)))))}
	r.Y = layout.FloorEven((c.H - r.H) / 2)
	return r
}

// film makes the pictures of a guide.
type film struct {
	canvas layout.Canvas
	room   layout.Rect // of the beats, when somebody is seen beside them
	rate   shot.Rate
	frames int
	beats  []filmBeat
	words  *phrase.Book
	fonts  *card.Fonts
}

// filmBeat is a beat while it is on. Frames count from the first of the film.
type filmBeat struct {
	frame, dark int // the first frame that shows it, and the first in which its light is dim
	view        card.Beat
}

// WriteFilm writes the film of a guide beside its sound, which must be there, with the
// film of who conducts in it when lead is not nil. It fails for text that no font can draw,
// for what ffmpeg says, when something else is in the film's place, and when the disk is
// full; there is no film then.
func (r *File) WriteFilm(ctx context.Context, s *session.Session, j Job, lead *Conductor) error {
	man := s.Manifest()
	words, err := phrase.Open(man.CallSheet.Language, nil)
	if err != nil {
		return err
	}
	f := newFilm(j, shot.Rate{Num: man.Picture.FPSNum, Den: man.Picture.FPSDen}, r.Duration, words,
		entriesOf(man, j.Variant))
	inset := f.makeRoom(lead)
	path, err := s.OutFile(j.File + ".mp4")
	if err != nil {
		return err
	}
	work := s.Settings().Report.Add("film", j.File+".mp4", 1)
	work.Start()
	err = store.Publish(ctx, path, func(tmp string) error {
		cmd, err := graph.GuideFilm(f.canvas, f.rate, "file:"+r.WAV, inset, "file:"+tmp, j.Title)
		if err != nil {
			return err
		}
		defer os.Remove(ffmpeg.GraphFile(tmp))
		run := ffmpeg.Command{Stdin: f.pictures(), About: j.File + ".mp4", Patience: time.Minute}
		if err := s.Tool().RunGraphWith(ctx, cmd, tmp, run); err != nil {
			return err
		}
		channels := 1
		if j.Backing != nil {
			channels = 2
		}
		return media.VerifyFilm(ctx, s.Tool(), tmp, media.Want{W: f.canvas.W, H: f.canvas.H, FPSNum: f.rate.Num,
			FPSDen: f.rate.Den, Frames: f.frames, Channels: channels, AudioSamples: int64(audio.FramesAt(r.Duration))})
	})
	work.Finish(err)
	r.Film = path
	return err
}

// makeRoom puts the beats beside who conducts, and returns how the film of that lies over
// them; nil for nobody.
func (f *film) makeRoom(lead *Conductor) *graph.Inset {
	if lead == nil {
		return nil
	}
	f.canvas = conductorCanvas
	f.room = layout.Rect{X: lead.Hole.X + lead.Hole.W, W: f.canvas.W - lead.Hole.X - lead.Hole.W, H: f.canvas.H}
	return &graph.Inset{Path: "file:" + lead.Path, X: lead.Hole.X, Y: lead.Hole.Y, From: lead.From}
}

// longRest is after how many measures of rest an entry is announced.
const longRest = 4

// entriesOf returns the measures in which those who play to a variant enter after a
// long rest, when they all play one part of the score. Notes before the first one
// wanted count as rest, so an entry after a long silence at the beginning is
// announced too. Of a guide of a part nothing is said.
func entriesOf(man *production.Production, v *production.Variant) []int {
	if v == nil || v.To > 0 || man.Score == nil {
		return nil
	}
	part := ""
	for _, t := range man.Takes {
		if t.Guide != v.Name {
			continue
		}
		if part != "" && t.Part != part {
			return nil
		}
		part = t.Part
	}
	var list []int
	for _, p := range man.Score.Parts {
		if part == "" || !strings.EqualFold(p.Name, part) {
			continue
		}
		last := 0
		for _, o := range p.Onsets {
			n := v.Tempo.PositionAt(o.Quarter).Measure
			if n-last > longRest {
				list = append(list, n)
			}
			last = n
		}
	}
	return list
}

// newFilm plans the pictures of a guide that lasts so many seconds.
func newFilm(j Job, rate shot.Rate, seconds float64, words *phrase.Book, entries []int) film {
	// A bit of slack, so that rounding in seconds does not add a frame.
	f := film{canvas: filmCanvas, rate: rate, frames: int(math.Ceil(seconds*rate.FPS() - 1e-9)), words: words}
	list := measuresOf(j.Tempo, j.Marks)
	at := map[int]int{} // index in list by number
	for i, m := range list {
		at[m.Number] = i
	}
	for _, n := range j.Tuning {
		at := rate.Frame(n.Begins)
		f.beats = append(f.beats, filmBeat{at, at, card.Beat{Figure: words.Note(n.Note),
			Place: words.Say("film.tune")}})
	}
	for b := range j.Tempo.Beats() {
		view := f.view(j.Tempo, b, list, at, entries)
		first := rate.Frame(b.Seconds)
		length := max(1, min(rate.Frame(litSeconds), rate.Frame(b.Length/2)))
		f.beats = append(f.beats, filmBeat{frame: first, dark: first + length, view: view})
	}
	return f
}

// view returns what is shown from a beat on. list has the measures of the guide, at
// where each is in it.
func (f film) view(m *tempo.Map, b tempo.Beat, list []Measure, at map[int]int, entries []int) card.Beat {
	countIn := m.Spec().CountIn.Measures
	n := b.Measure
	if b.CountIn {
		n = b.Measure - countIn - 1
	}
	v := card.Beat{Lights: m.Meter(n).Beats(), Now: b.Number}
	switch page := m.Elsewhere(n); {
	case b.CountIn:
		v.Figure = strconv.Itoa(b.Number)
		v.Place = f.words.Say("film.count-in", "measure", strconv.Itoa(b.Measure), "measures", strconv.Itoa(countIn))
		c := m.Spec().CountIn
		left := (c.CueMeasure-b.Measure)*v.Lights + int(c.CueBeat) - b.Number // beats until the clap
		switch {
		case left == 0:
			v.Sign = f.words.Say("film.clap")
		case left > 0 && left <= max(v.Lights, 4):
			v.Sign = f.words.Say("film.clap-in", "count", strconv.Itoa(left))
		}
	case page != "":
		number, pass, _ := strings.Cut(page, "/")
		if v.Figure = number; pass != "1" {
			v.Place = f.words.Say("film.pass", "pass", pass)
		}
	default:
		v.Figure = strconv.Itoa(n)
	}
	i, ok := at[n]
	if !ok {
		return v
	}
	if !b.CountIn && len(list[i].Marks) > 0 {
		v.Place = strings.TrimSpace(list[i].Marks[0] + "  " + v.Place)
	}
	v.Next = f.next(list, i, entries)
	return v
}

// next returns what is announced in measure i: an entry of the player's own, else
// another meter or tempo. Ramps of tempo are told as slower or faster, and measures
// that follow a recording, each with a tempo of its own, not at all.
func (f film) next(list []Measure, i int, entries []int) string {
	for _, n := range entries {
		if in := n - list[i].Number; in >= 1 && in <= ahead && list[i].Number >= 0 {
			return f.words.Say("film.enter", "count", strconv.Itoa(in))
		}
	}
	now := list[i]
	for k := i + 1; k < len(list) && k <= i+ahead; k++ {
		m := list[k]
		var what []string
		if m.Meter != now.Meter {
			what = append(what, m.Meter)
		}
		// A ramp that ends at the next tempo leads there by itself.
		if before := list[k-1]; !m.ramp && !m.own && (math.Abs(m.BPM-before.ends) > 0.05 || m.Unit != now.Unit) {
			what = append(what, f.words.Say("film.tempo", "bpm", f.words.Number(m.BPM, 1)))
		}
		if m.ramp && !now.ramp {
			key := "film.slower"
			if m.ends > m.BPM {
				key = "film.faster"
			}
			what = append(what, f.words.Say(key))
		}
		if len(what) > 0 {
			return f.words.Say("film.next", "what", strings.Join(what, ", "), "count", strconv.Itoa(k-i))
		}
	}
	return ""
}

// pictures returns the frames one after the other, four bytes a pixel. A picture is
// drawn when it changes, and only one is held. So memory does not grow with the film.
func (f film) pictures() io.Reader { return &frameReader{film: f, beat: -1} }

// frameReader gives the frames of a film as bytes.
type frameReader struct {
	film
	frame int // the next
	beat  int // index of the one that is on, −1 before the first
	shown card.Beat
	image *image.NRGBA
	left  []byte // of the frame that is being read
}

// Read implements io.Reader.
func (r *frameReader) Read(p []byte) (int, error) {
	if len(r.left) == 0 {
		if r.frame == r.frames {
			return 0, io.EOF
		}
		if err := r.draw(); err != nil {
			return 0, err
		}
		r.frame++
		r.left = r.image.Pix
	}
	n := copy(p, r.left)
	r.left = r.left[n:]
	return n, nil
}

// draw makes the picture of the next frame, unless the last one is the same.
func (r *frameReader) draw() error {
	for r.beat+1 < len(r.beats) && r.beats[r.beat+1].frame <= r.frame {
		r.beat++
	}
	view := card.Beat{Room: r.room}
	if r.beat >= 0 {
		view = r.beats[r.beat].view
		view.Lit = r.frame < r.beats[r.beat].dark
		// A second after the last beat has gone dark.
		if !view.Lit && r.beat == len(r.beats)-1 && r.frame > r.beats[r.beat].dark+r.rate.Frame(1) {
			view = card.Beat{} // the piece is over
		}
		view.Room = r.room
	}
	if r.image != nil && view == r.shown {
		return nil
	}
	img, err := card.DrawBeat(r.canvas, view, r.fonts)
	if err != nil {
		return fmt.Errorf("guide film: %w", err)
	}
	r.image, r.shown = img, view
	return nil
}
