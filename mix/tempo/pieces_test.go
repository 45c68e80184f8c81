package tempo_test

import (
	"archive/zip"
	"bytes"
	"encoding/binary"
	"fmt"
	"io"
	"math"
	"os"
	"os/exec"
	"path"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"ripieno/mix/tempo"
	"ripieno/mix/tempo/musicxml"
	"ripieno/mix/tempo/smf"
)

// Pieces in the public domain that Debian's package pianobooster brings as MIDI files, for
// learning the piano: old songs, arranged by L. J. Barman, under a Creative Commons licence
// as the package's copyright file says. The figures are those of the files as another
// program of Debian, midicsv, prints them: 192 ticks a quarter note in all, the tick at which
// the last note ends, the meter, and the tempo in microseconds with the tick where it begins.
// Measures and seconds follow from them by hand.
var publicPieces = []struct {
	file     string
	last     int // tick at which the last note ends
	meter    string
	tempos   [][2]int // tick, microseconds a quarter note
	measures int      // last / (192 · quarters of the meter), rounded up
	seconds  float64  // of that many measures
}{
	{"01-ClairDeLaLune.mid", 13824, "4/4", [][2]int{{0, 666666}}, 18, 47.999952},
	{"02-LavendersBlue.mid", 9792, "3/4", [][2]int{{0, 666666}}, 17, 33.999966},
	{"03-SkipToMyLou.mid", 26419, "4/4", [][2]int{{0, 545454}}, 35, 76.363560},
	{"04-FrereJacques.mid", 13056, "4/4", [][2]int{{0, 666666}}, 17, 45.333288},
	{"05-ScarboroughFair.mid", 23230, "3/4", [][2]int{{0, 545454}}, 41, 67.090842},
	{"06-Greensleeves.mid", 39358, "3/4", [][2]int{{0, 521739}}, 69, 107.999973},
	{"07-AmazingGrace.mid", 23040, "3/4", [][2]int{{0, 689655}, {21888, 779220}}, 40, 83.295990},
}

// packageFile opens a file of a Debian package, as it is installed or as setup.sh --tests
// unpacked it for the tests. Without it the test is skipped: not every system has it.
func packageFile(t *testing.T, name string) string {
	t.Helper()
	places := []string{name}
	if cache, err := os.UserCacheDir(); err == nil {
		places = append(places, filepath.Join(cache, "ripieno-tests", "pieces", filepath.FromSlash(name)))
	}
	for _, p := range places {
		if _, err := os.Stat(p); err == nil {
			return p
		}
	}
	t.Skipf("%s is not there; on Debian sh cmd/setup.sh --tests fetches it", name)
	return ""
}

// readPieces returns the files of the collection by their names.
func readPieces(t *testing.T) map[string][]byte {
	t.Helper()
	z, err := zip.OpenReader(packageFile(t, "/usr/share/games/pianobooster/music/BoosterMusicBooks.zip"))
	if err != nil {
		t.Fatal(err)
	}
	defer z.Close()
	all := map[string][]byte{}
	for _, f := range z.File {
		if !strings.Contains(f.Name, "Booster Music/") || path.Ext(f.Name) != ".mid" {
			continue
		}
		r, err := f.Open()
		if err != nil {
			t.Fatal(err)
		}
		data, err := io.ReadAll(r)
		if err != nil {
			t.Fatal(err)
		}
		all[path.Base(f.Name)] = data
	}
	return all
}

// readMIDI reads a file as a piece with no count-in.
func readMIDI(t *testing.T, data []byte) *tempo.Map {
	t.Helper()
	s, err := smf.Read(bytes.NewReader(data))
	if err != nil {
		t.Fatal(err)
	}
	m, err := tempo.New(s.Spec)
	if err != nil {
		t.Fatal(err)
	}
	return m
}

// downbeats returns when the measures of a map begin, and the end of the last, in seconds
// from the first.
func downbeats(t *testing.T, m *tempo.Map) []float64 {
	t.Helper()
	first, err := m.Seconds(tempo.Position{Measure: 1, Beat: 1})
	if err != nil {
		t.Fatal(err)
	}
	var all []float64
	for n := 1; n <= m.Measures()+1; n++ {
		at, err := m.Seconds(tempo.Position{Measure: n, Beat: 1})
		if err != nil {
			t.Fatal(err)
		}
		all = append(all, at-first)
	}
	return all
}

