//go:build dev

package align

import (
	"encoding/gob"
	"fmt"
	"math"
	"os"
	"slices"
	"strconv"
	"testing"
	"time"

	"ripieno/mix/align/simulate"
)

func envInt(k string, d int) int {
	if v, err := strconv.Atoi(os.Getenv(k)); err == nil {
		return v
	}
	return d
}

func cached(key string, t *simulate.Take) *Features {
	dir := os.Getenv("ALIGN_CACHE")
	path := dir + "/" + key
	if dir != "" {
		if f, err := os.Open(path); err == nil {
			defer f.Close()
			var x Features
			if gob.NewDecoder(f).Decode(&x) == nil {
				return &x
			}
		}
	}
	x, err := Analyse(t.Source())
	if err != nil {
		panic(err)
	}
	if dir != "" {
		f, _ := os.Create(path)
		gob.NewEncoder(f).Encode(x)
		f.Close()
	}
	return x
}

func TestDevEvents(t *testing.T) {
	var errs []float64
	for n := range envInt("N", 6) {
		e := simulate.New(uint64(n), simulate.Options{Level: simulate.Level(n % 3), Players: 2, Seconds: 40})
		for _, tk := range e.Takes {
			t0 := time.Now()
			src := tk.Source()
			t1 := time.Now()
			f, err := Analyse(src)
			if err != nil {
				t.Fatal(err)
			}
			d := math.Inf(1)
			var ev Event
			for _, x := range f.Events {
				if math.Abs(x.Time-tk.Truth.Cue) < math.Abs(d) {
					d = x.Time - tk.Truth.Cue
					ev = x
				}
			}
			tt := newTake(&Recording{Features: f})
			rank := 0
			for i := range f.Events {
				if f.Events[i] == ev {
					rank = tt.rank[i]
				}
			}
			fmt.Printf("%d %s %s %s cue %s d=%.2fms rank %d/%d notes %d dur %.0f render %v analyse %v\n   %+v\n", n, e.Title, tk.Name, simulate.Level(n%3), tk.Truth.Cued, d*1000, rank, len(f.Events), tk.Truth.Notes, f.Duration, t1.Sub(t0).Round(time.Millisecond), time.Since(t1).Round(time.Millisecond), ev)
			if !math.IsInf(d, 0) {
				errs = append(errs, d)
			}
		}
	}
	fmt.Println("median", median(errs))
}

func TestDevMatch(t *testing.T) {
	for n := range envInt("N", 6) {
		e := simulate.New(uint64(n), simulate.Options{Level: simulate.Level(n % 3), Players: 1, Seconds: float64(envInt("SEC", 60)), Devices: 2})
		a, b := e.Takes[0], e.Takes[1]
		t0 := time.Now()
		m, err := MatchDevices(a.Source(), b.Source())
		if err != nil {
			t.Fatal(err)
		}
		ra, rb := 1+a.Truth.DriftPPM*1e-6, 1+b.Truth.DriftPPM*1e-6
		off := (b.Truth.Offset - a.Truth.Offset) / ra
		ppm := (rb/ra - 1) * 1e6
		end := b.Truth.Offset
		_ = end
		T := 40.0
		em := m.OffsetSeconds + T*(1+m.DriftPPM*1e-6) - off - T*(1+ppm*1e-6)
		fmt.Printf("%d off err %.3f ms mid err %.3f ms drift err %.2f (true %.1f) %+v %v\n", n, 1000*(m.OffsetSeconds-off), em*1000, m.DriftPPM-ppm, ppm, m, time.Since(t0).Round(time.Millisecond))
	}
}

func TestDevPlace(t *testing.T) {
	level := simulate.Level(envInt("LEVEL", 1))
	verbose := os.Getenv("V") != ""
	var errs, clap []float64
	sure, wrong, wrongSure, refused := 0, 0, 0, 0
	var total time.Duration
	from := envInt("FROM", 0)
	for n := from; n < from+envInt("N", 5); n++ {
		players := envInt("PLAYERS", 6)
		sec := envInt("SEC", 60)
		e := simulate.New(uint64(n), simulate.Options{Level: level, Players: players, Seconds: float64(sec)})
		var recs []Recording
		for i, tk := range e.Takes {
			recs = append(recs, Recording{Name: tk.Name, Take: tk.Player, Features: cached(fmt.Sprintf("f%d-%d-%d-%d-%d", level, n, players, sec, i), tk)})
		}
		t0 := time.Now()
		ps := Place(e.Map, recs, nil)
		total += time.Since(t0)
		for i, p := range ps {
			tr := e.Takes[i].Truth
			d := p.Offset - tr.MeanOffset()
			// at the middle of the playing
			T := (e.Map.End()+e.Map.Start())/2 - tr.Offset
			d += T * (p.DriftPPM - tr.DriftPPM) * 1e-6
			bad := math.Abs(d) > 0.03
			if p.Sure {
				sure++
				errs = append(errs, math.Abs(d))
				if !math.IsNaN(p.CueOffset) {
					clap = append(clap, math.Abs(p.CueOffset-tr.MeanOffset()+T*(p.DriftPPM-tr.DriftPPM)*1e-6))
				}
			} else {
				refused++
			}
			if bad {
				wrong++
			}
			mark := ""
			if bad && p.Sure {
				wrongSure++
				mark = " <<<<<< WRONG AND SURE"
			} else if bad {
				mark = " wrong"
			} else if !p.Sure {
				mark = " unsure"
			}
			if verbose || mark != "" {
				fmt.Printf("%d/%s %s [%s %s att %.3f notes %d late %.0f off %.2f ppm %.0f] -> err %.1f ms ppm err %.1f conf %.4f %s unc %.1f%s\n", n, p.Name, e.Title, tr.Cued, e.Takes[i].Inst(), tr.Attack, tr.Notes, tr.Lateness*1000, tr.Offset, tr.DriftPPM, d*1000, p.DriftPPM-tr.DriftPPM, p.Confidence, p.Method, 1000*p.Uncertainty, mark)
			}
		}
	}
	slices.Sort(errs)
	slices.Sort(clap)
	q := func(v []float64, q float64) float64 { return 1000 * v[int(q*float64(len(v)-1))] }
	fmt.Printf("%s: sure %d refused %d wrong %d wrongsure %d; median %.1f p95 %.1f max %.1f ; clap alone median %.1f p95 %.1f; place time %v\n", level, sure, refused, wrong, wrongSure, q(errs, .5), q(errs, .95), q(errs, 1), q(clap, .5), q(clap, .95), total)
}
