//go:build !amd64

package mix

const vectors = false

func runLine(*line, []float64) { panic("mix: no vectors here") }

func weigh(gains, power, bars []float64, floor, fall float64) {
	weighGo(gains, power, bars, floor, fall)
}
