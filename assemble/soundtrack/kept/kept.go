// Package assemble, in the folder kept, holds the one stored type whose package
// is in the bytes of what is stored: gob writes the type of a list by its full
// name, and reports of mixes have always had a "[]assemble.voiceInfo". Under any
// other name every report would differ from what earlier programs stored under
// the same key, and `render --verify` would say so.
package assemble

import (
	"ripieno/mix"
	"ripieno/mix/audio"
)

// VoiceInfo is kept beside a voice.
type VoiceInfo = voiceInfo

type voiceInfo struct {
	From     audio.Frames // guide frame of its first sample
	Measured mix.Measured
}
