package resample

// dotGo returns Σ x·a over equally long slices. Several sums at a time keep the
// adders busy; their order is fixed, so the result is too.
func dotGo(x, a []float64) float64 {
	var s0, s1, s2, s3 float64
	for len(a) >= 8 && len(x) >= 8 {
		p, q := (*[8]float64)(x), (*[8]float64)(a)
		s0 += float64(p[0] * q[0])
		s1 += float64(p[1] * q[1])
		s2 += float64(p[2] * q[2])
		s3 += float64(p[3] * q[3])
		s0 += float64(p[4] * q[4])
		s1 += float64(p[5] * q[5])
		s2 += float64(p[6] * q[6])
		s3 += float64(p[7] * q[7])
		x, a = x[8:], a[8:]
	}
	for k, v := range a {
		s0 += float64(x[k] * v)
	}
	return (s0 + s1) + (s2 + s3)
}

// spot is where an output is read: the first sample under the filter, the first
// coefficient of a row of the table, and how far the position lies from that
// row to the next.
type spot struct {
	x, row int
	mu     float64
}

// pickGo reads x at spots, each with two neighbouring rows of taps coefficients
// and a straight line between their sums.
func pickGo(y, x, rows []float64, spots []spot, taps int) {
	for k, s := range spots {
		a, b := dot2Go(x[s.x:s.x+taps], rows[s.row:s.row+taps], rows[s.row+taps:s.row+2*taps])
		y[k] = a + float64(s.mu*(b-a))
	}
}

// doubleGo writes to y, in turns, sample i of x from the last of half on and
// the wave half-way to the next one.
func doubleGo(y, x, half []float64) {
	last := len(half) - 1
	for i := range len(y) / 2 {
		y[2*i] = x[last+i]
		y[2*i+1] = betweenGo(x[i:i+last+1], x[i+last+1:], half)
	}
}

// dot2Go does what dotGo does for two rows at once, which loads x only once. Lengths are a
// multiple of 4.
func dot2Go(x, a, b []float64) (float64, float64) {
	var s0, s1, s2, s3, t0, t1, t2, t3 float64
	for len(a) >= 4 && len(x) >= 4 && len(b) >= 4 {
		p, q, r := (*[4]float64)(x), (*[4]float64)(a), (*[4]float64)(b)
		s0 += float64(p[0] * q[0])
		t0 += float64(p[0] * r[0])
		s1 += float64(p[1] * q[1])
		t1 += float64(p[1] * r[1])
		s2 += float64(p[2] * q[2])
		t2 += float64(p[2] * r[2])
		s3 += float64(p[3] * q[3])
		t3 += float64(p[3] * r[3])
		x, a, b = x[4:], a[4:], b[4:]
	}
	return (s0 + s1) + (s2 + s3), (t0 + t1) + (t2 + t3)
}

// betweenGo returns the wave half-way between the last of before and the first of
// after: Σ half[j]·(before[last−j] + after[j]). The length of half is a
// multiple of 4.
func betweenGo(before, after, half []float64) float64 {
	var s0, s1, s2, s3 float64
	before = before[:len(half)]
	for len(half) >= 8 && len(after) >= 8 && len(before) >= 8 {
		h, a, b := (*[8]float64)(half), (*[8]float64)(after), (*[8]float64)(before[len(before)-8:])
		s0 += float64(h[0] * (a[0] + b[7]))
		s1 += float64(h[1] * (a[1] + b[6]))
		s2 += float64(h[2] * (a[2] + b[5]))
		s3 += float64(h[3] * (a[3] + b[4]))
		s0 += float64(h[4] * (a[4] + b[3]))
		s1 += float64(h[5] * (a[5] + b[2]))
		s2 += float64(h[6] * (a[6] + b[1]))
		s3 += float64(h[7] * (a[7] + b[0]))
		half, after, before = half[8:], after[8:], before[:len(before)-8]
	}
	if len(half) >= 4 && len(after) >= 4 && len(before) >= 4 {
		h, a, b := (*[4]float64)(half), (*[4]float64)(after), (*[4]float64)(before)
		s0 += float64(h[0] * (a[0] + b[3]))
		s1 += float64(h[1] * (a[1] + b[2]))
		s2 += float64(h[2] * (a[2] + b[1]))
		s3 += float64(h[3] * (a[3] + b[0]))
	}
	return (s0 + s1) + (s2 + s3)
}
