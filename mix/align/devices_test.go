package align

import (
	"math"
	"os"
	"slices"
	"strconv"
	"testing"

	"ripieno/mix/align/simulate"
)

// apart is by how much a match of the two devices of a simulated player is off:
// at worst between the beginning and the end of what both hold, in seconds, and
// in drift, ppm.
func apart(e *simulate.Ensemble, m Match) (off, drift float64) {
	a, b := e.Takes[0].Truth, e.Takes[1].Truth
	ra, rb := 1+a.DriftPPM*1e-6, 1+b.DriftPPM*1e-6
	offset, ppm := (b.Offset-a.Offset)/ra, (rb/ra-1)*1e6
	from := math.Max(0, math.Max(a.Offset, 0)-b.Offset)
	for _, at := range []float64{from, (e.Map.End() - b.Offset) / rb} {
		off = math.Max(off, math.Abs(m.OffsetSeconds+at*(1+m.DriftPPM*1e-6)-offset-at*(1+ppm*1e-6)))
	}
	return off, m.DriftPPM - ppm
}

// Over five minutes the two devices of a player agree within half a millisecond
// and 2 ppm. More pairs, at full bandwidth, are compared only when asked:
//
//	RIPIENO_SYNC_DEVICES=4 go test -run TestDevicesForFiveMinutes -v -timeout 60m ./mix/align
//
// The number is how many pairs each level gets.
func TestDevicesForFiveMinutes(t *testing.T) {
	levels, each, rate := []simulate.Level{simulate.Typical}, 1, 8000
	if n, err := strconv.Atoi(os.Getenv("RIPIENO_SYNC_DEVICES")); err == nil {
		levels, each, rate = []simulate.Level{simulate.Easy, simulate.Typical, simulate.Hard}, n, 16000
	}
	var offs, drifts []float64
	for _, level := range levels {
		for k := range each {
			e := simulate.New(uint64(9100+k), simulate.Options{Level: level, Players: 1, Seconds: 300, Devices: 2,
				Rate: rate})
			m, err := MatchDevices(e.Takes[0].Source(), e.Takes[1].Source())
			if err != nil {
				t.Fatal(err)
			}
			off, drift := apart(e, m)
			if !m.Sure() {
				t.Errorf("%s %d: not sure: %+v", level, k, m)
				continue
			}
			t.Logf("%s, %s: %.3f ms and %+.2f ppm off, given as %.2f ppm; clocks %+.0f ppm apart, %d of %d "+
				"stretches agree",
				level, e.Takes[0].Instrument(), 1000*off, drift, m.DriftErrPPM, m.DriftPPM, m.Agree, m.Windows)
			if off > 0.005 || math.Abs(drift) > 2 {
				t.Errorf("%s %d: %.3f ms and %.2f ppm off", level, k, 1000*off, drift)
			}
			offs, drifts = append(offs, off), append(drifts, math.Abs(drift))
		}
	}
	if len(offs) == 0 {
		return
	}
	slices.Sort(offs)
	slices.Sort(drifts)
	n := len(offs)
	if mid := offs[n/2]; mid > 0.0005 {
		t.Errorf("half the pairs are more than %.3f ms off", 1000*mid)
	}
	t.Logf("%d pairs: median %.3f ms, worst %.3f ms; drift median %.2f ppm, worst %.2f ppm", n, 1000*offs[n/2],
		1000*offs[n-1], drifts[n/2], drifts[n-1])
}
