//go:build !amd64

package mix

func weigh(gains, power, bars []float64, floor, fall float64) {
	weighGo(gains, power, bars, floor, fall)
}
