// Package audition is what the desk lets a person hear and see of a production:
// the sounds of takes and of the guide as samples, their pictures as stills, and
// where everything lies. Sounds are not copied for the desk: what sync and the mix
// have decoded and made lies in the store, and a page that stands on the same
// computer fetches the seconds it plays from there.
//
// The package plans tasks and reads their results. It opens no connection, and it
// writes nothing but what its tasks store.
package audition

import (
	"crypto/sha256"
	"encoding/binary"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"math"

	"ripieno/assemble/media"
	"ripieno/mix/audio"
)

// Sound is a file of samples that a page may fetch pieces of. A page knows it by ID
// alone and can ask for no path.
type Sound struct {
	ID       string `json:"id"` // made of what the file holds; of no other use
	Rate     int    `json:"rate"`
	Channels int    `json:"channels"` // of what is fetched: 1 or 2
	Frames   int64  `json:"frames"`

	path string
	mono bool // fetched as the mean of the file's channels
}

// Sounds are the files that a page may fetch pieces of.
type Sounds struct{ byID map[string]Sound }

// Sound returns a sound by its ID.
func (s *Sounds) Sound(id string) (Sound, bool) {
	one, ok := s.byID[id]
	return one, ok
}

// Open lets a file of samples be fetched; mono and rate are as for openSound.
func (s *Sounds) Open(path string, mono bool, rate int) (Sound, error) {
	one, err := openSound(path, mono, rate)
	if err != nil {
		return one, err
	}
	if s.byID == nil {
		s.byID = map[string]Sound{}
	}
	s.byID[one.ID] = one
	return one, nil
}

// openSound looks at a file of the store. mono asks for the mean of its channels.
// rate is what is true where the file's label is wrong, and 0 elsewhere. The ID is
// made of the path, which in the store is made of the content.
func openSound(path string, mono bool, rate int) (Sound, error) {
	wav, err := media.OpenWAV(path)
	if err != nil {
		return Sound{}, err
	}
	defer wav.Close()
	sum := sha256.Sum256([]byte(path))
	s := Sound{ID: hex.EncodeToString(sum[:12]), Rate: wav.Rate(), Channels: min(2, wav.Channels()),
		Frames: int64(wav.Frames()), path: path, mono: mono || wav.Channels() > 2}
	if s.mono {
		s.Channels = 1
	}
	if rate > 0 {
		s.Rate = rate
	}
	return s, nil
}

// MostFrames is how many frames are fetched at once: some seconds.
const MostFrames = 1 << 19

// Read returns frames of the sound as 32-bit floats, little-endian, the channels in
// turn. Frames before its beginning and behind its end are left out, so that there may
// be fewer than asked for, or none. It fails when the file is not the one any more that
// was opened.
func (s Sound) Read(from, frames int64) ([]byte, error) {
	from, frames = max(0, from), min(frames, MostFrames)
	frames = min(frames, s.Frames-from)
	if frames <= 0 {
		return nil, nil
	}
	wav, err := media.OpenWAV(s.path)
	if err != nil {
		return nil, err
	}
	defer wav.Close()
	if int64(wav.Frames()) != s.Frames {
		return nil, errors.New("the sound is not what it was")
	}
	wav.SeekFrame(audio.Frames(from))
	block := audio.NewBlock(wav.Channels(), int(frames))
	for done := 0; done < int(frames); {
		n, err := wav.Read(block.Slice(done, int(frames)))
		if err != nil && !errors.Is(err, io.EOF) {
			return nil, err
		}
		if n == 0 {
			return nil, fmt.Errorf("the sound ends after %d of %d frames", done, frames)
		}
		done += n
	}
	return s.encode(block), nil
}

// encode writes samples down as they are fetched.
func (s Sound) encode(block audio.Block) []byte {
	frames := block.Frames()
	out := make([]byte, 0, 4*frames*s.Channels)
	for i := range frames {
		if !s.mono {
			for _, ch := range block {
				out = binary.LittleEndian.AppendUint32(out, math.Float32bits(float32(ch[i])))
			}
			continue
		}
		sum := 0.0
		for _, ch := range block {
			sum += ch[i]
		}
		out = binary.LittleEndian.AppendUint32(out, math.Float32bits(float32(sum/float64(len(block)))))
	}
	return out
}
