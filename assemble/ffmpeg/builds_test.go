package ffmpeg

import (
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
)

// configured says with which option of ffmpeg's configure a part comes. All others are
// in every build of every release from 4.3 on, which [TestConfigurationsTellTheParts]
// holds against the recorded answers.
var configured = map[string]string{
	"libx264": "libx264", "libx265": "libx265", "libsvtav1": "libsvtav1", "libmp3lame": "libmp3lame",
	"zscale": "libzimg", "boxblur": "gpl", "perspective": "gpl",
}

// lackingBy returns the parts that a build with these options of configure lacks, in
// order of names.
func lackingBy(options []string) (lacks []string) {
	for _, p := range Parts() {
		if option := configured[p.Name]; option != "" && !slices.Contains(options, option) {
			lacks = append(lacks, p.Name)
		}
	}
	slices.Sort(lacks)
	return lacks
}

// lackingOf returns the parts that a tool lacks, in order of names.
func lackingOf(tool *Tool) (lacks []string) {
	for _, p := range tool.Missing() {
		lacks = append(lacks, p.Name)
	}
	slices.Sort(lacks)
	return lacks
}

// A build's configuration, which -version prints, says the same about the parts as its
// lists of encoders and filters, in every release whose answers are recorded. So the
// configurations of builds that are not at hand say what those lack.
func TestConfigurationsTellTheParts(t *testing.T) {
	for _, release := range recordedReleases {
		data, err := os.ReadFile(filepath.Join("testdata", "answers", release, "version.txt"))
		if err != nil {
			t.Fatal(err)
		}
		var options []string
		for word := range strings.FieldsSeq(string(data)) {
			if option, ok := strings.CutPrefix(word, "--enable-"); ok {
				options = append(options, option)
			}
		}
		if len(options) < 10 {
			t.Fatalf("%s: only %d options are seen", release, len(options))
		}
		if got, want := lackingBy(options), lackingOf(answered(t, release)); !slices.Equal(got, want) {
			t.Errorf("%s: by its configuration it lacks %q, by its lists %q", release, got, want)
		}
	}
}

// Builds that people have and that were not at hand: what they lack follows from what
// they print of themselves, and those without a needed part are refused, with the
// command that brings one that has it.
func TestBuildsPeopleHave(t *testing.T) {
	data, err := os.ReadFile(filepath.Join("testdata", "builds.txt"))
	if err != nil {
		t.Fatal(err)
	}
	seen := map[int]bool{}
	for line := range strings.Lines(string(data)) {
		if strings.HasPrefix(line, "#") {
			continue
		}
		halves := strings.Split(strings.TrimSpace(line), "|")
		name, words := strings.TrimSpace(line[:20]), strings.Fields(halves[0][20:])
		want := strings.Fields(halves[1])
		slices.Sort(want)
		lacks := lackingBy(words[1:])
		if !slices.Equal(lacks, want) {
			t.Errorf("%s lacks %q, want %q", name, lacks, want)
		}
		tool := answered(t, "9.0", lacks...)
		tool.Version = ParseVersion(fmt.Sprintf("ffmpeg version %s Copyright (c) the FFmpeg developers", words[0]))
		seen[tool.Version.Major] = true
		if !tool.Version.AtLeast(minMajor, minMinor) {
			t.Errorf("%s, %+v, is said to be too old", name, tool.Version)
		}
		err := tool.RequireAll()
		if refused := len(halves) > 2; refused != (err != nil) {
			t.Errorf("%s: %v, want it refused: %v", name, err, refused)
		}
		if err != nil && !strings.Contains(err.Error(), "was built without libx264") {
			t.Errorf("%s: %v", name, err)
		}
	}
	if !seen[4] || !seen[6] || !seen[8] {
		t.Errorf("of the releases asked for only %v are among the builds", seen)
	}
}
