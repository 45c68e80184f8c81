package assemble

import (
	"bytes"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"ripieno/assemble/fault"
	"ripieno/assemble/ffmpeg"
	"ripieno/assemble/production"
	"ripieno/assemble/takes"
	"ripieno/mix/audio"
)

// In this production all clap at guide time 4 and measure 1 begins at 8.
const timingManifest = `version: 1
title: Steady Round
tempo:
  count_in: {measures: 4}
  changes: [{measure: 1, meter: 4/4, bpm: 120}]
  measures: 12
release: yes
takes:
  - {name: late, video: {file: intake/late.mp4}, audio: {file: intake/late.wav}}
  - {name: early, mute: true, audio: {file: intake/early.wav}}
  - {name: clapless, mute: true, audio: {file: intake/clapless.wav}}
mix: {balance: manual, loudness: -24}
picture: {lead_in: 1, tail: 1}
deliver: [{name: final, canvas: 128x72}]
`

// How far the two players who clap right on the cue are from the beat with
// every note, and where their recordings begin.
const (
	lateBy, lateStart   = 0.030, -1.2
	earlyBy, earlyStart = -0.020, 0.4
)

// playSteadily records a player who claps on the cue, or does not, and plays
// most beats by as much too late.
func playSteadily(t *testing.T, dir, name string, start, by, clap float64, skip int) {
	t.Helper()
	var pings []ping
	if clap > 0 {
		pings = append(pings, ping{clap - start, 0, 0.15})
	}
	for beat := range 48 {
		if beat%8 != skip && beat%8 != 6 {
			pings = append(pings, ping{8 + 0.5*float64(beat) + by - start, []float64{392, 440, 494, 523}[beat*7%4],
				0.4})
		}
	}
	writePings(t, filepath.Join(dir, "intake", name), 36, pings)
}

// openTiming opens the production with other words in its manifest, by pairs.
func openTiming(t *testing.T, dir string, changes ...string) *Production {
	t.Helper()
	return openTest(t, dir, strings.NewReplacer(changes...).Replace(timingManifest))
}

// recordSteadily makes the takes. The phone of the first player started 1.5 s
// after the microphone and heard the same.
func recordSteadily(t *testing.T) string {
	t.Helper()
	tool := findTool(t)
	dir := t.TempDir()
	playSteadily(t, dir, "late.wav", lateStart, lateBy, 4, 3)
	playSteadily(t, dir, "early.wav", earlyStart, earlyBy, 4, 5)
	playSteadily(t, dir, "clapless.wav", 0.1, 0.010, 0, 1)
	run(t, tool, ffmpeg.Command{Args: []string{"-ss", "1.5", "-i", filepath.Join(dir, "intake", "late.wav"), "-f",
		"lavfi", "-i", "testsrc2=size=64x36:rate=25:duration=34",
		"-c:v", "libx264", "-preset", "ultrafast", "-pix_fmt", "yuv420p", "-c:a", "aac", "-y",
		filepath.Join(dir, "intake", "late.mp4")}})
	return dir
}

func placedFile(t *testing.T, r SyncResult, name, role string) Placed {
	t.Helper()
	for _, pl := range r.Takes {
		if pl.Name == name && pl.Role == role {
			return pl
		}
	}
	t.Fatalf("no %s of %q in %+v", role, name, r.Takes)
	return Placed{}
}

func syncNow(t *testing.T, p *Production) SyncResult {
	t.Helper()
	r, err := p.Sync(t.Context(), SyncOptions{})
	if err != nil {
		t.Fatal(fault.Format(err))
	}
	for _, pl := range r.Takes {
		if !pl.Sure && pl.Name != "clapless" {
			t.Fatalf("not placed: %+v", pl)
		}
	}
	return r
}

