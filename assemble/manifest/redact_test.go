package manifest

import (
	"os"
	"strings"
	"testing"
)

// A redacted manifest shows its keys and numbers, and of texts only which are the
// same.
func TestRedact(t *testing.T) {
	const text = `# for Mara, call 555 0199
version: 1
title: The Quiet Round
callsheet: {contact: 5550199, due: 2031-06-12, send_to: takes@example.org}
takes:
  - name: oboe-1 # Mara
    player: Mara Voss
    video: {file: intake/mara voss.MOV, offset: 1.25, cue_at: 11.48}
    Mara: {Voss: 12}
    fit: crop
  - {name: horn, behind: oboe-1, trim: {from: m1, to: "00:41.5"}}
deliver: [{name: final, canvas: 1920x1080}]
`
	got := Redact([]byte(text))
	const want = `version: 1
title: text-1
callsheet: {contact: text-2, due: text-3, send_to: text-4}
takes:
    - name: text-5
      player: text-6
      video: {file: text-7.mov, offset: 1.25, cue_at: 11.48}
      text-8: {text-9: text-10}
      fit: crop
    - {name: text-11, behind: text-5, trim: {from: m1, to: "00:41.5"}}
deliver: [{name: text-12, canvas: 1920x1080}]
`
	if got != want {
		t.Errorf("got\n%s\nwant\n%s", got, want)
	}
}

// Of the manifest with every key no word of its own is left.
func TestRedactEveryKey(t *testing.T) {
	data, err := os.ReadFile("../../examples/every-key/production.yaml")
	if err != nil {
		t.Fatal(err)
	}
	got := Redact(data)
	if !strings.Contains(got, "takes:") || !strings.Contains(got, "loudness:") {
		t.Fatalf("the keys are gone:\n%s", got)
	}
	p, err := Parse("production.yaml", data)
	if err != nil {
		t.Fatal(err)
	}
	private := []string{p.Title}
	for _, t := range p.Takes {
		private = append(private, t.Name, t.Player, t.Part)
	}
	for _, word := range private {
		if len(word) > 3 && strings.Contains(got, word) {
			t.Errorf("%q is still there", word)
		}
	}
}

// What is no YAML is not shown at all.
func TestRedactShowsNothingElse(t *testing.T) {
	for _, text := range []string{"", "player: [Mara", "\tMara Voss"} {
		if got := Redact([]byte(text)); strings.Contains(got, "Mara") {
			t.Errorf("%q gives %q", text, got)
		}
	}
}
