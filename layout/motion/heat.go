package motion

// HeatSide is how many columns and how many rows a [Heat] has.
const HeatSide = 24

// Heat says how much each part of a picture moves before a still room: HeatSide rows of
// as many values from the upper left, 255 where it moves most. It is empty when nothing
// moves. Hands and bows move more than a body that sways, so they weigh more.
type Heat []byte

// HeatVersion is the version of what a [Heat] holds. It belongs in the key of whatever is
// computed from it.
const HeatVersion = 1

// Heat returns how much each part of the picture moved so far.
func (m *Map) Heat() Heat {
	dev, noise := m.deviations()
	if dev == nil {
		return nil
	}
	least := leastMoving(dev, 2*noise+1)
	var sums, counts [HeatSide * HeatSide]float64
	for i, d := range dev {
		cell := (i/m.w*HeatSide/m.h)*HeatSide + i%m.w*HeatSide/m.w
		sums[cell] += max(0, d-least)
		counts[cell]++
	}
	most := 0.0
	for i := range sums {
		sums[i] /= max(1, counts[i])
		most = max(most, sums[i])
	}
	if most == 0 {
		return nil
	}
	h := make(Heat, len(sums))
	for i, v := range sums {
		h[i] = byte(255*v/most + 0.5)
	}
	return h
}

// Sum returns how much moves in a box, which is in shares of the picture: the heat of its
// cells, those that it cuts in part. Only its ratio to the sum of another box means
// anything.
func (h Heat) Sum(left, top, right, bottom float64) float64 {
	if len(h) != HeatSide*HeatSide {
		return 0
	}
	covered := func(i int, from, to float64) float64 {
		return max(0, min(to*HeatSide, float64(i+1))-max(from*HeatSide, float64(i)))
	}
	sum := 0.0
	for y := range HeatSide {
		high := covered(y, top, bottom)
		if high == 0 {
			continue
		}
		for x := range HeatSide {
			sum += float64(h[y*HeatSide+x]) * high * covered(x, left, right)
		}
	}
	return sum
}
