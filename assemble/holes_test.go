package assemble

import (
	"bytes"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"ripieno/assemble/ffmpeg"
	"ripieno/assemble/intake"
	"ripieno/assemble/media"
	"ripieno/mix/align/simulate"
	"ripieno/mix/audio"
	"ripieno/mix/robust"
)

// holed is a phone that stopped for a while in the middle of a take and went on.
type holed struct {
	file    string
	coding  []string
	picture bool // stopped too, and only its time stamps went on
}

// hole is from when on a phone stopped, and for how long, in seconds of what it would have recorded.
type hole struct{ at, long float64 }

// How they film, and how long they stop where they do once.
const (
	holeLong = 1.3  // seconds
	holeFPS  = 25.0 // frames a second, of the phones and of the film
	holeRate = 44100
)

// burst adds one of 9 kHz, far above what is played, to a sound.
func burst(x []float64, seconds float64) {
	for i := range 300 {
		if k := int(math.Round(seconds*holeRate)) + i; k >= 0 && k < len(x) {
			x[k] += 0.4 * math.Exp(-float64(i)/100) * math.Cos(2*math.Pi*9000*float64(i)/holeRate)
		}
	}
}

// write makes the file of a player whose sound is x, without what ffmpeg cuts out.
func (h holed) write(t *testing.T, tool *ffmpeg.Tool, dir string, id int, x []float64, holes []hole) {
	t.Helper()
	wav := filepath.Join(t.TempDir(), "sound.wav")
	if _, err := media.CreateWAV(t.Context(), wav, audio.NewMemory(audio.Block{x}, holeRate), media.Float32); err != nil {
		t.Fatal(err)
	}
	m := marked{id: id, frames: int(float64(len(x)) / holeRate * holeFPS)}
	var video bytes.Buffer
	for k := range m.frames {
		video.Write(m.frame(k))
	}
	var each []string
	for _, x := range holes {
		each = append(each, fmt.Sprintf("(lt(t,%.4f)+gte(t,%.4f))", x.at-0.001, x.at+x.long-0.001))
	}
	there := "'" + strings.Join(each, "*") + "'"
	args := []string{"-f", "rawvideo", "-pix_fmt", "gray", "-s", fmt.Sprintf("%dx%d", markWide, markHigh), "-r",
		fmt.Sprint(holeFPS), "-i", "pipe:0", "-i", wav, "-map", "0:v", "-map", "1:a", "-pix_fmt", "yuv420p",
		"-af", "asetnsamples=n=441:p=0,aselect=" + there + ",asetpts=N/SR/TB"}
	if h.picture {
		args = append(args, "-vf", "select="+there, "-fps_mode", "vfr")
	}
	args = append(append(args, h.coding...), "-y", filepath.Join(dir, "intake", h.file))
	run(t, tool, ffmpeg.Command{Args: args, Stdin: &video})
}

// stopped is the production of these tests: who plays, how long the phones stop and how long
// after one another, and for every phone when it did, and the seconds of the bursts in its sound.
type stopped struct {
	*simulate.Ensemble
	phones []holed // of the players from the second on
	long   []float64
	apart  float64

	holes  [][]hole
	bursts [][]float64
}

// part returns in which part of what a phone recorded a second lies.
func (s *stopped) part(phone int, seconds float64) int {
	n := 0
	for n < len(s.holes[phone]) && seconds > s.holes[phone][n].at {
		n++
	}
	return n
}

// guide returns the guide time of a second of what a phone would have recorded in one piece.
func (s *stopped) guide(phone int, seconds float64) float64 {
	tr := s.Takes[1+phone].Truth
	return tr.Offset + seconds*audio.PPM(tr.DriftPPM).Ratio()
}

