package demo

import (
	"bytes"
	"context"
	"errors"
	"math"
	"os"
	"path/filepath"
	"testing"

	"ripieno/assemble/demo/figure"
	"ripieno/assemble/demo/instrument"
	"ripieno/assemble/demo/score"
	"ripieno/assemble/fault"
	"ripieno/assemble/ffmpeg"
	"ripieno/assemble/ffmpeg/ffmpegtest"
	"ripieno/assemble/media"
	"ripieno/mix/audio"
	"ripieno/mix/tempo"
)

// small returns a production of three seconds with one of each kind of file: uneven
// frames and a separate microphone, a turned picture, sound only.
func small(t testing.TB, seed uint64) *production {
	t.Helper()
	four, err := tempo.ParseMeter("4/4")
	if err != nil {
		t.Fatal(err)
	}
	piece := score.Piece{Title: "Small", Tempo: tempo.Spec{
		CountIn:  tempo.CountIn{Measures: 1, CueMeasure: 1, CueBeat: 3},
		Changes:  []tempo.Change{{Measure: 1, Meter: four, BPM: 160}},
		Measures: 1,
	}}
	for name, music := range map[string]string{"Violin": "D5:q F5:q A5:h", "Oboe": "A4:h D5:q r:q",
		"Clarinet": "D4:w"} {
		part, err := score.Parse(name, music, piece.Tempo)
		if err != nil {
			t.Fatal(err)
		}
		piece.Parts = append(piece.Parts, part)
	}
	cast := []player{
		{take: "violin", name: "Una", part: "Violin", section: "s", kind: instrument.Violin,
			look:   figure.Look{Instrument: figure.Violin, Skin: 0xe8b894, Shirt: 0x39496b, Wall: 0xcdb58f},
			camera: &camera{phone("intake/una.mp4", 48000, 2), figure.View{W: 320, H: 180}, 30, 1, true},
			mic:    closeMic("intake/una.wav", 1)},
		{take: "oboe", name: "Odo", part: "Oboe", section: "w", kind: instrument.Oboe,
			look:   figure.Look{Instrument: figure.Oboe, Skin: 0xc98d63, Shirt: 0xb4553f, Wall: 0x8fa59a},
			camera: &camera{phone("intake/odo.mov", 44100, 1), figure.View{W: 320, H: 180, Turn: 90}, 25, 1, false}},
		{take: "clarinet", name: "Cato", part: "Clarinet", section: "w", kind: instrument.Clarinet,
			mic: &microphone{file: "intake/cato.m4a", rate: 44100, channels: 2, level: -25, noise: -66, cut: 60,
				bitrate: "96k"}},
		{take: "bass", name: "Otto", part: "Bass", section: "s"},
	}
	p, err := plan(piece, cast, Options{Seed: seed, Workers: 2})
	if err != nil {
		t.Fatal(err)
	}
	// The lots would start recordings up to twelve seconds early.
	p.cast[0].camera.clock = clock{-0.4137, 80, 3.9}
	p.cast[0].mic.clock = clock{0.1009, -30, 3.1}
	p.cast[1].camera.clock = clock{-0.9021, -75.5, 4.2}
	p.cast[2].mic.clock = clock{-0.2, 12.3, 3.5}
	return p
}

func made(t *testing.T, p *production, dir string) Truth {
	t.Helper()
	last, ended := 0.0, false
	truth, err := p.make(context.Background(), ffmpegtest.Tool(t), dir, func(done, total float64, what string) {
		if done < last || done > total*1.0001 || what == "" {
			t.Errorf("progress: %g of %g, %q after %g", done, total, what, last)
		}
		last = done
		if what == "all takes" {
			ended = math.Abs(done-total) <= 1e-6*total
		}
	})
	if err != nil {
		t.Fatal(fault.Format(err))
	}
	if !ended {
		t.Errorf("progress ends at %g", last)
	}
	return truth
}

