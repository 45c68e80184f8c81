package demo

import (
	"fmt"
	"math"
	"reflect"
	"slices"
	"strings"
	"testing"

	"ripieno/assemble/demo/score"
	"ripieno/assemble/fault"
	"ripieno/assemble/manifest"
	"ripieno/mix/audio"
	"ripieno/mix/tempo"
)

func lamplighter(t testing.TB, seed uint64) *production {
	t.Helper()
	p, err := plan(score.Lamplighter(), lamplighters(), Options{Seed: seed})
	if err != nil {
		t.Fatal(err)
	}
	return p
}

// production.yaml is read by the program's own strict reader, and says what
// the piece and the cast say.
func TestManifestLoads(t *testing.T) {
	p := lamplighter(t, 1)
	for _, text := range []string{p.text, strings.Replace(p.text, "# - {name: vertical", "- {name: vertical", 1)} {
		got, err := manifest.Parse("production.yaml", []byte(text))
		if err != nil {
			t.Fatalf("%s\n%s", fault.Format(err), text)
		}
		if !reflect.DeepEqual(got.Tempo, p.tempo) {
			t.Error("the manifest's tempo is not the piece's")
		}
		if got.Title != p.piece.Title || got.Composer == "" || got.Dedication == "" || got.Ensemble == "" {
			t.Errorf("title %q, composer %q, dedication %q, ensemble %q", got.Title, got.Composer, got.Dedication,
				got.Ensemble)
		}
		if len(got.Takes) != len(p.cast) {
			t.Fatalf("%d takes of %d players", len(got.Takes), len(p.cast))
		}
		for i, take := range got.Takes {
			q := p.cast[i]
			if take.Name != q.take || take.Player != q.name || take.Part != q.part || take.Section != q.section {
				t.Errorf("take %d is %+v", i, take)
			}
			if file := take.Video; (file != nil) != (q.camera != nil) || file != nil && file.Path != q.camera.file {
				t.Errorf("%s: video %+v", q.take, file)
			}
			if file := take.Audio; (file != nil) != (q.mic != nil) || file != nil && file.Path != q.mic.file {
				t.Errorf("%s: audio %+v", q.take, file)
			}
			if take.Expected != (q.camera == nil && q.mic == nil) {
				t.Errorf("%s: expected %t", q.take, take.Expected)
			}
		}
		if len(got.Shots) < 5 || got.Deliver[0].W != 1920 || got.Deliver[0].H != 1080 {
			t.Errorf("%d shots, deliver %+v", len(got.Shots), got.Deliver)
		}
		want := 1
		if text != p.text {
			want = 2
		}
		if len(got.Deliver) != want {
			t.Errorf("%d deliverables, want %d", len(got.Deliver), want)
		}
	}
	for number, line := range strings.Split(p.text, "\n") {
		if len(line) > 120 || strings.TrimRight(line, " ") != line {
			t.Errorf("line %d is long or ends in blanks: %q", number+1, line)
		}
	}
}

// The cast is what was promised: as many kinds of files as people send.
func TestCast(t *testing.T) {
	playing, missing, soundOnly, separate := 0, 0, 0, 0
	has := map[string]bool{}
	seen := map[string]bool{}
	for _, q := range lamplighters() {
		for _, name := range []string{q.take, q.name, q.part} {
			if seen[name] {
				t.Errorf("%s twice", name)
			}
			seen[name] = true
		}
		switch {
		case q.camera == nil && q.mic == nil:
			missing++
			continue
		case q.camera == nil:
			soundOnly++
		case q.mic != nil:
			separate++
		}
		playing++
		note := func(m microphone) {
			has[fmt.Sprintf("%d Hz", m.rate)] = true
			has[fmt.Sprintf("%d ch", m.channels)] = true
			has["soft"] = has["soft"] || m.level < -40
			has["loud"] = has["loud"] || m.level > -15
			has["hum"] = has["hum"] || m.hum < 0
			has[m.file[strings.LastIndex(m.file, "."):]] = true
		}
		if c := q.camera; c != nil {
			note(c.microphone)
			has[fmt.Sprintf("%d/%d fps", c.fpsNum, c.fpsDen)] = true
			has["uneven"] = has["uneven"] || c.vfr
			has["upright"] = has["upright"] || c.view.W < c.view.H
			has["turned"] = has["turned"] || c.view.Turn != 0
			has["720"] = has["720"] || c.view.H == 720
		}
		if q.mic != nil {
			note(*q.mic)
		}
	}
	if playing < 8 || missing != 1 || soundOnly != 1 || separate < 2 {
		t.Errorf("%d playing, %d missing, %d sound only, %d with a microphone", playing, missing, soundOnly, separate)
	}
	for _, what := range []string{"44100 Hz", "48000 Hz", "1 ch", "2 ch", "soft", "loud", "hum", ".mp4", ".mov", ".m4a",
		".wav",
		"25/1 fps", "30/1 fps", "30000/1001 fps", "uneven", "upright", "turned", "720"} {
		if !has[what] {
			t.Errorf("no take is %s", what)
		}
	}
}