// write makes the files and returns the manifest.
func (s *stopped) write(t *testing.T, tool *ffmpeg.Tool, dir string) string {
	t.Helper()
	manifest := writeEnsemble(t, dir, s.Ensemble, nil)
	middle := (s.Map.Start() + s.Map.End()) / 2
	for i, h := range s.phones {
		take := s.Takes[1+i]
		b, err := audio.ReadAll(take.Source())
		if err != nil {
			t.Fatal(err)
		}
		at := math.Round((middle-take.Truth.Offset)*holeFPS) / holeFPS
		bursts := []float64{at - 4, at - 2}
		var holes []hole
		for k, long := range s.long {
			x := hole{at + float64(k)*s.apart, long}
			holes, bursts = append(holes, x), append(bursts, x.at+long+2, x.at+long+4)
		}
		for k := range bursts {
			bursts[k] += 0.25 * float64(i) // each apart from the others'
			burst(b[0], bursts[k])
		}
		s.holes, s.bursts = append(s.holes, holes), append(s.bursts, bursts)
		h.write(t, tool, dir, 1+i, b[0], holes)
		wav := fmt.Sprintf("intake/p%d.wav", 1+i)
		manifest = strings.Replace(manifest, "audio: {file: "+wav, "fit: fit, video: {file: intake/"+h.file, 1)
		if err := os.Remove(filepath.Join(dir, wav)); err != nil {
			t.Fatal(err)
		}
	}
	return manifest + "mix: {loudness: -20, true_peak: -2, balance: manual}\npicture: {fps: 25, labels: false, " +
		"lead_in: 1, tail: 1}\ndeliver: [{name: final, canvas: 640x360}]\n"
}