// Public-domain pieces from a Debian package have the measures and, to the millisecond, the
// length and every downbeat that the ticks and tempos of their files give by hand; written
// as MusicXML and read again they are the same.
func TestPublicDomainPieces(t *testing.T) {
	files := readPieces(t)
	for _, p := range publicPieces {
		data := files[p.file]
		if data == nil {
			t.Errorf("the package has no %s", p.file)
			continue
		}
		m := readMIDI(t, data)
		if m.Measures() != p.measures || m.Meter(1).String() != p.meter {
			t.Errorf("%s: %d measures of %s, want %d of %s", p.file, m.Measures(), m.Meter(1), p.measures, p.meter)
			continue
		}
		got := downbeats(t, m)
		if d := got[len(got)-1]; math.Abs(d-p.seconds) > 1e-3 {
			t.Errorf("%s lasts %.4f s, want %.4f", p.file, d, p.seconds)
		}
		quarters := int(m.Meter(1).Quarters())
		for n, at := range got {
			if want := secondsAt(p.tempos, 192*quarters*n, 192); math.Abs(at-want) > 1e-3 {
				t.Errorf("%s: measure %d begins at %.4f s, want %.4f", p.file, n+1, at, want)
			}
		}
		var xml bytes.Buffer
		if err := musicxml.Write(&xml, m, musicxml.WriteOptions{Title: p.file}); err != nil {
			t.Errorf("%s: %v", p.file, err)
			continue
		}
		compareMusicXML(t, p.file+" by us", &xml, got)
	}
}

// A notation program of Debian reads a piece from its MIDI file and writes it as MusicXML,
// in which its measures are where they are in the MIDI file. Where the program is not
// installed, which is large, the test is skipped.
func TestPieceByANotationProgram(t *testing.T) {
	program, err := exec.LookPath("musescore3")
	if err != nil {
		t.Skip("musescore3 is not installed")
	}
	p := publicPieces[0]
	data := readPieces(t)[p.file]
	midi, xml := filepath.Join(t.TempDir(), p.file), filepath.Join(t.TempDir(), "piece.musicxml")
	if err := os.WriteFile(midi, data, 0o666); err != nil {
		t.Fatal(err)
	}
	run := exec.CommandContext(t.Context(), program, "-o", xml, midi)
	run.Env = append(os.Environ(), "QT_QPA_PLATFORM=offscreen", "HOME="+t.TempDir())
	if out, err := run.CombinedOutput(); err != nil {
		t.Skipf("%s: %v: %s", program, err, out)
	}
	f, err := os.Open(xml)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	compareMusicXML(t, p.file+" by "+program, f, downbeats(t, readMIDI(t, data)))
}

// compareMusicXML reads a score and compares its downbeats with those of the same piece.
func compareMusicXML(t *testing.T, name string, r io.Reader, want []float64) {
	t.Helper()
	s, err := musicxml.Read(r)
	if err != nil {
		t.Errorf("%s: %v", name, err)
		return
	}
	m, err := tempo.New(s.Spec)
	if err != nil {
		t.Errorf("%s: %v", name, err)
		return
	}
	got := downbeats(t, m)
	if len(got) != len(want) {
		t.Errorf("%s: %d measures, want %d", name, len(got)-1, len(want)-1)
		return
	}
	for n, at := range got {
		if math.Abs(at-want[n]) > 1e-3 {
			t.Errorf("%s: measure %d begins at %.4f s, as MIDI at %.4f", name, n+1, at, want[n])
		}
	}
}

// secondsAt returns when a tick of a file is, by its tempos in order (Standard MIDI Files
// 1.0: microseconds a quarter note, from their tick on).
func secondsAt(tempos [][2]int, tick, division int) float64 {
	seconds := 0.0
	for i, c := range tempos {
		to := tick
		if i+1 < len(tempos) {
			to = min(to, tempos[i+1][0])
		}
		if to > c[0] {
			seconds += float64(to-c[0]) / float64(division) * float64(c[1]) * 1e-6
		}
	}
	return seconds
}

