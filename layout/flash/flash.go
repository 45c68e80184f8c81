// Package flash counts flashes in a film that may harm people with
// photosensitive epilepsy. It is pure: small colour pictures of every frame go
// in, the worst second comes out.
//
// The limits are those of ITU-R BT.1702-2 and WCAG 2.3.1. A flash is a pair of
// opposing changes over more than a quarter of the picture: of luminance, by
// 20 cd/m² or more with the darker state below 160 cd/m²; or of saturated red,
// in the terms of WCAG 2.1 ("general flash and red flash thresholds"), where a
// state at either end has R/(R+G+B) of at least 0.8 and (R−G−B)·320, zero where
// it is negative, changes by more than 20. More than three flashes of one kind
// within a second are too many. Light is that of a display whose white is
// 200 cd/m², with the transfer function of ITU-R BT.1886.
//
// Not looked for: regular patterns, such as stripes (ITU-R BT.1702-2 annex 1),
// and flashes that fill a quarter of ten degrees of sight but not of the
// picture, which depends on how near somebody sits.
package flash

import (
	"fmt"
	"math"
)

// The limits. MostPerSecond flashes within any second are still allowed.
const (
	MostPerSecond = 3
	white         = 200.0 // cd/m²
	change        = 20.0
	darker        = 160.0
	area          = 0.25 // of the picture
	redShare      = 0.8  // of R+G+B
	redScale      = 320.0
	redChange     = 20.0
)

// moreThanRedChange is the least that is more than redChange.
var moreThanRedChange = math.Nextafter(redChange, math.Inf(1))

// together is how far apart, in seconds, the same change may reach different
// parts of the picture and still be one (chosen here, no source).
const together = 0.1

// Counter watches a film. NewCounter makes one.
type Counter struct {
	fps    float64
	n      int // pixels
	frames int
	light  kind
	red    kind
	linear [256]float64 // light of a code value, 1 is white
}

// NewCounter returns a counter for a film of fps frames a second, above 0.
func NewCounter(fps float64) *Counter {
	c := &Counter{fps: fps}
	for v := range c.linear {
		c.linear[v] = math.Pow(float64(v)/255, 2.4)
	}
	for _, k := range []*kind{&c.light, &c.red} {
		keep := max(1, int(together*fps))
		k.recent = [2][]int{make([]int, keep), make([]int, keep)}
	}
	return c
}

// state is what one pixel shows: a value of the kind of flash, and whether it
// is such that a change to or from it counts.
type state struct {
	value  float64
	counts bool
}

// luminance returns a pixel's luminance in cd/m² (ITU-R BT.709-6 item 3.2).
func luminance(r, g, b float64) state {
	l := white * (0.2126*r + 0.7152*g + 0.0722*b)
	return state{l, l < darker}
}

// redness returns a pixel's red over the other colours, as WCAG counts it.
func redness(r, g, b float64) state {
	return state{redScale * max(0, r-g-b), r > 0 && r >= redShare*(r+g+b)}
}

// Add takes the next frame: red, green and blue of each pixel as code values from 0 to
// 255. Its memory may be used again. All frames must be of one size. One of another size
// fails.
func (c *Counter) Add(pix []byte) error {
	n := len(pix) / 3
	if c.frames == 0 {
		c.n = n
	}
	if len(pix)%3 != 0 || n != c.n || n == 0 {
		return fmt.Errorf("flash: a frame of %d bytes after one of %d pixels", len(pix), c.n)
	}
	var light, red [2]int // pixels that changed up and down
	for i := range n {
		r, g, b := c.linear[pix[3*i]], c.linear[pix[3*i+1]], c.linear[pix[3*i+2]]
		bright, hot := luminance(r, g, b), redness(r, g, b)
		if c.frames == 0 {
			c.light.begin(i, n, bright)
			c.red.begin(i, n, hot)
			continue
		}
		c.light.pixel(i, bright, change, &light)
		c.red.pixel(i, hot, moreThanRedChange, &red)
	}
	c.light.frame(c.frames, c.n, c.fps, light)
	c.red.frame(c.frames, c.n, c.fps, red)
	c.frames++
	return nil
}

// kind follows one kind of flash.
type kind struct {
	low, high []state  // least and most since a pixel's last change
	way       []int8   // of a pixel's last change: 1 more, -1 less, 0 none yet
	recent    [2][]int // how many pixels changed up and down in each of the last frames
	last      int8     // way of the picture's last change
	times     []float64
	worst     int     // most changes in a second
	at        float64 // when that second began
}

// begin takes the first state of pixel i of n.
func (k *kind) begin(i, n int, s state) {
	if k.way == nil {
		k.low, k.high, k.way = make([]state, n), make([]state, n), make([]int8, n)
	}
	k.low[i], k.high[i] = s, s
}

// pixel follows pixel i and counts a change in its way, if the state at either
// end of it counts. Of two luminances the darker one then does.
func (k *kind) pixel(i int, s state, least float64, ways *[2]int) {
	if s.value < k.low[i].value {
		k.low[i] = s
	}
	if s.value > k.high[i].value {
		k.high[i] = s
	}
	switch {
	case k.way[i] != 1 && s.value-k.low[i].value >= least && (k.low[i].counts || s.counts):
		k.way[i] = 1
		ways[0]++
	case k.way[i] != -1 && k.high[i].value-s.value >= least && (k.high[i].counts || s.counts):
		k.way[i] = -1
		ways[1]++
	default:
		return
	}
	k.low[i], k.high[i] = s, s
}

// frame notes how many pixels of a frame changed.
func (k *kind) frame(number, n int, fps float64, ways [2]int) {
	slot := number % len(k.recent[0])
	k.recent[0][slot], k.recent[1][slot] = ways[0], ways[1]
	for j, way := range []int8{1, -1} {
		sum := 0
		for _, m := range k.recent[j] {
			sum += m
		}
		if way != k.last && float64(sum) > area*float64(n) {
			k.last = way
			k.changed(float64(number) / fps)
			clear(k.recent[j])
		}
	}
}

// changed notes a change of the picture.
func (k *kind) changed(now float64) {
	k.times = append(k.times, now)
	for now-k.times[0] >= 1 {
		k.times = k.times[1:]
	}
	if len(k.times) > k.worst {
		k.worst, k.at = len(k.times), k.times[0]
	}
}

// Result is the worst second of a film, for each kind of flash.
type Result struct {
	Flashes int     // of light within that second
	At      float64 // when it begins, seconds of the film
	Red     int     // of saturated red
	RedAt   float64
}

// TooMany reports whether a limit is exceeded.
func (r Result) TooMany() bool { return max(r.Flashes, r.Red) > MostPerSecond }

// Result returns what was seen so far. Two opposing changes are one flash.
func (c *Counter) Result() Result {
	return Result{c.light.worst / 2, c.light.at, c.red.worst / 2, c.red.at}
}