// files returns the names and contents of all files under dir.
func files(t *testing.T, dir string) map[string][]byte {
	t.Helper()
	all := map[string][]byte{}
	err := filepath.WalkDir(dir, func(path string, d os.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		data, err := os.ReadFile(path)
		rel, _ := filepath.Rel(dir, path)
		all[filepath.ToSlash(rel)] = data
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return all
}

func sameFiles(t *testing.T, got, want map[string][]byte) {
	t.Helper()
	for name, data := range want {
		if !bytes.Equal(got[name], data) {
			t.Errorf("%s differs: %d bytes, want %d", name, len(got[name]), len(data))
		}
	}
	for name := range got {
		if _, ok := want[name]; !ok {
			t.Errorf("%s is there and should not be", name)
		}
	}
}

// The truth is true of the files as anybody decodes them.
func TestTruth(t *testing.T) {
	tool, dir := ffmpegtest.Tool(t), t.TempDir()
	p := small(t, 7)
	truth := made(t, p, dir)
	if len(truth.Files) != 4 || len(truth.Players) != 3 {
		t.Fatalf("%d files of %d players", len(truth.Files), len(truth.Players))
	}
	for _, f := range truth.Files {
		info, err := media.Probe(context.Background(), tool, filepath.Join(dir, f.File))
		if err != nil {
			t.Fatal(err)
		}
		x, rate := decode(t, tool, info)
		if len(x) < int((f.Seconds-0.05)*rate) {
			t.Errorf("%s: %.2f s of sound, want %.2f", f.File, float64(len(x))/rate, f.Seconds)
		}
		if late := clapIn(x, rate, f.ClapAt) - f.ClapAt; math.Abs(late) > 0.001 {
			t.Errorf("%s: the clap sounds %.2f ms from where truth says", f.File, late*1000)
		}
	}
	for i := range p.cast {
		if p.cast[i].camera != nil {
			checkPictures(t, tool, p, i, dir)
		}
	}
}

// decode returns the first channel of a file's sound.
func decode(t *testing.T, tool *ffmpeg.Tool, info media.Info) ([]float64, float64) {
	t.Helper()
	dst := filepath.Join(t.TempDir(), "sound.wav")
	if err := media.DecodeAudio(context.Background(), tool, info, dst); err != nil {
		t.Fatal(err)
	}
	wav, err := media.OpenWAV(dst)
	if err != nil {
		t.Fatal(err)
	}
	block, err := audio.ReadAll(wav)
	if err != nil {
		t.Fatal(err)
	}
	if err := wav.Close(); err != nil {
		t.Fatal(err)
	}
	return block[0], float64(wav.Rate())
}

// clapIn returns when the loudest sound within 0.2 s of a time begins: the first
// sample above two fifths of the peak, which what AAC smears ahead is not.
func clapIn(x []float64, rate, about float64) float64 {
	from, to := max(int((about-0.2)*rate), 0), min(int((about+0.2)*rate), len(x))
	most := 0.0
	for _, v := range x[from:to] {
		most = max(most, math.Abs(v))
	}
	for i, v := range x[from:to] {
		if math.Abs(v) > 0.4*most {
			return float64(from+i) / rate
		}
	}
	return math.NaN()
}

// checkPictures compares the frames in the file with what the player looked
// like at their guide time, and half a frame and a whole one earlier and
// later: the truth has to be the best match wherever hands move fast.
func checkPictures(t *testing.T, tool *ffmpeg.Tool, p *production, who int, dir string) {
	t.Helper()
	q := p.cast[who]
	c := *q.camera
	path := filepath.Join(dir, c.file)
	info, err := media.Probe(context.Background(), tool, path)
	if err != nil {
		t.Fatal(err)
	}
	times, _, err := media.FrameTimes(context.Background(), tool, info, 100)
	if err != nil {
		t.Fatal(err)
	}
	if len(times) != c.frames() || info.Video.VFR != c.vfr || info.Video.Rotation != c.view.Turn {
		t.Errorf("%s: %d frames, uneven %t, turn %d", c.file, len(times), info.Video.VFR, info.Video.Rotation)
	}
	w, h := info.Video.Display()
	var raw bytes.Buffer
	args := []string{"-i", "file:" + path, "-map", "0:v:0", "-fps_mode", "passthrough", "-f", "rawvideo", "-pix_fmt",
		"yuv420p", "pipe:1"}
	if err := tool.Run(context.Background(), ffmpeg.Command{Args: args, Stdout: &raw}); err != nil {
		t.Fatal(err)
	}
	acting, err := perform(p.tempo, p.piece.Part(q.part), q, newRandom(p.options.Seed, "timing "+q.take))
	if err != nil {
		t.Fatal(err)
	}
	// What players of the file should see: upright.
	stage := figure.NewStage(q.look, acting.motion(p.tempo, q.phase), figure.View{W: w, H: h})
	frame := figure.NewFrame(w, h)
	checked := 0
	for n, at := range times {
		if math.Abs(at-c.moment(n)) > 2e-5 {
			t.Errorf("%s: frame %d is at %.6f s, want %.6f", c.file, n, at, c.moment(n))
		}
		guide := c.clock.guide(at)
		if d := guide - acting.clap; d < -0.3 || d > -0.07 {
			continue // hands are fastest before the clap
		}
		got := raw.Bytes()[n*w*h*3/2:][:w*h]
		best, least := 0.0, math.Inf(1)
		for _, shift := range []float64{-1, -0.5, 0, 0.5, 1} {
			stage.Draw(frame, guide+shift*float64(c.fpsDen)/float64(c.fpsNum))
			if d := difference(got, frame.Pix[:w*h]); d < least {
				best, least = shift, d
			}
		}
		if best != 0 {
			t.Errorf("%s: frame %d shows what was %+.1f frames from its time", c.file, n, best)
		}
		if checked++; least > 12 {
			t.Errorf("%s: frame %d is %.0f away from what was drawn", c.file, n, least)
		}
	}
	if checked < 4 {
		t.Errorf("%s: only %d frames looked at", c.file, checked)
	}
}

// difference returns the mean square of the differences.
func difference(a, b []byte) float64 {
	sum := 0.0
	for i := range a {
		d := float64(a[i]) - float64(b[i])
		sum += d * d
	}
	return sum / float64(len(a))
}

// Whatever the number of workers and however often it was broken off: the same
// bytes.
func TestSameFilesHoweverMade(t *testing.T) {
	tool := ffmpegtest.Tool(t)
	whole := t.TempDir()
	p := small(t, 7)
	p.options.Workers = 1
	made(t, p, whole)
	want := files(t, whole)
	if len(want) != 6 { // four takes, production.yaml, truth.yaml
		t.Fatalf("%d files", len(want))
	}

	broken := filepath.Join(t.TempDir(), "new", "demo")
	ctx, cancel := context.WithCancel(context.Background())
	defer cancel()
	_, err := small(t, 7).make(ctx, tool, broken, func(done, total float64, what string) {
		if done > total/3 {
			cancel()
		}
	})
	if !errors.Is(err, context.Canceled) {
		t.Fatalf("a cancelled run returns %v", err)
	}
	left := files(t, broken)
	for name, data := range left {
		if !bytes.Equal(data, want[name]) {
			t.Errorf("the cancelled run left %s with %d bytes, want %d or nothing", name, len(data), len(want[name]))
		}
	}
	if len(left) == len(want) {
		t.Error("the run was not broken off")
	}
	// What a killed run leaves besides.
	litter := part(filepath.Join(broken, "intake", "odo.mov"))
	if err := os.WriteFile(litter, []byte("half"), 0o600); err != nil {
		t.Fatal(err)
	}
	made(t, small(t, 7), broken)
	sameFiles(t, files(t, broken), want)

	// A manifest changed by hand is the user's.
	mine := filepath.Join(broken, "production.yaml")
	if err := os.WriteFile(mine, []byte("version: 1 # mine\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	if err := os.Remove(filepath.Join(broken, "intake", "una.wav")); err != nil {
		t.Fatal(err)
	}
	made(t, small(t, 7), broken)
	want["production.yaml"] = []byte("version: 1 # mine\n")
	sameFiles(t, files(t, broken), want)
}

func TestMakeRefusesOthersFolders(t *testing.T) {
	tool := ffmpegtest.Tool(t)
	ended, cancel := context.WithCancel(context.Background())
	cancel() // nothing is to be made here
	full := t.TempDir()
	if err := os.WriteFile(filepath.Join(full, "letter.txt"), []byte("dear"), 0o600); err != nil {
		t.Fatal(err)
	}
	notAFolder := filepath.Join(full, "letter.txt")
	other := filepath.Join(t.TempDir(), "demo")
	if _, err := Make(ended, tool, other, Options{Seed: 1}, nil); !errors.Is(err, context.Canceled) {
		t.Fatalf("a cancelled Make returns %v", err)
	}
	before := files(t, other)
	if len(before) != 2 {
		t.Errorf("a cancelled Make leaves %d files, want production.yaml and truth.yaml", len(before))
	}
	for _, tt := range []struct {
		dir, what string
		kind      fault.Kind
	}{
		{full, "the folder is not empty", fault.Manifest},
		{other, "the folder holds a demo with another truth.yaml", fault.Manifest},
		{notAFolder, "cannot write the demo here", fault.Failed},
		{filepath.Join(notAFolder, "below"), "cannot write the demo here", fault.Failed},
	} {
		_, err := Make(ended, tool, tt.dir, Options{Seed: 2}, nil)
		var f *fault.Fault
		if !errors.As(err, &f) || f.What != tt.what || f.Kind != tt.kind || f.Hint == "" {
			t.Errorf("%s: %v, want %q", tt.dir, err, tt.what)
		}
	}
	sameFiles(t, files(t, other), before)
	sameFiles(t, files(t, full), map[string][]byte{"letter.txt": []byte("dear")})
	if _, err := Make(ended, tool, other, Options{Seed: 1}, nil); !errors.Is(err, context.Canceled) {
		t.Errorf("the same demo again: %v", err)
	}
}

func TestEncodersAreRequired(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "demo")
	_, err := small(t, 1).make(context.Background(), &ffmpeg.Tool{}, dir, nil)
	if fault.KindOf(err) != fault.FFmpeg {
		t.Errorf("without encoders: %v", err)
	}
	if exists(dir) {
		t.Error("a folder was made all the same")
	}
}
