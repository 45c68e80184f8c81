package manifest

import (
	"bytes"
	"fmt"
	"math/rand/v2"
	"os"
	"slices"
	"strings"
	"testing"

	"ripieno/assemble/fault"
	"ripieno/assemble/production"
)

// TestGuessName reads names as phones, recorders and players write them. All
// people are invented.
func TestGuessName(t *testing.T) {
	dull := map[string]bool{"lamplighters": true, "round": true}
	for _, c := range []struct{ name, player, part string }{
		{"mara-voss_oboe1", "Mara Voss", "Oboe 1"},
		{"MaraVoss_Oboe 1", "Mara Voss", "Oboe 1"},
		{"ilse brandt horn 2", "Ilse Brandt", "Horn 2"},
		{"Horn2 - Ilse Brandt", "Ilse Brandt", "Horn 2"},
		{"violin II anna", "Anna", "Violin 2"},
		{"2nd violin Tomas Reyl", "Tomas Reyl", "Violin 2"},
		{"mara 1st clarinet", "Mara", "Clarinet 1"},
		{"violino secondo (Ada)", "Ada", "Violin 2"},
		{"vln1_pia", "Pia", "Violin 1"},
		{"fl 2 lea", "Lea", "Flute 2"},
		{"Klarinette 1 Jörg Weiß", "Jörg Weiß", "Clarinet 1"},
		{"Jo\u0308rg_Weiß_Flo\u0308te_I", "Jo\u0308rg Weiß", "Flute 1"}, // as macOS stores names
		{"flûte-émilie-roux", "Émilie Roux", "Flute"},
		{"Querflöte Ada", "Ada", "Flute"},
		{"Querfloete Ada", "Ada", "Flute"},
		{"corno inglese ida", "Ida", "English Horn"},
		{"cor anglais Ida", "Ida", "English Horn"},
		{"Bass Clarinet - Lu", "Lu", "Bass Clarinet"},
		{"tenor sax (Ben) final v2", "Ben", "Tenor Saxophone"},
		{"KONTRABASS OTTO", "Otto", "Double Bass"},
		{"jan de vries violoncello", "Jan de Vries", "Cello"},
		{"Sofia McDonald - Trumpet 3", "Sofia McDonald", "Trumpet 3"},
		{"o'neill_tuba", "O'neill", "Tuba"},
		{"Viola Marsh - flute", "Viola Marsh", "Flute"}, // the last instrument is the part
		{"Anna Horn cello", "Anna Horn", "Cello"},
		{"Oboe1_Mara_take3", "Mara", "Oboe 1"}, // the number beside the part counts
		{"take 2 oboe mara", "Mara", "Oboe"},
		{"12 March mara", "Mara", ""},
		{"April_trombone", "April", "Trombone"},
		{"2025-04-11 April trombone", "", "Trombone"}, // beside a number it is a date
		{"Lamplighters Round - percussion - Kai", "Kai", "Percussion"},
		{"Zoë Trombone 1080p", "Zoë", "Trombone"},
		{"Nora_Alto_mic", "Nora", "Alto"},
		{"Li", "Li", ""},
		{"IMG_1234", "", ""},
		{"VID_20250314_183022", "", ""},
		{"PXL_20250314_123456789", "", ""},
		{"WhatsApp Video 2025-03-14 at 18.30.22", "", ""},
		{"GOPR0042", "", ""},
		{"here is my recording for the spring concert sorry late", "", ""}, // a sentence
		{"", "", ""},
		{"---", "", ""},
	} {
		g := guessName(c.name, dull)
		if g.player != c.player || g.part() != c.part {
			t.Errorf("%q: %q, %q; want %q, %q", c.name, g.player, g.part(), c.player, c.part)
		}
	}
}

// TestEveryInstrument checks the table itself: each of its names is found, and as
// what it stands for.
func TestEveryInstrument(t *testing.T) {
	for i, in := range instruments {
		for _, w := range append(slices.Clone(in.words), in.short...) {
			g := guessName("Ada Lind "+w+" 2", nil)
			if g.kind != i || g.number != 2 || g.player != "Ada Lind" {
				t.Errorf("%q is %q for %q", w, g.part(), g.player)
			}
			if w != plainWord(w) {
				t.Errorf("%q has letters that are never looked for", w)
			}
		}
	}
}

// someFiles returns an intake folder with all sorts of names.
func someFiles() []ScaffoldFile {
	return []ScaffoldFile{
		{"intake/mara-voss_oboe1.mov", true, true}, {"intake/mara-voss_oboe1.wav", false, true},
		{"intake/Ilse Brandt - Horn 2.mp4", true, true}, {"intake/ilse_mic.wav", false, true},
		{"intake/IMG_1234.MOV", true, true}, {"intake/img_1234.wav", false, true},
		{"intake/violin1_pia.mov", true, true}, {"intake/violin1_tomas.mov", true, false},
		{"intake/violin 1.wav", false, true},
		{"Otto Bass/video.mp4", true, true}, {"Otto Bass/audio.wav", false, true},
		{"intake/Kai - flute.mov", true, true}, {"intake/Kai flute (2).mov", true, true},
		{"intake/Viola Marsh cello.m4a", false, true},
		{"notes.bin", false, false}, {"../other.mov", true, true}, {"intake/a\nb.mov", true, true},
	}
}

