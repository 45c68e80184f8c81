package fourier

// BesselI0 returns the modified Bessel function of the first kind and order 0,
// which Kaiser windows are made of, by its power series (Abramowitz and Stegun
// 9.6.12). x is of any size up to some 700, where float64 ends.
func BesselI0(x float64) float64 {
	sum, term := 1.0, 1.0
	for k := 1.0; term > sum*1e-17; k++ {
		term *= x / (2 * k) * x / (2 * k)
		sum += term
	}
	return sum
}
