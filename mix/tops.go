package mix

import (
	"ripieno/mix/audio"
	"ripieno/mix/declip"
)

// whole returns a strip's recording with its channels repaired and the tops drawn again that
// were cut off, or with somebody listening to what they were before.
func (s *Strip) whole(raw audio.Source) audio.Source {
	var src audio.Source = newFolded(raw, s.Repair)
	if s.tap != nil {
		return s.tap(src)
	}
	return declip.New(src, s.Clip)
}

// listenForClipping makes the next reading of the strip's recording hear where it is clipped;
// it returns what tells that afterwards.
func (s *Strip) listenForClipping() func() declip.Clip {
	var l *declip.Listener
	s.tap = func(src audio.Source) audio.Source {
		l = declip.Listen(src)
		return l
	}
	return func() declip.Clip { return l.Clip() }
}