// A player of MIDI files plays the downbeats of the pieces when the map says. It is
// fluidsynth, which knows nothing of us. It begins notes on blocks of 64 samples, 1.33 ms,
// and counts whole milliseconds anew where the tempo changes.
func TestPiecesByAPlayersClock(t *testing.T) {
	files := readPieces(t)
	for _, p := range publicPieces {
		if p.file[:2] != "02" && p.file[:2] != "07" { // the shortest, and the one with two tempos
			continue
		}
		m := readMIDI(t, files[p.file])
		want := downbeats(t, m)
		step := 192 * int(m.Meter(1).Quarters())
		var ticks []int
		for n := range want {
			ticks = append(ticks, n*step)
		}
		got := playClicks(t, p.tempos, ticks, 192, want[len(want)-1]+1)
		if len(got) != len(want) {
			t.Errorf("%s: the player plays %d downbeats, want %d", p.file, len(got), len(want))
			continue
		}
		worst := 0.0
		for n := range want {
			off, allowed := got[n]-got[0]-want[n], 0.002
			if len(p.tempos) > 1 && n*step > p.tempos[1][0] {
				allowed += 0.001
			}
			if worst = max(worst, math.Abs(off)); math.Abs(off) > allowed {
				t.Errorf("%s: measure %d is played %.2f ms off", p.file, n+1, 1000*off)
			}
		}
		t.Logf("%s: %d downbeats, at most %.2f ms off", p.file, len(want), 1000*worst)
	}
}

// playClicks writes a file with the tempos of a piece and a side stick at ticks, lets
// fluidsynth play it, and returns when they sound, in seconds.
func playClicks(t *testing.T, tempos [][2]int, ticks []int, division int, seconds float64) []float64 {
	t.Helper()
	program, font := "", ""
	for _, f := range []string{"/usr/share/sounds/sf2/FluidR3_GM.sf2", "/usr/share/soundfonts/FluidR3_GM.sf2"} {
		if _, err := os.Stat(f); err == nil {
			font = f
		}
	}
	if program, _ = exec.LookPath("fluidsynth"); program == "" || font == "" {
		t.Skip("fluidsynth or its sound font is not there; sh cmd/setup.sh --tests installs both")
	}
	type event struct {
		tick int
		data []byte
	}
	var events []event
	for _, c := range tempos {
		events = append(events, event{c[0], []byte{0xff, 0x51, 3, byte(c[1] >> 16), byte(c[1] >> 8), byte(c[1])}})
	}
	for _, k := range ticks {
		events = append(events, event{k, []byte{0x99, 37, 100}}, event{k + division/8, []byte{0x89, 37, 0}})
	}
	slices.SortStableFunc(events, func(a, b event) int { return a.tick - b.tick })
	var track []byte
	at := 0
	for _, e := range append(events, event{ticks[len(ticks)-1] + division, []byte{0xff, 0x2f, 0}}) {
		delta := e.tick - at
		for shift := 21; shift > 0; shift -= 7 {
			if delta>>shift > 0 {
				track = append(track, byte(delta>>shift)|0x80)
			}
		}
		track, at = append(append(track, byte(delta&0x7f)), e.data...), e.tick
	}
	file := append([]byte("MThd\x00\x00\x00\x06\x00\x00\x00\x01"), byte(division>>8), byte(division))
	file = append(binary.BigEndian.AppendUint32(append(file, "MTrk"...), uint32(len(track))), track...)
	midi, raw := filepath.Join(t.TempDir(), "clicks.mid"), filepath.Join(t.TempDir(), "clicks.raw")
	if err := os.WriteFile(midi, file, 0o666); err != nil {
		t.Fatal(err)
	}
	out, err := exec.CommandContext(t.Context(), program, "-ni", "-g", "1", "-R", "0", "-C", "0", "-r", "48000", "-o",
		"synth.dynamic-sample-loading=1", "-T", "raw", "-O", "s16", "-F", raw, font, midi).CombinedOutput()
	if err != nil {
		t.Fatalf("%v: %s", err, out)
	}
	return onsets(t, raw, seconds)
}

// onsets returns when sounds begin in a file of 16-bit stereo at 48 kHz, in seconds: samples
// over a tenth of the loudest that none over it comes before within a fifth of a second.
func onsets(t *testing.T, raw string, seconds float64) (all []float64) {
	t.Helper()
	data, err := os.ReadFile(raw)
	if err != nil {
		t.Fatal(err)
	}
	if float64(len(data))/4/48000 < seconds-1 {
		t.Fatal(fmt.Errorf("%d bytes are too few for %.1f s", len(data), seconds))
	}
	level := func(i int) float64 { return math.Abs(float64(int16(binary.LittleEndian.Uint16(data[4*i:])))) }
	peak := 0.0
	for i := range len(data) / 4 {
		peak = max(peak, level(i))
	}
	last := math.Inf(-1)
	for i := range len(data) / 4 {
		if level(i) < 0.1*peak {
			continue
		}
		if at := float64(i) / 48000; at-last > 0.2 {
			all, last = append(all, at), at
		} else {
			last = at
		}
	}
	return all
}
