package takes

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"ripieno/layout/card"
)

// A drawing is kept by the words it was always kept by.
func TestDescribeSync(t *testing.T) {
	o := card.SyncOptions{
		Title: "Test Round · where the takes lie", Summary: "lines: beats", Width: 1920,
		Windows: []card.SyncWindow{{Title: "the clap", From: 2.5, To: 6.5,
			Lines: []card.SyncLine{{At: 4, Text: "cue", Bold: true}, {At: 4.5}}}},
		Rows: []card.SyncRow{{Name: "oboe", Player: "Ada", Says: "sure 0.99", State: card.SyncGiven,
			Traces: []card.SyncTrace{
				{Hill: []uint8{0, 255}, Onsets: []card.SyncOnset{{At: 4.001, Strength: 1e-7}}, Cue: math.NaN()},
			}}},
	}
	const want = "{Title:Test Round · where the takes lie Summary:lines: beats " +
		"Windows:[{Title:the clap From:2.5 To:6.5 Lines:[{At:4 Text:cue Bold:true} {At:4.5 Text: Bold:false}]}] " +
		"Rows:[{Name:oboe Player:Ada Says:sure 0.99 More: State:2 Note: Traces:[{Hill:[0 255] Other:[] " +
		"Onsets:[{At:4.001 Strength:1e-07}] Cue:NaN}]}] " +
		"Width:1920 Fonts:<nil>}"
	if got := describeSync(o); got != want {
		t.Errorf("%s\nwant\n%s", got, want)
	}
}

// Places to choose from are part of the key where there are any.
func TestDescribeRivals(t *testing.T) {
	row := card.SyncRow{Name: "horn-2", Rivals: []string{"1: clap at 12.34 s (88 %)", "2: 9.94 s (11 %)"},
		Traces: []card.SyncTrace{{Rivals: []float64{4, 1.6}}}}
	const want = "{Name:horn-2 Player: Says: More: State:0 Note: Traces:[{Hill:[] Other:[] Onsets:[] Cue:0 " +
		"Rivals:4 1.6}]" +
		" Rivals:1: clap at 12.34 s (88 %) | 2: 9.94 s (11 %)}"
	if got := describeRow(row); got != want {
		t.Errorf("%s, want %s", got, want)
	}
}

// Numbers are written as fmt writes them, of whatever size.
func TestDescribedNumbers(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 2))
	for range 2000 {
		x := (r.Float64() - 0.5) * math.Pow(10, float64(r.IntN(40)-20))
		if got, want := describeTrace(card.SyncTrace{Cue: x}), fmt.Sprintf("{Hill:[] Other:[] Onsets:[] Cue:%v}",
			x); got != want {
			t.Fatalf("%s, want %s", got, want)
		}
	}
}