// TestTiming: tightened puts the playing on the beats, as-played puts the clap
// there and keeps the lateness. Both devices of a player move together, a take's
// own word beats the production's, and where there is no clap nothing is kept.
func TestTiming(t *testing.T) {
	t.Parallel()
	dir := recordSteadily(t)
	p := openTiming(t, dir)
	tight := syncNow(t, p)
	p.Close()
	p = openTiming(t, dir, "takes:\n", "timing: as-played\ntakes:\n", "{name: early,",
		"{name: early, timing: tightened,")
	played := syncNow(t, p)
	near := func(what string, got, want, allowed float64) {
		t.Helper()
		if !(math.Abs(got-want) <= allowed) {
			t.Errorf("%s is %.4f, want %.4f within %.4f", what, got, want, allowed)
		}
	}
	for _, c := range []struct {
		name, role string
		start, by  float64 // of the file; of the playing, in seconds
		kept       bool
	}{{"late", string(takes.Audio), lateStart, lateBy, true}, {"late", string(takes.Video), lateStart + 1.5, lateBy,
		true}, {"early", string(takes.Audio), earlyStart, earlyBy, false}} {
		was, is := placedFile(t, tight, c.name, c.role), placedFile(t, played, c.name, c.role)
		// The clap has a say as well, and is expected 10 ms before the playing.
		near(c.name+" "+c.role+": tightened offset", was.Offset, c.start-c.by, 0.008)
		near(c.name+" "+c.role+": lateness", *was.LatenessMS/1000, c.by, 0.008)
		near(c.name+" "+c.role+": lateness when asked for as played", *is.LatenessMS, *was.LatenessMS, 0)
		near(c.name+" "+c.role+": kept when tightened", was.KeptMS, 0, 0)
		if c.kept {
			// The clap's own time is measured to a few milliseconds.
			near(c.name+" "+c.role+": offset as played", is.Offset, c.start, 0.006)
			near(c.name+" "+c.role+": what is kept", is.KeptMS/1000, is.Offset-was.Offset, 1e-9)
		} else {
			near(c.name+": offset of a take that is tightened", is.Offset, was.Offset, 0)
		}
	}
	a, v := placedFile(t, played, "late", string(takes.Audio)), placedFile(t, played, "late", string(takes.Video))
	near("the two devices' shift", a.KeptMS, v.KeptMS, 1e-9)
	was, is := placedFile(t, tight, "clapless", string(takes.Audio)), placedFile(t, played, "clapless",
		string(takes.Audio))
	if is.Offset != was.Offset || is.KeptMS != 0 || is.CueAt != nil ||
		!strings.Contains(strings.Join(is.Evidence, "\n"), "no cue to keep the lateness against") {
		t.Errorf("without a clap: %+v, was %+v", is, was)
	}
	if is.Timing != production.AsPlayed ||
		placedFile(t, played, "early", string(takes.Audio)).Timing != production.Tightened {
		t.Errorf("timings are %q and %q", is.Timing, placedFile(t, played, "early", string(takes.Audio)).Timing)
	}
	// Picture and sound of the film go by the same places.
	all, err := p.locate(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	facts, _ := all.Facts(nil)
	near("the sound's clock", facts["late"].Sound.Clock.Offset, a.Offset, 0)
	near("the picture's clock", facts["late"].Picture.Clock.Offset, v.Offset, 0)
	p.Close()
}

// TestTimingInTheMix: what is kept is heard, and what was made for one timing
// is made again for the other and not mistaken for it.
func TestTimingInTheMix(t *testing.T) {
	t.Parallel()
	dir := recordSteadily(t)
	mixed := func(changes ...string) (wave []float64, bytes []byte, r MixResult, kept float64) {
		t.Helper()
		p := openTiming(t, dir, changes...)
		defer p.Close()
		kept = placedFile(t, syncNow(t, p), "late", string(takes.Audio)).KeptMS / 1000
		r, err := p.Mix(t.Context(), MixOptions{})
		if err != nil {
			t.Fatal(fault.Format(err))
		}
		bytes, err = os.ReadFile(r.WAV)
		if err != nil {
			t.Fatal(err)
		}
		wave, _ = readWAV(t, r.WAV)
		return wave, bytes, r, kept
	}
	asPlayed := []string{"{name: late,", "{name: late, timing: as-played,"}
	tight, tightBytes, _, _ := mixed()
	played, playedBytes, r, kept := mixed(asPlayed...)
	if r.Tasks.Run == 0 || bytes.Equal(tightBytes, playedBytes) {
		t.Fatalf("another timing made nothing new: %+v", r.Tasks)
	}
	// The film begins at guide time 7, so measure 2 is at 3 s of it.
	if by := onset(played, 3) - onset(tight, 3); math.Abs(by-kept) > 0.0005 || kept < 0.02 {
		t.Errorf("the first note of measure 2 comes %.4f s later, kept are %.4f", by, kept)
	}
	if at := onset(played, 3) - 3; math.Abs(at-lateBy) > 0.008 {
		t.Errorf("as played, a note that is %.0f ms late comes %.0f ms late", 1000*lateBy, 1000*at)
	}
	for _, again := range []struct {
		want    []byte
		changes []string
	}{{playedBytes, asPlayed}, {tightBytes, nil}} {
		if _, got, r, _ := mixed(again.changes...); r.Tasks.Run != 0 || !bytes.Equal(got, again.want) {
			t.Errorf("%q again: %d steps made, the same bytes: %v", again.changes, r.Tasks.Run,
				bytes.Equal(got, again.want))
		}
	}
}

// onset returns when a note near a moment begins: the first sample of a fifth of the
// note's peak.
func onset(wave []float64, near float64) float64 {
	from := int((near - 0.12) * audio.Rate)
	part := wave[from : from+int(0.3*audio.Rate)]
	peak := 0.0
	for _, v := range part[int(0.1*audio.Rate):] {
		peak = max(peak, math.Abs(v))
	}
	for i := int(0.08 * audio.Rate); i < len(part); i++ {
		if math.Abs(part[i]) > peak/5 {
			return float64(from+i) / audio.Rate
		}
	}
	return math.NaN()
}
