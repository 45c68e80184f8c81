package mix

import "golang.org/x/sys/cpu"

// vectors says whether the processor has what the assembly needs.
var vectors = cpu.X86.HasAVX2

//go:noescape
func weighAVX(gains, power, bars *float64, floor, fall float64, n int)

func weigh(gains, power, bars []float64, floor, fall float64) {
	n := 0
	if vectors {
		n = len(bars) &^ 3
		weighAVX(&gains[0], &power[0], &bars[0], floor, fall, n)
	}
	weighGo(gains[n:], power[n:], bars[n:], floor, fall)
}
