package fourier

// The inner loops in Go. kernels_amd64.s does the same operations in the same
// order, four numbers at a time. Conversions keep products from being fused
// into the sums after them.

// packGo writes the samples of x times w to re and im in turns.
func packGo(re, im, x, w []float64) {
	for i := range len(x) / 2 {
		re[i] = x[2*i] * w[2*i]
		im[i] = x[2*i+1] * w[2*i+1]
	}
}

// unpackGo adds re and im, in turns and times w, to y.
func unpackGo(y, re, im, w []float64) {
	for i := range len(y) / 2 {
		y[2*i] += float64(re[i] * w[2*i])
		y[2*i+1] += float64(im[i] * w[2*i+1])
	}
}

// weightGo writes x·g to y, value by value.
func weightGo(y, x, g []float64) {
	for i, v := range x {
		y[i] = v * g[i]
	}
}

// powerGo adds the squares of re and im to p.
func powerGo(p, re, im []float64) {
	for i, a := range re {
		p[i] += float64(a*a) + float64(im[i]*im[i])
	}
}

// quad is the butterfly of radix 4 on four complex numbers.
type quad struct{ r0, i0, r1, i1, r2, i2, r3, i3 float64 }

// butterfly returns the transform of four, its last three turned by twiddles.
func (q quad) butterfly(w1r, w1i, w2r, w2i, w3r, w3i float64) quad {
	sr, si := q.r0+q.r2, q.i0+q.i2 // a+c
	dr, di := q.r0-q.r2, q.i0-q.i2 // a−c
	tr, ti := q.r1+q.r3, q.i1+q.i3 // b+d
	er, ei := q.r1-q.r3, q.i1-q.i3 // b−d
	ar, ai := dr+ei, di-er         // a−c − j(b−d)
	br, bi := sr-tr, si-ti
	cr, ci := dr-ei, di+er
	return quad{
		sr + tr, si + ti,
		float64(ar*w1r) - float64(ai*w1i), float64(ai*w1r) + float64(ar*w1i),
		float64(br*w2r) - float64(bi*w2i), float64(bi*w2r) + float64(br*w2i),
		float64(cr*w3r) - float64(ci*w3i), float64(ci*w3r) + float64(cr*w3i),
	}
}

// firstPassGo does the pass of stride 1, whose four results lie side by side.
func firstPassGo(yr, yi, xr, xi, w []float64, groups int) {
	for p := range groups {
		t := w[24*(p/4)+p%4:]
		q := quad{
			xr[p], xi[p], xr[p+groups], xi[p+groups],
			xr[p+2*groups], xi[p+2*groups], xr[p+3*groups], xi[p+3*groups],
		}.butterfly(t[0], t[4], t[8], t[12], t[16], t[20])
		yr[4*p], yr[4*p+1], yr[4*p+2], yr[4*p+3] = q.r0, q.r1, q.r2, q.r3
		yi[4*p], yi[4*p+1], yi[4*p+2], yi[4*p+3] = q.i0, q.i1, q.i2, q.i3
	}
}

// laterPassGo does every other pass: one set of twiddles for stride numbers.
func laterPassGo(yr, yi, xr, xi, w []float64, groups, stride int) {
	for p := range groups {
		t := w[6*p : 6*p+6]
		for k := range stride {
			from, to := stride*p+k, 4*stride*p+k
			b, c, d := from+stride*groups, from+2*stride*groups, from+3*stride*groups
			q := quad{xr[from], xi[from], xr[b], xi[b], xr[c], xi[c], xr[d], xi[d]}.butterfly(t[0], t[1], t[2], t[3],
				t[4], t[5])
			yr[to], yr[to+stride], yr[to+2*stride], yr[to+3*stride] = q.r0, q.r1, q.r2, q.r3
			yi[to], yi[to+stride], yi[to+2*stride], yi[to+3*stride] = q.i0, q.i1, q.i2, q.i3
		}
	}
}

// untangleGo turns the transform z of pairs of samples into lines [0, len(wr)):
// those of the even samples and, turned by w, those of the odd ones. z has one
// number more than w.
func untangleGo(re, im, zr, zi, wr, wi []float64) {
	last := len(wr)
	for k, c := range wr {
		m := last - k
		er, ei := zr[k]+zr[m], zi[k]-zi[m]
		or, oi := zi[k]+zi[m], zr[m]-zr[k]
		re[k] = er + (float64(or*c) - float64(oi*wi[k]))
		im[k] = ei + (float64(oi*c) + float64(or*wi[k]))
	}
}

// tangleGo does the way back: from lines to the transform of pairs, twice as
// large. re and im have one line more than w.
func tangleGo(zr, zi, re, im, wr, wi []float64) {
	last := len(wr)
	for k, c := range wr {
		m := last - k
		er, ei := re[k]+re[m], im[k]-im[m]
		dr, di := re[k]-re[m], im[k]+im[m]
		// The odd samples, turned back by the conjugate of w.
		or, oi := float64(dr*c)+float64(di*wi[k]), float64(di*c)-float64(dr*wi[k])
		zr[k] = er - oi
		zi[k] = ei + or
	}
}