// TestScaffoldDraft compares a whole draft and its doubts to the letter.
func TestScaffoldDraft(t *testing.T) {
	const path = "testdata/draft.yaml"
	yaml, doubts := Scaffold{Files: someFiles(), Title: "The Lamplighter's Round"}.Write()
	got := string(yaml) + "\n# what was doubtful\n"
	for _, d := range doubts {
		got += "# " + d + "\n"
	}
	if *update {
		if err := os.WriteFile(path, []byte(got), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	if want := string(readFile(t, path)); got != want {
		t.Errorf("got\n%s\nwant\n%s", got, want)
	}
}

// TestScaffoldBasses: a bass is a voice in a choir and has strings elsewhere.
func TestScaffoldBasses(t *testing.T) {
	bass, tenor, flute := ScaffoldFile{"Otto Bass.mov", true, true}, ScaffoldFile{"Ben Tenor.mov", true, true},
		ScaffoldFile{"Kai Flute.mov", true, true}
	for _, c := range []struct {
		with ScaffoldFile
		want string
	}{{tenor, "Bass"}, {flute, "Double Bass"}} {
		yaml, _ := Scaffold{Files: []ScaffoldFile{bass, c.with}, Title: "T"}.Write()
		p := parse(t, string(yaml))
		i := slices.IndexFunc(p.Takes, func(x production.Take) bool { return x.Player == "Otto" })
		if p.Takes[i].Part != c.want {
			t.Errorf("%+v", p.Takes)
		}
	}
}

// TestScaffoldCommonWord: a word in all names is the piece, not a person.
func TestScaffoldCommonWord(t *testing.T) {
	yaml, _ := Scaffold{Files: []ScaffoldFile{{"Nocturne Ada flute.mov", true, true},
		{"Nocturne oboe Ben.mov", true, true}, {"Kai Nocturne.mov", true, true}}, Title: "T"}.Write()
	var players []string
	for _, x := range parse(t, string(yaml)).Takes {
		players = append(players, x.Player)
	}
	if got := strings.Join(players, " "); got != "Ada Ben Kai" {
		t.Errorf("%q", got)
	}
	yaml, _ = Scaffold{Files: []ScaffoldFile{{"Ada flute.mov", true, true}, {"Ada oboe.mov", true, true},
		{"Ada horn.mov", true, true}}, Title: "T"}.Write()
	if p := parse(t, string(yaml)); p.Takes[0].Player != "Ada" || p.Takes[2].Part != "Horn" {
		t.Errorf("%+v", p.Takes)
	}
}

func TestScaffoldNothing(t *testing.T) {
	yaml, doubts := Scaffold{Title: "\x00 \n"}.Write()
	p := parse(t, string(yaml))
	if p.Title != "Untitled" || len(p.Takes) != 0 || p.NeedTakes() == nil || len(doubts) != 1 ||
		!strings.HasPrefix(doubts[0], "tempo: ") {
		t.Errorf("%+v %q", p, doubts)
	}
}

// TestScaffoldLoads: whatever files are called, the draft loads, holds every
// recording it does not complain about once, and does not depend on order.
func TestScaffoldLoads(t *testing.T) {
	rng := rand.New(rand.NewPCG(5, 6))
	bits := []string{"mara", "Voss", "oboe", "1", "II", "violin", "bass", "-", "_", " ", "/", "(2)", "é", "日本", "𝄞",
		"'", "\"", "\\", ":", ": ", " #", "{", "}", ",", "%", "&", "*", "!", "|",
		"null", "true", "~", "y", "IMG_12", "2025-01-02", "..", "\n", "\t", "\xff", "\u2028", "\ufeff", "@", "`", "://",
		"C:\\", "m4"}
	for range 200 {
		var files []ScaffoldFile
		for range rng.IntN(12) {
			name := ""
			for range 1 + rng.IntN(6) {
				name += bits[rng.IntN(len(bits))]
			}
			files = append(files, ScaffoldFile{name + []string{".mov", ".wav", ""}[rng.IntN(3)], rng.IntN(3) > 0,
				rng.IntN(4) > 0})
		}
		title := bits[rng.IntN(len(bits))] + bits[rng.IntN(len(bits))]
		yaml, doubts := Scaffold{Files: files, Title: title}.Write()
		p, err := Parse("production.yaml", yaml)
		if err != nil {
			t.Fatalf("%+v\n%s\n%s", files, fault.Format(err), yaml)
		}
		seen := map[string]int{}
		for _, x := range p.Takes {
			for _, f := range []*production.File{x.Video, x.Audio} {
				if f != nil {
					seen[f.Path]++
				}
			}
		}
		complaints := strings.Join(doubts, "\n")
		for _, f := range files {
			if seen[f.Path] != 1 && !strings.Contains(complaints, "it is left out") {
				t.Fatalf("%q is in %d takes\n%s", f.Path, seen[f.Path], yaml)
			}
		}
		rng.Shuffle(len(files), func(i, j int) { files[i], files[j] = files[j], files[i] })
		again, doubtsAgain := Scaffold{Files: files, Title: title}.Write()
		// Two entries of one path that say different things of it are one
		// file looked at twice, which no walk through a folder gives.
		if distinct(files) && (!bytes.Equal(again, yaml) || fmt.Sprint(doubtsAgain) != fmt.Sprint(doubts)) {
			t.Fatalf("another order\n%s\n%s", yaml, again)
		}
	}
}

func distinct(files []ScaffoldFile) bool {
	seen := map[string]bool{}
	for _, f := range files {
		if seen[f.Path] {
			return false
		}
		seen[f.Path] = true
	}
	return true
}
