package intake

import (
	"fmt"
	"math"

	"ripieno/assemble/intake/limit"
	"ripieno/assemble/report/phrase"
)

// sound judges the level, the noise and the channels of a file.
func (j *judge) sound(s *Sound) {
	l := j.limits
	loudest := s.loudest()
	if silent, sure := l.Under(limit.SilentPeak, loudest.PeakDB); silent {
		j.add(Silent, Redo, sure, "silent", "peak", figure(loudest.PeakDB, 0))
		return // nothing else means anything
	}
	tiny, sureTiny := l.Under(limit.SoftRedo, s.LoudnessLUFS)
	soft, sureSoft := l.Under(limit.SoftAsk, s.LoudnessLUFS)
	if tiny {
		j.add(TooSoft, Redo, sureTiny, "far-too-soft", "level", figure(s.LoudnessLUFS, 0))
	} else if soft {
		j.add(TooSoft, Ask, sureSoft, "soft", "level", figure(s.LoudnessLUFS, 0))
	}
	noise := s.NoiseDB
	if j.hum(s) {
		noise = beside(noise, s.HumDB)
	}
	j.noise(s, noise, soft)
	j.clipping(s)
	j.channels(s, loudest)
}

// beside returns the level that is left of a noise without the hum that is in it.
// Both are measured, so what is left is not taken for less than 20 dB under the
// whole.
func beside(noiseDB, humDB float64) float64 {
	whole, hum := math.Pow(10, noiseDB/10), math.Pow(10, humDB/10)
	return decibels(max(whole-hum, whole/100), 10)
}

// noise judges the distance from the loud passages to the quietest moments,
// given that those are a rest: in playing without one the softest moment is
// music. Every good take has a rest in it, the count-in.
//
// One cause is told once: hum has a finding of its own and is taken off the
// noise, and the noise of a take that is soft is near because the playing is
// soft, for which the player is asked to come closer already.
func (j *judge) noise(s *Sound, noiseDB float64, soft bool) {
	if s.RestSeconds < j.limits.At(limit.RestLeast) {
		return
	}
	distance := s.LoudDB - noiseDB
	if bad, sure := j.limits.Under(limit.NoiseRedo, distance); bad {
		j.add(Noisy, Redo, sure, "noise-only", "db", figure(distance, 0))
	} else if some, sure := j.limits.Under(limit.NoiseAsk, distance); some && !soft {
		j.add(Noisy, Ask, sure, "noise", "db", figure(distance, 0))
	}
}

// clipping judges samples that pile up at the highest level, and failing that
// how near to it the recording comes.
func (j *judge) clipping(s *Sound) {
	l := j.limits
	var worst Channel
	level, sure := OK, 0.0
	for _, c := range s.Channels {
		at, how := OK, 0.0
		if flat, p := l.Over(limit.FlatShareRedo, c.FlatPercent); flat {
			at, how = Redo, p
		} else if flat, p := l.Over(limit.FlatShareAsk, c.FlatPercent); flat {
			at, how = Ask, p
		}
		for _, pair := range []struct {
			ratio, share limit.Key
			level        Level
		}{{limit.RailRatioRedo, limit.RailShareRedo, Redo}, {limit.RailRatioAsk, limit.RailShareAsk, Ask}} {
			high, p := l.Over(pair.ratio, c.RailRatio)
			much, q := l.Over(pair.share, c.RailPercent)
			if high && much && (pair.level > at || pair.level == at && math.Min(p, q) > how) {
				at, how = pair.level, math.Min(p, q)
			}
		}
		if at > level || at == level && how > sure {
			worst, level, sure = c, at, how
		}
	}
	if level > OK {
		j.add(Clipped, level, sure, "clipped",
			"percent", phrase.Figure(fmt.Sprintf("%.2g", math.Max(worst.FlatPercent, worst.RailPercent))),
			"peak", figure(worst.RailDB, 1))
		return
	}
	top, p := l.Over(limit.HotPeak, s.loudest().PeakDB)
	loud, q := l.Over(limit.HotLoudness, s.LoudnessLUFS)
	if top && loud {
		j.add(TooLoud, Ask, min(p, q), "loud", "level", figure(s.LoudnessLUFS, 0), "peak",
			figure(s.loudest().PeakDB, 1))
	}
}

// hum judges mains hum in the quietest seconds and tells whether there is any.
func (j *judge) hum(s *Sound) bool {
	l := j.limits
	stands, p := l.Over(limit.HumProminence, s.HumProminenceDB)
	loud, q := l.Over(limit.HumLevel, s.HumDB)
	near, r := l.Under(limit.HumDistance, s.LoudDB-s.HumDB)
	if s.HumHz == 0 || !stands || !loud || !near {
		return false
	}
	j.add(Hum, Ask, min(p, q, r), "hum", "hz", whole(s.HumHz), "db", figure(s.LoudDB-s.HumDB, 0))
	return true
}

// channels judges how the sides of a stereo recording relate. The mix repairs
// both kinds of fault, so they are told and not asked about.
func (j *judge) channels(s *Sound, loudest Channel) {
	if len(s.Channels) < 2 {
		return
	}
	for i, c := range s.Channels {
		if dead, sure := j.limits.Over(limit.DeadSide, loudest.RMSDB-c.RMSDB); dead {
			j.add(DeadSide, OK, sure, "dead-channel", "channel", whole(i+1), "channels", whole(len(s.Channels)))
		}
	}
	if len(s.Channels) == 2 {
		if anti, sure := j.limits.Under(limit.Antiphase, s.Correlation); anti {
			j.add(Antiphase, OK, sure, "antiphase")
		}
	}
}
