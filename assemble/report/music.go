package report

import (
	"cmp"
	"slices"
	"strconv"

	"ripieno/mix/tempo"
)

// maxDrawn is the most beats the count-in is drawn with; a longer one is
// clearer in words.
const maxDrawn = 64

// bar is one measure of the drawing of the count-in.
type bar struct {
	Number int
	Music  bool // a measure of the piece, not of the count-in
	Beats  []drawn
}

// drawn is one beat: its number, and its Kind where something is to be done.
type drawn struct{ Kind, Text string }

// bars draws the count-in and the first measure of the music.
func (s Sheet) bars() []bar {
	var all []bar
	beats := 0
	for b := range s.Guide.Tempo.Beats() {
		if beats++; beats > maxDrawn {
			return nil
		}
		d := drawn{Text: strconv.Itoa(b.Number)}
		switch {
		case b.Cue:
			d = drawn{"cue", s.Words.Say("clap")}
		case !b.CountIn && b.Measure == 1 && b.Downbeat:
			d = drawn{"play", s.Words.Say("play")}
		case !b.CountIn:
			d.Kind = "play"
		}
		n := b.Measure
		switch {
		case b.CountIn:
		case b.Measure == 0: // the pick-up shares the count-in's last measure
			if len(all) > 0 {
				all[len(all)-1].Beats = append(all[len(all)-1].Beats, d)
				continue
			}
		case b.Measure == 1:
			n = s.Guide.First
		default:
			return all
		}
		if b.Downbeat || len(all) == 0 {
			all = append(all, bar{Number: n, Music: !b.CountIn})
		}
		all[len(all)-1].Beats = append(all[len(all)-1].Beats, d)
	}
	return all
}

// tempoRow is one line of the table of tempos.
type tempoRow struct{ Measure, Meter, Text string }

// maxTempoRows keeps the sheet to its pages; whoever plays more changes than
// that follows the clicks anyway.
const maxTempoRows = 12

// tempo lists meters, tempos and holds of the measures that the guide plays.
func (s Sheet) tempo() (rows []tempoRow, more bool) {
	g := s.Guide
	last := g.First + g.Tempo.Measures() - 1
	type entry struct {
		quarter float64
		row     tempoRow
	}
	var all []entry
	begin, _ := g.Piece.Quarters(tempo.Position{Measure: g.First, Beat: 1}) // a measure of the piece
	force := tempo.Change{}
	spec := g.Piece.Spec()
	for _, c := range spec.Changes {
		p := tempo.Position{Measure: c.Measure, Beat: max(1, c.At)}
		q, err := g.Piece.Quarters(p)
		switch {
		case err != nil || c.Measure > last:
		case q > begin:
			row := tempoRow{Measure: s.place(p), Text: s.mark(p, c, c.BPM > 0)}
			if !c.Meter.IsZero() {
				row.Meter = c.Meter.String()
			}
			all = append(all, entry{q, row})
		default:
			if !c.Beat.IsZero() || c.BPM > 0 {
				force.Beat = c.Beat
			}
			force.RampTo, force.Until = 0, 0
			if c.RampTo > 0 && c.Until > g.First {
				force.RampTo, force.Until = c.RampTo, c.Until
			}
		}
	}
	start := tempo.Position{Measure: g.First, Beat: 1}
	all = append(all, entry{begin, tempoRow{s.place(start), g.Piece.Meter(g.First).String(),
		s.mark(start, force, true)}})
	for _, h := range spec.Holds {
		if h.At.Measure >= g.First && h.At.Measure <= last {
			q, _ := g.Piece.Quarters(h.At) // checked when the map was made
			all = append(all, entry{q, tempoRow{Measure: s.place(h.At),
				Text: s.Words.Say("tempo-hold", "seconds", s.Words.Number(h.Seconds, 1))}})
		}
	}
	slices.SortStableFunc(all, func(a, b entry) int { return cmp.Compare(a.quarter, b.quarter) })
	for _, e := range all[:min(len(all), maxTempoRows)] {
		rows = append(rows, e.row)
	}
	return rows, len(all) > maxTempoRows
}

// place returns a position as a player reads it: the measure, with the beat when
// that is not the first.
func (s Sheet) place(p tempo.Position) string {
	if p.Beat == 1 {
		return s.Guide.Piece.Label(p.Measure)
	}
	return s.Words.Say("measure-beat", "measure", s.Guide.Piece.Label(p.Measure), "beat", s.Words.Number(p.Beat, 2))
}

// mark returns a tempo in words: the one in force when whole is set, and where a
// ramp that begins or goes on there leads to.
func (s Sheet) mark(p tempo.Position, c tempo.Change, whole bool) string {
	unit := c.Beat
	if unit.IsZero() {
		unit = s.Guide.Piece.Meter(p.Measure).Unit()
	}
	now := s.quarterBPM(p) / unit.Quarters()
	text := ""
	if whole {
		text = s.Words.Say("tempo-mark", "unit", s.Words.Unit(unit.String()), "bpm", s.Words.Number(now, 1))
	}
	if c.RampTo > 0 {
		key := "tempo-faster"
		if c.RampTo < now {
			key = "tempo-slower"
		}
		if text != "" {
			text += ", "
		}
		text += s.Words.Say(key, "bpm", s.Words.Number(c.RampTo, 1), "measure", s.Guide.Piece.Label(c.Until))
	}
	return text
}

// quarterBPM returns the tempo just after a place in quarter notes a minute,
// measured over a thousandth of a quarter.
func (s Sheet) quarterBPM(p tempo.Position) float64 {
	const step = 1e-3
	q, err := s.Guide.Piece.Quarters(p)
	if err != nil {
		return 0
	}
	return 60 * step / (s.Guide.Piece.SecondsAt(q+2*step) - s.Guide.Piece.SecondsAt(q+step))
}
