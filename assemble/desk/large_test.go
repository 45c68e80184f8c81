package desk_test

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"image"
	"image/jpeg"
	"math"
	"os"
	"path/filepath"
	"ripieno/assemble/desk"
	"ripieno/assemble/desk/audition"
	"ripieno/assemble/ffmpeg/ffmpegtest"
	"ripieno/assemble/graph"
	"ripieno/assemble/manifest"
	"ripieno/assemble/media"
	"ripieno/assemble/picture"
	"ripieno/assemble/production"
	"ripieno/assemble/progress"
	"ripieno/assemble/takes"
	"ripieno/mix/audio"
	"strings"
	"testing"
)

// large is the work of a desk with many takes, all of which are one file: what is
// measured is the page and what it fetches, with everything made.
type large struct {
	man     *production.Production
	paths   []string
	proxies []string
	still   []byte
}

func (l *large) Place(context.Context, progress.Reporter) (*audition.Placing, error) {
	music, err := audition.MusicOf(l.man)
	if err != nil {
		return nil, err
	}
	p := &audition.Placing{Beats: music.Beats, Start: music.Start, End: music.End, FPS: 30, Faults: []takes.Fault{},
		Places: []audition.Window{{Title: "the clap", At: 4}, {Title: "measure 1", At: music.Start},
			{Title: "measure 75", At: 156}}}
	if p.Guide, err = p.Open(l.paths[0], true, 0); err != nil {
		return nil, err
	}
	for i, t := range l.man.Takes {
		s, err := p.Open(l.paths[i], true, 0)
		if err != nil {
			return nil, err
		}
		one := audition.PlacedTake{Player: t.Player, Part: t.Part, Sound: &s, Picture: true,
			Asks: "clap at 4.00 s (60 %) or 2.00 s (40 %)"}
		one.Name, one.Role, one.File, one.Sure = t.Name, string(production.Audio), t.Name+".wav", i%10 > 0
		one.Candidates = []takes.Candidate{}
		if one.Sure {
			one.Asks = ""
		}
		p.Takes = append(p.Takes, one)
	}
	return p, nil
}

func (l *large) Strip(context.Context, *audition.Placing, string, float64) ([]byte, error) {
	return l.still, nil
}

func (l *large) Mix(context.Context, progress.Reporter) (*audition.Mixing, error) {
	music, err := audition.MusicOf(l.man)
	if err != nil {
		return nil, err
	}
	m := &audition.Mixing{Start: music.Zero, Length: music.End - music.Zero, Target: -16, Beats: music.Beats,
		Hall:     []audition.Sound{},
		Sections: []audition.Section{}, Strips: []audition.Strip{}}
	for i, t := range l.man.Takes {
		s, err := audition.OpenVoice(l.proxies[i], 0, 300*audio.Rate)
		if err != nil {
			return nil, err
		}
		loud := -20.0
		m.Strips = append(m.Strips, audition.Strip{Take: t.Name, Player: t.Player, Part: t.Part, Law: "power",
			Width: 1, Sound: &s, Loudness: &loud, Lifts: []audition.Lift{}})
	}
	m.ID = m.Identify()
	return m, nil
}

// Look has everybody in a grid on three canvases, and every second shot shows one alone.
func (l *large) Look(context.Context, progress.Reporter) (*audition.Looking, error) {
	music, err := audition.MusicOf(l.man)
	if err != nil {
		return nil, err
	}
	out := &audition.Looking{Beats: music.Beats, Start: music.Zero, End: music.End}
	for i, t := range l.man.Takes {
		out.Takes = append(out.Takes, audition.Seen{Take: t.Name, Player: t.Player, Part: t.Part, Seat: i + 1,
			W: 1000, H: 112})
	}
	for _, t := range l.man.Takes {
		out.Keep(t.Name, l.still)
	}
	const shots = 24
	for _, want := range audition.Canvases(l.man) {
		film := audition.Film{Name: want.Name, W: want.Canvas.W, H: want.Canvas.H}
		for k := range shots {
			span := (out.End - out.Start) / shots
			s := audition.Shot{From: out.Start + float64(k)*span, To: out.Start + float64(k+1)*span, Show: "tutti"}
			if k%2 == 1 {
				s.Show = "solo"
			}
			s.Tiles = tiles(film.W, film.H, l.man.Takes, s.Show == "solo")
			film.Shots = append(film.Shots, s)
		}
		out.Films = append(out.Films, film)
	}
	for k := range shots {
		m := 1 + 6*k
		s := audition.ListedShot{From: music.Start + float64(m-1)*2, FromText: fmt.Sprintf("m%d", m),
			Show: "tutti", Transition: "cut"}
		if k%2 == 1 {
			s.Show, s.Take = "solo", l.man.Takes[0].Name
		}
		out.Shots = append(out.Shots, s)
	}
	return out, nil
}

