package fourier

import "golang.org/x/sys/cpu"

// vectors says whether the processor has what the assembly needs. All sizes
// are multiples of what it takes at a time, but for the one line more that
// weight is given, and lengths were checked by the callers.
var vectors = cpu.X86.HasAVX2

// packAVX does what packGo does, for n samples.
//
//go:noescape
func packAVX(re, im, x, w *float64, n int)

// unpackAVX does what unpackGo does, for n samples.
//
//go:noescape
func unpackAVX(y, re, im, w *float64, n int)

// weightAVX does what weightGo does, for n values, a multiple of 4.
//
//go:noescape
func weightAVX(y, x, gains *float64, n int)

// powerAVX does what powerGo does, for n lines, a multiple of 4.
//
//go:noescape
func powerAVX(p, re, im *float64, n int)

// firstPassAVX does what firstPassGo does.
//
//go:noescape
func firstPassAVX(yr, yi, xr, xi, w *float64, groups int)

// laterPassAVX does what laterPassGo does.
//
//go:noescape
func laterPassAVX(yr, yi, xr, xi, w *float64, groups, stride int)

// untangleAVX does what untangleGo does, for n pairs of lines.
//
//go:noescape
func untangleAVX(re, im, zr, zi, wr, wi *float64, n int)

// tangleAVX does what tangleGo does, for n pairs of lines.
//
//go:noescape
func tangleAVX(zr, zi, re, im, wr, wi *float64, n int)

// pack weights the samples x with the window w and folds them into half as many complex
// numbers.
func pack(re, im, x, w []float64) {
	if !vectors {
		packGo(re, im, x, w)
		return
	}
	packAVX(&re[0], &im[0], &x[0], &w[0], len(x))
}

// unpack turns complex numbers back, unfolded and weighted with w, into the samples
// y.
func unpack(y, re, im, w []float64) {
	if !vectors {
		unpackGo(y, re, im, w)
		return
	}
	unpackAVX(&y[0], &re[0], &im[0], &w[0], len(y))
}

// weight multiplies each x with its g into y.
func weight(y, x, g []float64) {
	n := 0
	if vectors {
		n = len(x) &^ 3
		weightAVX(&y[0], &x[0], &g[0], n)
	}
	weightGo(y[n:], x[n:], g[n:])
}

// power writes re² + im² of each line into p.
func power(p, re, im []float64) {
	n := 0
	if vectors {
		if n = len(re) &^ 3; n > 0 {
			powerAVX(&p[0], &re[0], &im[0], n)
		}
	}
	powerGo(p[n:], re[n:], im[n:])
}

// firstPass runs the pass whose groups lie side by side.
func firstPass(yr, yi, xr, xi, w []float64, groups int) {
	if !vectors {
		firstPassGo(yr, yi, xr, xi, w, groups)
		return
	}
	firstPassAVX(&yr[0], &yi[0], &xr[0], &xi[0], &w[0], groups)
}

// laterPass runs any other pass, whose groups are stride numbers apart.
func laterPass(yr, yi, xr, xi, w []float64, groups, stride int) {
	if !vectors {
		laterPassGo(yr, yi, xr, xi, w, groups, stride)
		return
	}
	laterPassAVX(&yr[0], &yi[0], &xr[0], &xi[0], &w[0], groups, stride)
}

// untangle turns the transform of the folded samples into the lines of the real ones.
func untangle(re, im, zr, zi, wr, wi []float64) {
	if !vectors {
		untangleGo(re, im, zr, zi, wr, wi)
		return
	}
	untangleAVX(&re[0], &im[0], &zr[0], &zi[0], &wr[0], &wi[0], len(wr))
}

// tangle turns the lines of the real samples back into the transform of the folded ones.
func tangle(zr, zi, re, im, wr, wi []float64) {
	if !vectors {
		tangleGo(zr, zi, re, im, wr, wi)
		return
	}
	tangleAVX(&zr[0], &zi[0], &re[0], &im[0], &wr[0], &wi[0], len(wr))
}
