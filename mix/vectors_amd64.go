package mix

import "golang.org/x/sys/cpu"

// vectors says whether the processor has what the assembly needs.
var vectors = cpu.X86.HasAVX2

//go:noescape
func weighAVX(gains, power, bars *float64, floor, fall float64, n int)

//go:noescape
func lineAVX(l *line, x *float64, n int)

// runLine runs the line from the fourth sample of x to its end. x[2], x[1] and
// x[0] are what the first three sections gave last. Results of the fourth go to
// the place of their own sample, three back; the last three places hold what
// the others gave last.
func runLine(l *line, x []float64) { lineAVX(l, &x[0], len(x)-3) }

func weigh(gains, power, bars []float64, floor, fall float64) {
	n := 0
	if vectors {
		n = len(bars) &^ 3
		weighAVX(&gains[0], &power[0], &bars[0], floor, fall, n)
	}
	weighGo(gains[n:], power[n:], bars[n:], floor, fall)
}
