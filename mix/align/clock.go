package align

import "ripieno/mix/audio"

// Clock returns where the recording lies on guide time.
func (p Placement) Clock() audio.Clock {
	return audio.Clock{Offset: p.Offset, Drift: audio.PPM(p.DriftPPM)}
}

// Clock returns where the recording would lie on guide time at this place.
func (c Candidate) Clock() audio.Clock {
	return audio.Clock{Offset: c.Offset, Drift: audio.PPM(c.DriftPPM)}
}
