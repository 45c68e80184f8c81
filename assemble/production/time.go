package production

import "ripieno/assemble/fault"

// Time is a moment in guide time as the manifest wrote it.
type Time struct {
	Text    string  // as written: 12.5, 01:12.500, m33.2, start, end
	Seconds float64 // guide time; meaningless when Edge is set
	Edge    Edge    // start or end of the film, which only the plan knows
	Mark    fault.Mark
}

// Edge names the ends of the film.
type Edge int

// A Time is an ordinary moment or one of the film's ends.
const (
	Moment Edge = iota
	FilmStart
	FilmEnd
)

// Before reports whether a comes strictly before b on the film's time line.
func (a Time) Before(b Time) bool {
	if a.Edge != Moment || b.Edge != Moment {
		return a.rank() < b.rank()
	}
	return a.Seconds < b.Seconds
}

// rank puts the film's ends round everything else.
func (a Time) rank() int {
	switch a.Edge {
	case FilmStart:
		return 0
	case FilmEnd:
		return 2
	}
	return 1
}

// CompareTimes returns -1, 0 or 1 as a comes before b, with it or after it.
func CompareTimes(a, b Time) int {
	switch {
	case a.Before(b):
		return -1
	case b.Before(a):
		return 1
	}
	return 0
}
