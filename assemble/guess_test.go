package assemble

import (
	"os"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"
)

// TestReviewOfAGuess: somebody who sent a few seconds of even quarters is left out, and the page
// draws their sound where the likeliest place would put it, lists all places by their
// seconds in the file, and writes a note that does not say the take is used.
func TestReviewOfAGuess(t *testing.T) {
	t.Parallel()
	findTool(t)
	dir := t.TempDir()
	var notes []ping
	for at := 1.0; at < 5; at += 0.5 {
		notes = append(notes, ping{at, 440, 0.3})
	}
	writePings(t, filepath.Join(dir, "intake", "horn.wav"), 6, notes)
	was := timingManifest[strings.Index(timingManifest, "takes:"):strings.Index(timingManifest, "mix:")]
	p := openTiming(t, dir, was, "takes:\n  - {name: horn, player: Ilse Brandt, audio: {file: intake/horn.wav}}\n")
	defer p.Close()
	sync, err := p.Sync(t.Context(), SyncOptions{})
	if err != nil {
		t.Fatal(err)
	}
	horn := sync.Takes[0]
	if horn.Sure || len(horn.Candidates) < 2 {
		t.Fatalf("even quarters, and the place is sure: %+v", horn)
	}
	r, err := p.Review(t.Context(), ReviewOptions{NoPlaying: true})
	if err != nil || !r.Takes[0].Asks {
		t.Fatalf("%v, %+v", err, r.Takes)
	}
	data, err := os.ReadFile(r.File)
	if err != nil {
		t.Fatal(err)
	}
	page := string(data)
	for _, c := range horn.Candidates {
		seconds := strconv.FormatFloat(c.At, 'f', 2, 64) + " s ("
		if accept := "ripieno sync --accept horn=" + strconv.Itoa(c.Number); !strings.Contains(page, accept) ||
			!strings.Contains(page, seconds) {
			t.Errorf("the page does not say %q at %q", accept, seconds)
		}
	}
	if !strings.Contains(page, "It is not in the film yet") || strings.Contains(page, "we can use it") {
		t.Error("the note lets one think that the take is used")
	}
	m := regexp.MustCompile(`class="wave guess" d="M([0-9.]+) 28([^"]*)"`).FindStringSubmatch(page)
	if m == nil {
		t.Fatal("no guess is drawn")
	}
	// Guide time from the beginning of the guide to the end of the film, in steps
	// of 3 of 960 units.
	const step = (8 + 24 + 1.0) / 320
	at, high, found := number(t, m[1])/3*step, 0.0, false
	best := horn.Offset + horn.Candidates[0].At
	for _, s := range regexp.MustCompile(`([vh])(-?[0-9.]+)`).FindAllStringSubmatch(m[2], -1) {
		v := number(t, s[2])
		if s[1] == "v" {
			high -= v
			continue
		}
		if high > 15 && best >= at-step && best <= at+v/3*step+step {
			found = true
		}
		at += v / 3 * step
	}
	if !found {
		t.Errorf("nothing loud is drawn at %.2f s of guide time, where the likeliest place has the first note: %s",
			best, m[2])
	}
}

func number(t *testing.T, text string) float64 {
	t.Helper()
	v, err := strconv.ParseFloat(text, 64)
	if err != nil {
		t.Fatal(err)
	}
	return v
}
