package playing

import (
	"math"
	"slices"
	"testing"

	"ripieno/mix/align"
	"ripieno/mix/align/simulate"
)

// simulated is an ensemble with its takes lying where they truly lie.
func simulated(t testing.TB, number uint64, level simulate.Level, players int, seconds float64) (*simulate.Ensemble, []Take) {
	t.Helper()
	e := simulate.New(number, simulate.Options{Level: level, Players: players, Seconds: seconds, Rate: 44100})
	var takes []Take
	for _, s := range e.Takes {
		f, err := align.Analyse(s.Source())
		if err != nil {
			t.Fatal(err)
		}
		takes = append(takes, Take{
			Name: s.Name, Features: f, Offset: s.Truth.MeanOffset(), DriftPPM: s.Truth.DriftPPM,
			From: math.Inf(-1), To: math.Inf(1),
		})
	}
	return e, takes
}

// truly is the spread of the notes as they were played, by the same statistic.
func truly(s *simulate.Take) float64 {
	var late []float64
	for _, n := range s.Notes() {
		late = append(late, n.Played-n.Written)
	}
	middle := median(slices.Clone(late))
	for i, v := range late {
		late[i] = math.Abs(v - middle)
	}
	return 1.4826 * median(late)
}

func TestSpreadAgainstTruth(t *testing.T) {
	var quick, soft, measures []float64
	for number := range uint64(6) {
		e, takes := simulated(t, 900+number, simulate.Level(number%3), 5, 60)
		for i, r := range Compare(e.Map, 440, takes) {
			s := e.Takes[i]
			want := truly(s)
			got := r.Timing.Spread
			t.Logf("%d %-8s %-16s notes %3d of %3d spread %5.1f ms, truly %5.1f  soft %v", number, s.Name, s.Instrument(), r.Timing.Notes, s.Truth.Notes, 1000*got, 1000*want, r.Timing.Soft)
			_ = measures
			if math.IsNaN(got) {
				continue
			}
			if r.Timing.Soft {
				soft = append(soft, math.Abs(got-want))
			} else {
				quick = append(quick, math.Abs(got-want))
			}
		}
	}
	slices.Sort(quick)
	slices.Sort(soft)
	t.Log(quick, soft)
}
