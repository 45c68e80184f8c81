//go:build !amd64

package resample

// dot, pick and double are in plain Go on processors that nobody has written vectors for;
// what they compute is said in dot.go.
func dot(x, a []float64) float64 { return dotGo(x, a) }

func pick(y, x, rows []float64, spots []spot, taps int) { pickGo(y, x, rows, spots, taps) }

func double(y, x, half []float64) { doubleGo(y, x, half) }
