package smf

import (
	"cmp"
	"errors"
	"fmt"
	"slices"
	"sort"
	"strconv"

	"ripieno/mix/tempo"
	"ripieno/mix/tempo/score"
)

// bar is a measure in ticks.
type bar struct {
	tick, length int64
	meter        tempo.Meter
	short        bool // a meter change cuts it
}

// score lays measures over the ticks and sorts the events into them.
func (f *file) score() (*score.Score, error) {
	// Events come track by track; a stable order keeps the last of those at
	// one tick last.
	slices.SortStableFunc(f.meters, func(a, b meterEvent) int { return cmp.Compare(a.tick, b.tick) })
	slices.SortStableFunc(f.tempos, func(a, b tempoEvent) int { return cmp.Compare(a.tick, b.tick) })
	bars, err := f.bars()
	if err != nil {
		return nil, err
	}
	w := score.Written{Measures: make([]score.Measure, len(bars))}
	if len(bars) > 1 && bars[0].length < f.ticks(bars[1].meter) && (bars[0].short || bars[0].meter != bars[1].meter) {
		// A first measure that is shorter than all that follow can only be
		// told from a pick-up by ear.
		w.PickUp = true
		bars[0].meter = bars[1].meter
		w.Remarks = append(w.Remarks, "the first measure is shorter than the second: it is taken for a pick-up")
	}
	if len(f.meters) == 0 || f.meters[0].tick > 0 {
		w.Remarks = append(w.Remarks, "measure 1: the score has no time signature there: 4/4 is taken")
	}
	for i, b := range bars {
		m := &w.Measures[i]
		number := i + 1
		if w.PickUp {
			number--
		}
		m.Number, m.Meter = strconv.Itoa(number), b.meter
		if b.length != f.ticks(b.meter) {
			m.Length, m.Free = f.quarters(b.length), true
			if !w.PickUp || i > 0 {
				w.Remarks = append(w.Remarks, fmt.Sprintf("measure %d: it is cut short by the next time signature",
					number))
			}
		}
	}
	f.placeMarks(bars, &w)
	f.placeTempos(bars, &w)
	f.placeNotes(bars, &w)
	order := make([]int, len(bars))
	for i := range order {
		order[i] = i
	}
	return score.Assemble(w, order)
}

// quarters returns a number of ticks in quarter notes.
func (f *file) quarters(ticks int64) float64 { return float64(ticks) / float64(f.division) }

// ticks returns the length of a measure in ticks, 0 when the division is too
// coarse for it.
func (f *file) ticks(m tempo.Meter) int64 {
	upper, lower := m.Fraction()
	whole := f.division * 4 * int64(upper)
	if whole%int64(lower) != 0 {
		return 0
	}
	return whole / int64(lower)
}

// bars lays measures from tick 0 to the end of the last note, or of the last
// event when there are no notes.
func (f *file) bars() ([]bar, error) {
	end := f.last
	if f.lastNote > 0 {
		// A last note that is released a little late does not open a new
		// measure: a 32nd note is allowed for.
		end = max(f.lastNote-f.division/8, 1)
	}
	if end == 0 {
		return nil, errors.New("it has no notes and no length")
	}
	meter, err := tempo.MeterOf([]int{4}, 4) // the default (from memory)
	if err != nil {
		return nil, err
	}
	var bars []bar
	signatures := f.meters
	for at := int64(0); at < end; {
		for len(signatures) > 0 && signatures[0].tick <= at {
			meter = signatures[0].meter
			signatures = signatures[1:]
		}
		b := bar{tick: at, length: f.ticks(meter), meter: meter}
		if b.length == 0 {
			return nil, fmt.Errorf("measure %d: %d ticks per quarter note are too few for %s", len(bars)+1, f.division,
				meter)
		}
		if len(signatures) > 0 && signatures[0].tick < at+b.length && signatures[0].tick < end {
			b.length, b.short = signatures[0].tick-at, true
		}
		if bars = append(bars, b); len(bars) > tempo.MaxMeasures {
			return nil, fmt.Errorf("more than %d measures", tempo.MaxMeasures)
		}
		at += b.length
	}
	return bars, nil
}

// find returns the measure that holds a tick; ticks past the end are in the last.
func find(bars []bar, tick int64) int {
	return sort.Search(len(bars), func(i int) bool { return bars[i].tick > tick }) - 1
}

// placeTempos gives each tempo event to its measure, as quarters a minute: the
// unit of the file, whatever the meter.
func (f *file) placeTempos(bars []bar, w *score.Written) {
	last := bars[len(bars)-1]
	for i, e := range f.tempos {
		if e.tick >= last.tick+last.length || i+1 < len(f.tempos) && f.tempos[i+1].tick == e.tick {
			continue // after the end, or replaced at once
		}
		k := find(bars, e.tick)
		w.Measures[k].Tempos = append(w.Measures[k].Tempos, score.Tempo{
			Quarter: f.quarters(e.tick - bars[k].tick),
			Unit:    tempo.Unit{Num: 1, Den: 4},
			BPM:     60e6 / float64(e.micro),
		})
	}
}

// placeMarks gives markers and keys to the measures they are in, the first of several.
func (f *file) placeMarks(bars []bar, w *score.Written) {
	last := bars[len(bars)-1]
	for _, e := range f.marks {
		if m := &w.Measures[find(bars, e.tick)]; m.Mark == "" && e.tick < last.tick+last.length {
			m.Mark = e.text
		}
	}
	for _, e := range f.keys {
		if m := &w.Measures[find(bars, e.tick)]; m.Key == nil {
			m.Key = &e.key
		}
	}
	if len(f.sounding) == 0 {
		return
	}
	for i, b := range bars {
		n, _ := slices.BinarySearchFunc(f.sounding, b.tick,
			func(s span, at int64) int { return cmp.Compare(s.end, at+1) })
		w.Measures[i].Rest = n == len(f.sounding) || f.sounding[n].begin >= b.tick+b.length
	}
}

// placeNotes makes a part of each track, and of each channel where a track
// has several.
func (f *file) placeNotes(bars []bar, w *score.Written) {
	for i, t := range f.tracks {
		var channels [16]*score.WrittenPart
		used := 0
		for _, n := range t.notes {
			p := channels[n.channel]
			if p == nil {
				p = &score.WrittenPart{}
				channels[n.channel] = p
				used++
			}
			k := find(bars, n.tick)
			p.Onsets = append(p.Onsets, score.WrittenOnset{Measure: k,
				Onset: score.Onset{Quarter: f.quarters(n.tick - bars[k].tick), Note: int(n.key)}})
		}
		// The first track's name is the sequence's, unless it is a part.
		if i == 0 && (used == 0 || f.format == 0) {
			w.Title = t.name
		}
		for c, p := range channels {
			if p == nil {
				continue
			}
			p.Name = t.name
			switch {
			case f.format == 0:
				p.Name = fmt.Sprintf("channel %d", c+1)
			case p.Name == "":
				p.Name = fmt.Sprintf("track %d", i+1)
			}
			if f.format == 1 && used > 1 {
				p.Name += fmt.Sprintf(" (channel %d)", c+1)
			}
			w.Parts = append(w.Parts, *p)
		}
	}
}