func TestLots(t *testing.T) {
	again := lamplighter(t, 5).truth()
	if !reflect.DeepEqual(lamplighter(t, 5).truth(), again) {
		t.Error("the same seed gives another truth")
	}
	if reflect.DeepEqual(lamplighter(t, 6).truth().Files, again.Files) {
		t.Error("another seed gives the same truth")
	}
	early, late := 0, 0
	for seed := range uint64(100) {
		p := lamplighter(t, seed)
		truth := p.truth()
		for _, f := range truth.Files {
			drift := 80.0
			if strings.HasSuffix(f.File, ".wav") {
				drift = 30
			}
			if math.Abs(f.DriftPPM) > drift {
				t.Errorf("%s drifts by %g ppm", f.File, f.DriftPPM)
			}
			switch {
			case f.Offset >= -12 && f.Offset <= -2:
				early++
			case f.Offset > 0 && f.Offset <= 3:
				late++
			default:
				t.Errorf("%s begins at %g", f.File, f.Offset)
			}
			player, _ := truth.Player(f.Take)
			clap := f.Offset + f.ClapAt*(1+f.DriftPPM*1e-6)
			if math.Abs(clap-truth.Cue-player.ClapErrorMS/1000) > 2e-6 || f.ClapAt < 1.4 {
				t.Errorf("%s claps at %g", f.File, f.ClapAt)
			}
			end := f.Offset + f.Seconds*(1+f.DriftPPM*1e-6)
			if over := end - p.tempo.End(); over < 2.7 || over > 5.1 {
				t.Errorf("%s ends %g s after the music", f.File, over)
			}
		}
		for _, q := range truth.Players {
			if math.Abs(q.BiasMS) > 25 || math.Abs(q.ClapErrorMS) > 20 || q.JitterMS < 5 || q.JitterMS > 12 {
				t.Errorf("%+v", q)
			}
		}
	}
	if share := float64(late) / float64(early+late); share < 0.15 || share > 0.35 {
		t.Errorf("%.0f %% begin late", 100*share)
	}
}

// One more player changes nothing for the others.
func TestLotsAreEachPlayersOwn(t *testing.T) {
	p := lamplighter(t, 5)
	fewer, err := plan(score.Lamplighter(), lamplighters()[3:], Options{Seed: 5})
	if err != nil {
		t.Fatal(err)
	}
	if !reflect.DeepEqual(p.cast[3:], fewer.cast) {
		t.Error("lots depend on who else is there")
	}
}

func TestTruthOfTheCast(t *testing.T) {
	truth := lamplighter(t, 5).truth()
	if len(truth.Players) != 9 || len(truth.Files) != 12 {
		t.Errorf("%d players, %d files", len(truth.Players), len(truth.Files))
	}
	if f, ok := truth.File("oboe", "audio"); !ok || f.File != "intake/mara.wav" {
		t.Errorf("the oboe's microphone is %+v", f)
	}
	if _, ok := truth.File("clarinet", "video"); ok {
		t.Error("the clarinet has a picture")
	}
	if _, ok := truth.Player("double-bass"); ok {
		t.Error("something is known of a player who sent nothing")
	}
	text := string(truth.Encode())
	for _, f := range truth.Files {
		want := fmt.Sprintf("{take: %s, role: %s, file: %s, offset: %.4f, drift_ppm: %.1f,", f.Take, f.Role, f.File,
			f.Offset, f.DriftPPM)
		if !strings.Contains(text, want) {
			t.Errorf("truth.yaml lacks %s", want)
		}
		if round(f.Offset, 4) != f.Offset || round(f.DriftPPM, 1) != f.DriftPPM {
			t.Errorf("truth.yaml rounds %+v", f)
		}
	}
}

