//go:build !amd64

package resample

func dot(x, a []float64) float64                    { return dotGo(x, a) }
func dot2(x, a, b []float64) (float64, float64)     { return dot2Go(x, a, b) }
func between(before, after, half []float64) float64 { return betweenGo(before, after, half) }
