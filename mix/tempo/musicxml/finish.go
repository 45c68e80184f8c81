package musicxml

import (
	"cmp"
	"slices"

	"ripieno/mix/tempo"
	"ripieno/mix/tempo/score"
)

// finish turns the bars into a score. Meters hold until the next one. The order of
// what follows matters: wishes need the lengths of measures, and jumps the signs of
// the measure behind.
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
		m.Mark, m.Key, m.Rest = b.mark, b.key, !b.sounds
		p.length(i, m, senza)
		p.tempos(i, m)
	}
	// Remarks about the whole come after those about single elements.
	for _, q := range p.parts {
		p.written.Parts = append(p.written.Parts, q.notes)
	}
	p.settleWishes()
	p.closeRemarks()
	p.settle()
	for i := range p.bars {
		p.written.Measures[i].Signs = p.bars[i].signs.Signs
	}
	order, remarks, err := score.Unroll(p.written.Measures)
	if err != nil {
		return nil, err
	}
	return score.Assemble(p.written, order, remarks...)
}

// length decides how long measure i is: as long as what is in it, when that
// is not its time signature's length. Length 0 in the score means that of the meter.
// Only the first measure may be a pick-up; a short one elsewhere is a measure that a
// repeat has split.
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
	m.Free = senza
	if i == 0 && off < 0 && len(p.bars) > 1 && !senza {
		p.written.PickUp = true
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