// A player's notes are late by the habit on average, spread as said, in order,
// and the clap is late by its own error.
func TestPerform(t *testing.T) {
	p := lamplighter(t, 9)
	for _, q := range p.cast {
		if q.camera == nil && q.mic == nil {
			continue
		}
		part := p.piece.Part(q.part)
		acting, err := perform(p.tempo, part, q, newRandom(9, "timing "+q.take))
		if err != nil {
			t.Fatal(err)
		}
		if late := acting.clap - p.tempo.Cue(); math.Abs(late*1000-q.clapErrorMS) > 1e-6 {
			t.Errorf("%s claps %.2f ms late, want %.1f", q.take, late*1000, q.clapErrorMS)
		}
		sum, squares := 0.0, 0.0
		for i, n := range acting.notes {
			want, err := score.Seconds(p.tempo, part.Notes[i].From)
			if err != nil {
				t.Fatal(err)
			}
			late := (n.from - want) * 1000
			sum += late
			squares += (late - q.biasMS) * (late - q.biasMS)
			if n.to <= n.from || i > 0 && (n.from < acting.notes[i-1].to-1e-9 || n.from <= acting.notes[i-1].from) {
				t.Errorf("%s: note %d from %.3f to %.3f", q.take, i, n.from, n.to)
			}
			if n.level <= 0 || n.level > 1 {
				t.Errorf("%s: note %d has level %v", q.take, i, n.level)
			}
		}
		count := float64(len(acting.notes))
		if mean := sum / count; math.Abs(mean-q.biasMS) > 0.01 {
			t.Errorf("%s is %.2f ms late on average, want %.1f", q.take, mean, q.biasMS)
		}
		// The spread of a sample of n varies by about 1/sqrt(2n) of itself.
		if sd := math.Sqrt(squares / count); math.Abs(sd/q.jitterMS-1) > 3.5/math.Sqrt(2*count) {
			t.Errorf("%s: spread %.1f ms over %.0f notes, want %.1f", q.take, sd, count, q.jitterMS)
		}
	}
}

// How much later than they start a player's notes are heard is the mean over what is played:
// a note that begins where the one before ends has the shorter attack, as the instruments have it.
func TestTruthSaysHowLateNotesAreHeard(t *testing.T) {
	p := lamplighter(t, 9)
	for _, q := range p.truth().Players {
		i := slices.IndexFunc(p.cast, func(c player) bool { return c.take == q.Take })
		c := p.cast[i]
		acting, err := perform(p.tempo, p.piece.Part(c.part), c, newRandom(9, "timing "+c.take))
		if err != nil {
			t.Fatal(err)
		}
		sum := 0.0
		for k, n := range acting.notes {
			sum += 1000 * c.kind.Heard(k > 0 && n.from-acting.notes[k-1].to < 0.015)
		}
		if mean := sum / float64(len(acting.notes)); math.Abs(mean-q.HeardMS) > 1.5 {
			t.Errorf("%s is heard %.1f ms after its notes start, the truth says %.1f", q.Take, mean, q.HeardMS)
		}
	}
}

// What sync is compared with is what is heard: a player who starts 5 ms early and whose notes
// take 12 ms to speak is placed right when their file lies 7 ms earlier than its clock says.
func TestCompareGoesByWhatIsHeard(t *testing.T) {
	truth := Truth{
		Players: []PlayerTruth{{Take: "viola", BiasMS: -5, HeardMS: 12}},
		Files:   []FileTruth{{Take: "viola", Role: "video", Offset: 2}},
	}
	found := []Measured{{Take: "viola", Role: "video", Clock: audio.Clock{Offset: 1.993}}}
	rows, median, worst := truth.Compare(found, 20)
	if len(rows) != 1 || math.Abs(rows[0].ErrorMS) > 1e-6 || median != worst || worst > 1e-6 {
		t.Errorf("%+v, median %.2f, worst %.2f", rows, median, worst)
	}
}

// The cue and the length of the piece, counted by hand: eight measures of
// 2 · 60/88 s before, the cue four of them in.
func TestTempo(t *testing.T) {
	m, err := tempo.New(score.Lamplighter().Tempo)
	if err != nil {
		t.Fatal(err)
	}
	measure := 2 * 60.0 / 88
	if math.Abs(m.Cue()-4*measure) > 1e-9 || math.Abs(m.Start()-8*measure) > 1e-9 {
		t.Errorf("cue at %v, start at %v", m.Cue(), m.Start())
	}
	if music := m.End() - m.Start(); music < 30 || music > 40 {
		t.Errorf("%v s of music", music)
	}
}
