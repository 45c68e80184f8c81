package assemble_test

import (
	"crypto/sha256"
	"fmt"
	"os"
	"path/filepath"
	"testing"

	_ "ripieno/assemble" // numbers what is stored
	"ripieno/assemble/soundtrack"
	kept "ripieno/assemble/soundtrack/kept"
	"ripieno/assemble/store"
	"ripieno/layout/light"
	"ripieno/mix"
	"ripieno/mix/audio"
)

// The numbers that stored types have are in the bytes of every stored value:
// one that moved, or a type that was renamed, would make values that differ from
// those that earlier programs stored under the same keys.
func TestStoredTypesKeepTheirNumbers(t *testing.T) {
	want := []string{
		"media.Info", "takes.formerFeatures", "align.Match", "mix.Analysis", "soundtrack.soundReport", "intake.Sound", "takes.formerPicture",
		"assemble.voiceInfo", "flash.Result", "light.RGB", "*playing.Tones", "media.Decoded", "takes.heardSound", "playing.Pace",
		"*align.Features", "align.Step", "mix.Heard", "*mask.Levels", "intake.Picture", "tone.Pair",
		"tone.Phones", "decay.Room", "[]media.Hole", "[]direct.Turn", "[]blend.Blend",
	}
	got := store.Numbered()
	if len(got) != len(want) {
		t.Fatalf("%d types are numbered, want %d", len(got), len(want))
	}
	for i, typ := range got {
		if typ.String() != want[i] {
			t.Errorf("number %d is %s, want %s", i+1, typ, want[i])
		}
	}
	// As the program stored it before its types were numbered beside their use.
	path := filepath.Join(t.TempDir(), "light.gob")
	if err := store.Save(path, light.RGB{R: 0.25, G: 0.5, B: 1}); err != nil {
		t.Fatal(err)
	}
	data, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	const earlier = "#\xff\xaf\x03\x01\x01\x03RGB\x01\xff\xb0\x00\x01\x03\x01\x01R\x01\b\x00\x01\x01G\x01\b\x00\x01\x01B\x01\b\x00\x00\x00\x0f\xff\xb0\x01\xfe\xd0?\x01\xfe\xe0?\x01\xfe\xf0?\x00"
	if string(data) != earlier {
		t.Errorf("stored as %q, want %q", data, earlier)
	}
}

// A report of a mix has the bytes that it had when all of this was one package.
func TestReportsKeepTheirBytes(t *testing.T) {
	path := filepath.Join(t.TempDir(), "report.gob")
	var r soundtrack.Report
	r.Gains, r.Strips = []audio.Decibels{-1.5}, []mix.Analysis{{Frames: 7}}
	r.Voices, r.Tries = []kept.VoiceInfo{{From: 48000}}, 2
	r.Curve.Step, r.Curve.Momentary = 4800, []float32{-20}
	if err := store.Save(path, r); err != nil {
		t.Fatal(err)
	}
	data, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	const earlier = "f5e82531494bb1bf7f442a76a8c1bd217096e584a922099707e8174bd876bfb1"
	if got := fmt.Sprintf("%x", sha256.Sum256(data)); got != earlier {
		t.Errorf("%d bytes with the hash %s, want %s", len(data), got, earlier)
	}
}

// unnumbered is a type that nobody stores.
type unnumbered struct{ X int }

// What is stored without a number is refused, and so is a number given twice.
func TestEveryStoredTypeHasANumber(t *testing.T) {
	path := filepath.Join(t.TempDir(), "x.gob")
	if err := store.Save(path, unnumbered{1}); err == nil {
		t.Error("a type without a number was stored")
	}
	if _, err := os.Stat(path); err == nil {
		t.Error("and is there")
	}
	defer func() {
		if recover() == nil {
			t.Error("a number was given twice")
		}
	}()
	store.Number(1, unnumbered{})
}
