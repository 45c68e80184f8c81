package audition

import (
	"crypto/sha256"
	"encoding/binary"
	"encoding/hex"
	"encoding/json"
	"fmt"

	"ripieno/assemble/graph"
	"ripieno/assemble/media"
)

// Voice is a strip's sound as the page plays it: a small copy of its voice.
type Voice struct {
	ID       string `json:"id"` // made of what the file is; of no other use
	Channels int    `json:"channels"`
	Frames   int64  `json:"frames"` // of 48 kHz

	from int64 // guide frame of the first
	adts media.ADTS
}

// OpenVoice looks at a proxy of a voice that has so many frames, the first at a frame of
// guide time. It fails where the file is none of bare AAC.
func OpenVoice(proxy string, from, frames int64) (Voice, error) {
	adts, err := media.IndexADTS(proxy)
	if err != nil {
		return Voice{}, err
	}
	sum := sha256.Sum256([]byte(proxy))
	return Voice{ID: hex.EncodeToString(sum[:12]), Channels: adts.Channels, Frames: frames, from: from, adts: adts}, nil
}

// MostVoiceFrames is how many frames of all voices are fetched at once: four seconds.
const MostVoiceFrames = 4 * 48000

// groupVoices is how many voices are decoded as one stream. A browser takes some 2 ms for
// each stream however short it is, and decodes streams side by side.
const groupVoices = 16

// runIn are the frames of AAC in front of what is heard: a decoder's first frame is not
// right, since it lacks the one before. Behind the beginning of a stream there are more,
// because some decoders take an encoder's usual delay of 2112 samples away.
const (
	runIn      = 1
	runInFirst = 3
)

// pieceHead says what a piece holds; see [Mixing.Piece].
type pieceHead struct {
	Groups []pieceGroup `json:"groups"`
}

// pieceGroup is one stream of AAC with voices one behind the other.
type pieceGroup struct {
	Channels int      `json:"channels"`
	Bytes    int      `json:"bytes"`
	Frames   int      `json:"frames"` // that its decoder gives
	Parts    [][4]int `json:"parts"`  // strip, where it begins in the stream and in the piece, and its length
}

// Piece returns the frames [from, from+frames) of guide time of all voices that sound
// there, as far as [MostVoiceFrames]: four bytes with the length of a head, little-endian,
// the head as JSON, and streams of AAC. Voices stand behind each other in a stream, each
// behind a run-in. It fails when a proxy is not there any more.
func (m *Mixing) Piece(from, frames int64) ([]byte, error) {
	frames = max(0, min(frames, MostVoiceFrames))
	head := pieceHead{Groups: []pieceGroup{}}
	open := map[int]int{} // by channels: the group that is being filled
	var streams [][]byte
	for i, s := range m.Strips {
		if s.Sound == nil {
			continue
		}
		begin, end := max(from, s.Sound.from), min(from+frames, s.Sound.from+s.Sound.Frames)
		if begin >= end {
			continue
		}
		k, ok := open[s.Sound.Channels]
		if !ok || len(head.Groups[k].Parts) == groupVoices {
			k = len(head.Groups)
			open[s.Sound.Channels] = k
			head.Groups = append(head.Groups, pieceGroup{Channels: s.Sound.Channels})
			streams = append(streams, nil)
		}
		var err error
		if streams[k], err = head.Groups[k].add(streams[k], *s.Sound, i, begin, end, begin-from); err != nil {
			return nil, err
		}
	}
	for i := range streams {
		head.Groups[i].Bytes = len(streams[i])
	}
	text, err := json.Marshal(head)
	if err != nil {
		return nil, err
	}
	out := append(binary.LittleEndian.AppendUint32(nil, uint32(len(text))), text...)
	for _, s := range streams {
		out = append(out, s...)
	}
	return out, nil
}

// add appends the frames [begin, end) of guide time of a voice to a stream.
func (g *pieceGroup) add(stream []byte, v Voice, strip int, begin, end, at int64) ([]byte, error) {
	const size = graph.AACFrame
	lead := runIn
	if len(g.Parts) == 0 {
		lead = runInFirst
	}
	// Frame k of AAC gives the samples from (k−1)·size on: the first is the encoder's delay.
	first, last := int((begin-v.from)/size)+1, int((end-v.from+size-1)/size)+1
	start := max(0, first-lead)
	if last > v.adts.Frames() {
		return nil, fmt.Errorf("the proxy %s is shorter than its voice", v.ID)
	}
	stream, err := v.adts.Append(stream, start, last)
	if err != nil {
		return nil, err
	}
	skip := g.Frames + (first-start)*size + int(begin-v.from) - (first-1)*size
	g.Parts = append(g.Parts, [4]int{strip, skip, int(at), int(end - begin)})
	g.Frames += (last - start) * size
	return stream, nil
}
