package audio

// GCD returns the greatest common divisor of two numbers that are not negative, by
// which rates and ratios are reduced. It is the other number when one is 0.
func GCD(a, b int) int {
	for b != 0 {
		a, b = b, a%b
	}
	return a
}
