package musicxml

import (
	"cmp"
	"errors"
	"fmt"
	"slices"

	"ripieno/mix/tempo"
	"ripieno/mix/tempo/score"
)

// finish turns the bars into a score.
func (p *parser) finish() (*score.Score, error) {
	common, err := tempo.MeterOf([]int{4}, 4)
	if err != nil {
		return nil, err
	}
	meter, senza := common, false
	if p.bars[0].meter.IsZero() && !p.bars[0].senza {
		p.remark("measure %s: the score has no time signature there: 4/4 is taken", p.bars[0].number)
	}
	p.written.Measures = make([]score.Measure, len(p.bars))
	for i := range p.bars {
		b := &p.bars[i]
		if !b.meter.IsZero() {
			meter, senza = b.meter, false
		} else if b.senza {
			senza = true
		}
		m := &p.written.Measures[i]
		m.Number, m.Meter = b.number, meter
		p.length(i, m, senza)
		p.tempos(i, m)
	}
	// Remarks about the whole come after those about single elements.
	for _, q := range p.parts {
		p.written.Parts = append(p.written.Parts, q.notes)
	}
	slices.Sort(p.fermatas)
	for _, i := range slices.Compact(p.fermatas) {
		p.remark("measure %s: a fermata; give it a hold if the beat is to stop", p.bars[i].number)
	}
	for _, b := range p.bars {
		if b.jump != "" {
			p.remark("measure %s: %s is not followed", b.number, b.jump)
		}
	}
	order, err := p.order()
	if err != nil {
		return nil, err
	}
	return score.Assemble(p.written, order)
}

// length decides how long measure i is: as long as what is in it, when that
// is not its time signature's length.
func (p *parser) length(i int, m *score.Measure, senza bool) {
	b := &p.bars[i]
	// Whole: no meter is finer than 64ths, and 64ths are whole ticks.
	full := int64(m.Meter.Quarters() * resolution)
	// Rounded tuplets may miss the barline by a few ticks.
	off := b.length - full
	if b.length == 0 || off > -resolution/100 && off < resolution/100 {
		return
	}
	m.Length = float64(b.length) / resolution
	// A length on the grid of 64th notes is what was meant.
	if grid := int64(resolution / 16); b.length >= grid {
		near := (b.length + grid/2) / grid * grid
		if d := b.length - near; d > -resolution/100 && d < resolution/100 {
			m.Length = float64(near) / resolution
		}
	}
	switch {
	case i == 0 && off < 0 && len(p.bars) > 1 && !senza:
		p.written.PickUp = true
	case !senza:
		p.remark("measure %s: it holds %.6g quarter notes, its time signature %.6g: its own length is taken", b.number,
			m.Length, m.Meter.Quarters())
	}
}

// tempos sorts the marks of measure i into it; those past its end belong to
// the next.
func (p *parser) tempos(i int, m *score.Measure) {
	length := m.Meter.Quarters()
	if m.Length > 0 {
		length = m.Length
	}
	slices.SortStableFunc(p.bars[i].tempos, func(a, b mark) int { return cmp.Compare(a.tick, b.tick) })
	for _, k := range p.bars[i].tempos {
		q := float64(k.tick) / resolution
		if q >= length {
			// All that follow are past the end as well; the last one counts.
			if last := p.bars[i].tempos[len(p.bars[i].tempos)-1]; i+1 < len(p.bars) {
				last.tick = 0
				p.bars[i+1].tempos = append([]mark{last}, p.bars[i+1].tempos...)
			}
			break
		}
		t := score.Tempo{Quarter: q, Unit: k.unit, BPM: k.bpm}
		if n := len(m.Tempos); n > 0 && m.Tempos[n-1].Quarter == q {
			m.Tempos[n-1] = t // several parts say it, or the later one is meant
			continue
		}
		m.Tempos = append(m.Tempos, t)
	}
}

// order writes the repeats out: the indices of the measures as played.
func (p *parser) order() ([]int, error) {
	endings := p.spans()
	var order []int
	begin, pass := 0, 1 // of the passage that is repeated
	for i := 0; i < len(p.bars); {
		b := &p.bars[i]
		leaves := endings[i] == nil && i > 0 && endings[i-1] != nil
		if i != begin && (b.forward || leaves) {
			begin, pass = i, 1 // a new passage; at begin it is a jump back
		}
		if endings[i] != nil && !slices.Contains(endings[i], pass) {
			i++
			continue
		}
		if order = append(order, i); len(order) > tempo.MaxMeasures {
			return nil, fmt.Errorf("more than %d measures as played", tempo.MaxMeasures)
		}
		// Within endings their numbers say how often, whatever times says.
		again := b.backward && pass < b.times
		if b.backward && endings[i] != nil {
			again = pass < lastEnding(endings, i)
		}
		switch {
		case again:
			i, pass = begin, pass+1
		case b.backward && endings[i] == nil:
			i++
			begin, pass = i, 1
		default:
			i++
		}
	}
	if len(order) == 0 {
		return nil, errors.New("no measure is played: all stand in endings that are never reached")
	}
	return order, nil
}

// spans returns for each measure the numbers of the ending it stands in, or nil.
func (p *parser) spans() [][]int {
	out := make([][]int, len(p.bars))
	var now []int
	for i, b := range p.bars {
		if len(b.endings) > 0 {
			now = b.endings
		}
		out[i] = now
		if b.endingStops {
			now = nil
		}
	}
	return out
}

// lastEnding returns the highest number of the endings that follow one another
// from measure i on.
func lastEnding(endings [][]int, i int) int {
	last := 0
	for ; i < len(endings) && endings[i] != nil; i++ {
		last = max(last, slices.Max(endings[i]))
	}
	return last
}
