package audio

// Clock ties a file's own time to guide time: guide = Offset + t·(1 + Drift·1e-6)
// for file time t, all in seconds. It is the one definition of offset and drift.
type Clock struct {
	Offset float64 // guide time at the file's time zero, seconds
	Drift  PPM     // how fast guide time runs against the file's clock
}

// Guide returns the guide time at file time t, both in seconds.
func (c Clock) Guide(t float64) float64 { return c.Offset + t*c.Drift.Ratio() }

// File returns the file time at guide time g, both in seconds.
func (c Clock) File(g float64) float64 { return (g - c.Offset) / c.Drift.Ratio() }
