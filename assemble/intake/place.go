package intake

// PlaceOf returns where in a file, in seconds, a finding is best heard and seen: where
// it begins or ends, where it is loudest or quietest, or else well within it.
func PlaceOf(code Code, f File) float64 {
	length := f.Info.Duration
	inside := func(at float64) float64 { return max(0, min(at, length-1)) }
	switch code {
	case Truncated, EndsEarly:
		return inside(length - 3)
	case StartsLate:
		return 0
	case CueUnsure, OtherPiece:
		if f.Sync != nil && len(f.Sync.Candidates) > 0 {
			return inside(f.Sync.Candidates[0].At)
		}
	case Broken:
		if len(f.Breaks) > 0 {
			return inside(f.Breaks[0].At)
		}
	case Clipped, TooLoud, TooSoft, LowRate, DeadSide, Antiphase:
		return inside(loudest(f.Levels, length, true))
	case Noisy, Hum, Bleed:
		return inside(loudest(f.Levels, length, false))
	}
	return inside(0.4 * length)
}

// loudest returns the beginning of the loudest second, or of the quietest one that is
// not at the edges, where recordings are handled.
func loudest(levels []uint8, length float64, loud bool) float64 {
	const window, edge = 100, 200
	if len(levels) < 2*edge+window {
		return 0.4 * length
	}
	sum := 0
	for _, v := range levels[edge : edge+window] {
		sum += int(v)
	}
	best, at := sum, edge
	for i := edge + 1; i+window <= len(levels)-edge; i++ {
		sum += int(levels[i+window-1]) - int(levels[i-1])
		if loud && sum > best || !loud && sum < best {
			best, at = sum, i
		}
	}
	return float64(at) * levelStep
}
