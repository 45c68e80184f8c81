//go:build !amd64

package resample

func dot(x, a []float64) float64 { return dotGo(x, a) }

func pick(y, x, rows []float64, spots []spot, taps int) { pickGo(y, x, rows, spots, taps) }

func double(y, x, half []float64) { doubleGo(y, x, half) }
