package align

import (
	"math"
	"os"
	"strconv"
	"testing"

	"ripieno/mix/align/simulate"
	"ripieno/mix/robust"
)

// heardNotes gathers, by instrument, how much later than a simulated player's notes
// are heard to begin their events lie, in seconds: by [Event.Time] and by
// [Event.Heard]. Farther than 0.12 s from every note, an event is none.
func heardNotes(tk *simulate.Take, rec *Recording, time, heard map[string][]float64) {
	x := newTake(rec)
	x.ppm = tk.Truth.DriftPPM
	for i, e := range x.f.Events {
		if x.weight[i] < 0.5 {
			continue
		}
		off := math.Inf(1)
		for _, n := range tk.Notes() {
			if d := x.guide(tk.Truth.Offset, i) - n.Played; math.Abs(d) < math.Abs(off) {
				off = d
			}
		}
		if math.Abs(off) < 0.12 {
			time[tk.Instrument()] = append(time[tk.Instrument()], off)
			heard[tk.Instrument()] = append(heard[tk.Instrument()], off+e.Heard-e.Time)
		}
	}
}

// TestHeardWhereTheEnvelopeSays holds the moment at which a note is taken to begin
// against where its simulated envelope passes 10 dB below its peak (Vos and Rasch,
// 1981, second hand: 6 to 15). Bowed and sung notes start up to 0.05 s before that.
//
//	RIPIENO_SYNC_LATENESS=6 go test -run TestHeard -v ./mix/align
//
// The number is how many ensembles of six players each level gets.
func TestHeardWhereTheEnvelopeSays(t *testing.T) {
	n, err := strconv.Atoi(os.Getenv("RIPIENO_SYNC_LATENESS"))
	if err != nil {
		n = 1
	}
	time, heard := map[string][]float64{}, map[string][]float64{}
	for k := range n {
		e := simulate.New(uint64(60+k), simulate.Options{Level: simulate.Easy, Players: 8, Seconds: 24, Rate: 16000})
		for i, r := range measured(t, e) {
			heardNotes(e.Takes[i], &r, time, heard)
		}
	}
	for name, off := range heard {
		by, was := 1000*robust.Median(off), 1000*robust.Median(time[name])
		t.Logf("%-16s %5d notes, heard %+6.1f ms, start %+6.1f ms after 10 dB below the peak", name, len(off), by, was)
		if len(off) >= 20 && math.Abs(by) > 15 {
			t.Errorf("%s: taken to begin %.1f ms late", name, by)
		}
	}
}