// TestAPhoneThatStopped: pictures and sounds are cut by ffmpeg as phones cut them, in MP4,
// Matroska and WebM; check tells the measure, sync puts the parts where they belong, and in the
// film picture and sound are in step before the hole and after it.
func TestAPhoneThatStopped(t *testing.T) {
	t.Parallel()
	tool, dir := findTool(t), t.TempDir()
	h264 := []string{"-c:v", "libx264", "-preset", "ultrafast", "-crf", "20", "-c:a", "aac", "-b:a", "128k"}
	vp8 := []string{"-c:v", "libvpx", "-deadline", "realtime", "-cpu-used", "8", "-b:v", "2M", "-c:a", "libopus"}
	s := &stopped{long: []float64{holeLong}, phones: []holed{{"p1.mp4", h264, true}, {"p2.mkv", h264, true},
		{"p3.webm", vp8, true}, {"p4.mp4", h264, false}}}
	s.Ensemble = simulate.New(6, simulate.Options{Level: simulate.Easy, Players: 5, Seconds: 24, Rate: holeRate})
	p := openTest(t, dir, s.write(t, tool, dir))
	sync, err := p.Sync(t.Context(), SyncOptions{})
	if err != nil {
		t.Fatal(err)
	}
	check, err := p.Check(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	for i, h := range s.phones {
		x, near := sync.Takes[1+i], 0.05
		if !h.picture {
			near = 0.6 // a note tells where, and no frame
		}
		if !x.Sure || len(x.Parts) != 2 || len(x.Breaks) != 1 || !x.Breaks[0].Mended || x.Breaks[0].By != "picture" ||
			math.Abs(x.Breaks[0].Jump-holeLong) > 0.05 || math.Abs(x.Breaks[0].At-s.holes[i][0].at) > near {
			t.Errorf("%s stopped at %.2f s: sure %v (%s), breaks %+v",
				h.file, s.holes[i][0].at, x.Sure, x.Reason, x.Breaks)
		}
		measure := fmt.Sprintf("measure %d,", s.Map.Position(s.guide(i, s.holes[i][0].at)).Measure)
		if !slices.ContainsFunc(check.Takes[1+i].Findings, func(f intake.Finding) bool {
			return f.Code == intake.Broken && strings.Contains(fmt.Sprint(f), measure)
		}) {
			t.Errorf("%s: check does not tell %s: %+v", h.file, measure, check.Takes[1+i].Findings)
		}
	}
	s.look(t, tool, p)
}

// TestAPhoneThatStoppedTwice: both holes are mended, each by itself, and picture and sound are in
// step before, between and after them.
func TestAPhoneThatStoppedTwice(t *testing.T) {
	t.Parallel()
	tool, dir := findTool(t), t.TempDir()
	h264 := []string{"-c:v", "libx264", "-preset", "ultrafast", "-crf", "20", "-c:a", "aac", "-b:a", "128k"}
	s := &stopped{long: []float64{holeLong, 0.8}, apart: 8, phones: []holed{{"p1.mp4", h264, true},
		{"p2.mkv", h264, true}}}
	s.Ensemble = simulate.New(6, simulate.Options{Level: simulate.Easy, Players: 4, Seconds: 30, Rate: holeRate})
	p := openTest(t, dir, s.write(t, tool, dir))
	sync, err := p.Sync(t.Context(), SyncOptions{})
	if err != nil {
		t.Fatal(err)
	}
	for i, h := range s.phones {
		x := sync.Takes[1+i]
		if !x.Sure || len(x.Parts) != 3 || len(x.Breaks) != 2 || !x.Breaks[0].Mended || !x.Breaks[1].Mended {
			t.Errorf("%s stopped at %.2f s: sure %v (%s), breaks %+v", h.file, s.holes[i], x.Sure, x.Reason, x.Breaks)
		}
	}
	s.look(t, tool, p)
}

// look renders the film and holds the picture and the sound of every phone against when they were.
func (s *stopped) look(t *testing.T, tool *ffmpeg.Tool, p *Production) {
	t.Helper()
	r, err := p.Render(t.Context(), RenderOptions{})
	if err != nil {
		t.Fatal(err)
	}
	grid, err := p.Grid(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	f := decodeFilm(t, tool, r.Output, 640, 360)
	f.fps, f.start = holeFPS, s.Map.Start()-1
	for i, h := range s.phones {
		k := slices.IndexFunc(grid.Shots[0].Tiles, func(x GridTile) bool { return x.Take == fmt.Sprintf("p%d", 1+i) })
		seen, heard := s.lateIn(f, i, grid.Shots[0].Tiles[k])
		for part := range seen {
			name := fmt.Sprint("after ", part, " stops:")
			if len(seen[part]) < 5*holeFPS || len(heard[part]) != 2 {
				t.Fatalf("%s %s %d frames, %d bursts", h.file, name, len(seen[part]), len(heard[part]))
			}
			picture, sound := robust.Median(seen[part]), robust.Median(heard[part])
			t.Logf("%s %s the picture %.1f ms late, the sound %.1f", h.file, name, 1000*picture, 1000*sound)
			// Half a frame, and where a listener hears two notes instead of one.
			if math.Abs(picture-sound) > 0.5/holeFPS || !(math.Abs(sound) < 0.04) ||
				math.Abs(heard[part][0]-heard[part][1]) > 0.001 {
				t.Errorf("%s %s the picture is %.1f ms late, the sound %v s", h.file, name, 1000*picture, heard[part])
			}
		}
	}
}

// lateIn returns how late each frame of a phone is shown and each burst heard in the film, in seconds,
// of every part of what it recorded.
func (s *stopped) lateIn(f film, phone int, tile GridTile) (seen, heard [][]float64) {
	seen, heard = make([][]float64, len(s.long)+1), make([][]float64, len(s.long)+1)
	lacks := func(was float64) bool { // the last frame stays while there is none
		return slices.ContainsFunc(s.holes[phone], func(x hole) bool { return was > x.at-0.1 && was < x.at+x.long+0.1 })
	}
	// All of the picture is shown, in the middle of its tile.
	w, h := min(tile.W, tile.H*markWide/markHigh), min(tile.H, tile.W*markHigh/markWide)
	x, y := tile.X+(tile.W-w)/2, tile.Y+(tile.H-h)/2
	for n, pix := range f.frames {
		id, counter := readMark(pix, f.w, x, y, w, h)
		was := float64(counter) / holeFPS
		if id != 1+phone || counter < 0 || lacks(was) {
			continue
		}
		k := s.part(phone, was)
		seen[k] = append(seen[k], f.start+float64(n)/f.fps-s.guide(phone, was))
	}
	for _, b := range s.bursts[phone] {
		g := s.guide(phone, b)
		k := s.part(phone, b)
		heard[k] = append(heard[k], f.start+f.burstNear(g-f.start, 0.1)-g)
	}
	return seen, heard
}

// burstNear returns the output time of the loudest high sample within reach of a moment.
func (f film) burstNear(seconds, reach float64) float64 {
	high := make([]float64, len(f.sound))
	for i := 4; i < len(high); i++ {
		high[i] = f.sound[i] - 2*f.sound[i-2] + f.sound[i-4]
	}
	f.sound = high
	return f.peakNear(seconds, reach)
}
