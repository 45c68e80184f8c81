package denoise

import "golang.org/x/sys/cpu"

// vectors says whether the processor has what the assembly needs. It gives the bits of the
// Go code, which a test holds it to.
var vectors = cpu.X86.HasAVX2

// weighAVX does what weighGo does, for the first n lines, four at a time.
//
//go:noescape
func weighAVX(gains, past, ratios, coming, later, floors *float64, w *weighing, n int)

// stillAVX does what stillGo does, for the first n lines, four at a time.
//
//go:noescape
func stillAVX(smooth, least, power *float64, n int)

// overAVX does what overGo does, for the first n lines, four at a time.
//
//go:noescape
func overAVX(ratios, power, inverse *float64, n int)

// lowAVX does what lowGo does, for the first n values, four at a time.
//
//go:noescape
func lowAVX(a, b *float64, n int)

// fours returns how many of n values the vectors do.
func fours(n int) int {
	if !vectors {
		return 0
	}
	return n &^ 3
}

// weigh finds the gain of every line: see weighGo.
func weigh(gains, past, ratios, coming, later, floors []float64, w *weighing) {
	n := fours(len(ratios))
	if n > 0 {
		weighAVX(&gains[0], &past[0], &ratios[0], &coming[0], &later[0], &floors[0], w, n)
	}
	weighGo(gains[n:], past[n:], ratios[n:], coming[n:], later[n:], floors[n:], w)
}

// still smooths powers and keeps the least: see stillGo.
func still(smooth, least, power []float64) {
	n := fours(len(power))
	if n > 0 {
		stillAVX(&smooth[0], &least[0], &power[0], n)
	}
	stillGo(smooth[n:], least[n:], power[n:])
}

// over holds powers against the noise: see overGo.
func over(ratios, power, inverse []float64) {
	n := fours(len(power))
	if n > 0 {
		overAVX(&ratios[0], &power[0], &inverse[0], n)
	}
	overGo(ratios[n:], power[n:], inverse[n:])
}

// low lowers every value of a to that of b.
func low(a, b []float64) {
	n := fours(len(a))
	if n > 0 {
		lowAVX(&a[0], &b[0], n)
	}
	lowGo(a[n:], b[n:])
}