// tiles lays takes out on a canvas in rows of equal ones, or the first of them alone.
func tiles(w, h int, takes []production.Take, alone bool) []audition.Tile {
	if alone {
		takes = takes[:1]
	}
	columns := int(math.Ceil(math.Sqrt(float64(len(takes)*w) / float64(h))))
	rows := (len(takes) + columns - 1) / columns
	var out []audition.Tile
	for i, t := range takes {
		box := picture.Box{X: i % columns * w / columns, Y: i / columns * h / rows, W: w / columns, H: h / rows}
		out = append(out, audition.Tile{Take: t.Name, Rect: box, Hole: box, Seat: i + 1,
			Source: &picture.Box{X: 400, Y: 0, W: 112 * w * rows / (h * columns), H: 112}})
	}
	return out
}

// Judge finds three things in every take.
func (l *large) Judge(context.Context, progress.Reporter) (*audition.Judging, error) {
	j := &audition.Judging{}
	for i, t := range l.man.Takes {
		s, err := j.Open(l.paths[i], true, 0)
		if err != nil {
			return nil, err
		}
		one := audition.JudgedTake{Take: t.Name, Player: t.Player, Part: t.Part, Level: "ask", Release: "yes",
			Letter: strings.Repeat("Your recording is in. One small thing would make it even better.\n", 12)}
		for k := range 3 {
			one.Findings = append(one.Findings, audition.Found{Level: "ask", File: t.Name + ".wav",
				What: fmt.Sprintf("finding %d", k), Ask: "Could you record again?", At: float64(20 * k), Sound: &s})
		}
		j.Takes = append(j.Takes, one)
	}
	return j, nil
}
func (l *large) Make(context.Context, string, progress.Reporter) (string, error) {
	return "", os.ErrInvalid
}
func (l *large) Measure(context.Context, progress.Reporter) (desk.Measured, error) {
	return desk.Measured{}, os.ErrInvalid
}

// writeLarge writes a production of so many takes and the one file that all of them are.
func writeLarge(t *testing.T, takes int) (string, *large) {
	t.Helper()
	dir := t.TempDir()
	var text strings.Builder
	text.WriteString("version: 1\ntitle: The Long Round\ntempo:\n  count_in: {measures: 4}\n" +
		"  changes: [{measure: 1, meter: 4/4, bpm: 120}]\n  measures: 146\ntakes:\n")
	for i := range takes {
		fmt.Fprintf(&text, "  - {name: player-%d, player: Player Number %d, part: Part %d, expected: true}\n", i, i,
			i%12)
	}
	if err := os.WriteFile(filepath.Join(dir, "production.yaml"), []byte(text.String()), 0o600); err != nil {
		t.Fatal(err)
	}
	man, err := manifest.Load(dir)
	if err != nil {
		t.Fatal(err)
	}
	wave := make([]float64, 300*audio.Rate)
	for i := range wave {
		wave[i] = 0.1 * math.Sin(float64(i)*0.05) * math.Exp(-math.Mod(float64(i), 24000)/8000)
	}
	first := filepath.Join(dir, "take.wav")
	if _, err := media.CreateWAV(t.Context(), first, audio.NewMemory(audio.Block{wave}, audio.Rate),
		media.Float32); err != nil {
		t.Fatal(err)
	}
	small := filepath.Join(dir, "take.aac")
	cmd, err := graph.Proxy("file:"+first, 1, "file:"+small)
	if err == nil {
		err = ffmpegtest.Tool(t).RunGraph(t.Context(), cmd, small, 0, nil)
	}
	if err != nil {
		t.Fatal(err)
	}
	l := &large{man: man}
	for i := range takes {
		path := filepath.Join(dir, fmt.Sprintf("take-%d", i))
		if err := errors.Join(os.Link(first, path+".wav"), os.Link(small, path+".aac")); err != nil {
			t.Fatal(err)
		}
		l.paths, l.proxies = append(l.paths, path+".wav"), append(l.proxies, path+".aac")
	}
	var still bytes.Buffer
	if err := jpeg.Encode(&still, image.NewRGBA(image.Rect(0, 0, 1000, 112)), nil); err != nil {
		t.Fatal(err)
	}
	l.still = still.Bytes()
	return dir, l
}
