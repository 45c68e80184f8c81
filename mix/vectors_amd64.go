package mix

import "golang.org/x/sys/cpu"

// vectors says whether the processor has what the assembly needs.
var vectors = cpu.X86.HasAVX2

// weighAVX does what weighGo does, for the first n lines, a multiple of 4.
//
//go:noescape
func weighAVX(gains, power, bars *float64, floor, fall float64, n int)

// lineAVX runs n steps of a line of four sections at once, each a sample behind the one before;
// see runLine.
//
//go:noescape
func lineAVX(l *line, x *float64, n int)

// runLine runs the line from the fourth sample of x to its end. x[2], x[1] and
// x[0] are what the first three sections gave last. Results of the fourth go to
// the place of their own sample, three back; the last three places hold what
// the others gave last.
func runLine(l *line, x []float64) { lineAVX(l, &x[0], len(x)-3) }

// weigh finds the gains of a frame: see weighGo.
func weigh(gains, power, bars []float64, floor, fall float64) {
	n := 0
	if vectors {
		n = len(bars) &^ 3
		weighAVX(&gains[0], &power[0], &bars[0], floor, fall, n)
	}
	weighGo(gains[n:], power[n:], bars[n:], floor, fall)
}
