//go:build !amd64

package fourier

// The kernels in plain Go, on processors that nobody has written vectors for;
// kernels.go says what each computes.
func pack(re, im, x, w []float64)   { packGo(re, im, x, w) }
func unpack(y, re, im, w []float64) { unpackGo(y, re, im, w) }
func weight(y, x, g []float64)      { weightGo(y, x, g) }
func power(p, re, im []float64)     { powerGo(p, re, im) }

func firstPass(yr, yi, xr, xi, w []float64, groups int) { firstPassGo(yr, yi, xr, xi, w, groups) }

func laterPass(yr, yi, xr, xi, w []float64, groups, stride int) {
	laterPassGo(yr, yi, xr, xi, w, groups, stride)
}

func untangle(re, im, zr, zi, wr, wi []float64) { untangleGo(re, im, zr, zi, wr, wi) }
func tangle(zr, zi, re, im, wr, wi []float64)   { tangleGo(zr, zi, re, im, wr, wi) }
