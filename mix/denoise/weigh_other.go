//go:build !amd64

package denoise

// weigh, still, over and low are in plain Go on processors that nobody has written vectors
// for; what they compute is said in weigh.go.
func weigh(gains, past, ratios, coming, later, floors []float64, w *weighing) {
	weighGo(gains, past, ratios, coming, later, floors, w)
}

func still(smooth, least, power []float64) { stillGo(smooth, least, power) }

func over(ratios, power, inverse []float64) { overGo(ratios, power, inverse) }

func low(a, b []float64) { lowGo(a, b) }
