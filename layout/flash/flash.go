// Package flash counts flashes in a film that may harm people with
// photosensitive epilepsy. It is pure: small grey pictures of every frame go
// in, the worst second comes out.
//
// The limits are those of ITU-R BT.1702-2 and WCAG 2.3.1: a flash is a pair of
// opposing changes of luminance of 20 cd/m² or more, the darker state below 160
// cd/m², over more than a quarter of the picture; more than three flashes
// within a second are too many. Luminance is that of a display whose white is
// 200 cd/m², with the transfer function of ITU-R BT.1886. Red flashes and
// regular patterns are not looked for.
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
)

// together is how far apart, in seconds, the same change may reach different
// parts of the picture and still be one (chosen here, no source).
const together = 0.1

// Counter watches a film. NewCounter makes one.
type Counter struct {
	fps    float64
	n      int // pixels
	frames int
	low    []float64 // darkest and brightest since a pixel's last change
	high   []float64
	way    []int8       // of a pixel's last change: 1 brighter, -1 darker, 0 none yet
	recent [2][]int     // how many pixels changed up and down in each of the last frames
	last   int8         // way of the picture's last change
	times  []float64    // of the picture's changes within the last second
	worst  int          // most changes in a second
	at     float64      // when that second began
	lum    [256]float64 // cd/m² of a grey value
}

// NewCounter is a counter for a film of fps frames a second, above 0.
func NewCounter(fps float64) *Counter {
	c := &Counter{fps: fps}
	for v := range c.lum {
		c.lum[v] = white * math.Pow(float64(v)/255, 2.4)
	}
	keep := max(1, int(together*fps))
	c.recent = [2][]int{make([]int, keep), make([]int, keep)}
	return c
}

// Add takes the next frame: grey values from 0 (black) to 255 (white). Its
// memory may be used again. All frames must be of one size.
func (c *Counter) Add(pix []byte) error {
	if c.frames == 0 {
		c.n = len(pix)
		c.low, c.high, c.way = make([]float64, c.n), make([]float64, c.n), make([]int8, c.n)
		for i, v := range pix {
			c.low[i], c.high[i] = c.lum[v], c.lum[v]
		}
	}
	if len(pix) != c.n || c.n == 0 {
		return fmt.Errorf("flash: a frame of %d pixels after one of %d", len(pix), c.n)
	}
	up, down := 0, 0
	for i, v := range pix {
		switch c.pixel(i, c.lum[v]) {
		case 1:
			up++
		case -1:
			down++
		}
	}
	slot := c.frames % len(c.recent[0])
	c.recent[0][slot], c.recent[1][slot] = up, down
	for k, way := range []int8{1, -1} {
		sum := 0
		for _, n := range c.recent[k] {
			sum += n
		}
		if way != c.last && float64(sum) > area*float64(c.n) {
			c.last = way
			c.changed(float64(c.frames) / c.fps)
			clear(c.recent[k])
		}
	}
	c.frames++
	return nil
}

// pixel follows one pixel and tells which way it has just changed, 0 for none.
func (c *Counter) pixel(i int, l float64) int8 {
	c.low[i], c.high[i] = min(c.low[i], l), max(c.high[i], l)
	switch {
	case c.way[i] != 1 && l-c.low[i] >= change && c.low[i] < darker:
		c.way[i] = 1
	case c.way[i] != -1 && c.high[i]-l >= change && l < darker:
		c.way[i] = -1
	default:
		return 0
	}
	c.low[i], c.high[i] = l, l
	return c.way[i]
}

// changed notes a change of the picture.
func (c *Counter) changed(now float64) {
	c.times = append(c.times, now)
	for now-c.times[0] >= 1 {
		c.times = c.times[1:]
	}
	if len(c.times) > c.worst {
		c.worst, c.at = len(c.times), c.times[0]
	}
}

// Result is the worst second of a film.
type Result struct {
	Flashes int     // within that second
	At      float64 // when it begins, seconds of the film
}

// TooMany tells whether the limit is exceeded.
func (r Result) TooMany() bool { return r.Flashes > MostPerSecond }

// Result is what was seen so far. Two opposing changes are one flash.
func (c *Counter) Result() Result { return Result{c.worst / 2, c.at} }
