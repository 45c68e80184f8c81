package click

import (
	"fmt"
	"io"

	"ripieno/mix/audio"
	"ripieno/mix/tempo"
)

// chunkFrames is how many frames are made at a time; more costs memory, fewer
// look up the same clicks more often.
const chunkFrames = 8192

// chokeFrames is over how many frames a click fades when the next one comes
// before it has died away: 1 ms, too short to hear and long enough not to
// click itself.
const chokeFrames = 48

// guide is the stream. Chunk k holds the frames from k·chunkFrames on and
// depends on nothing but its number.
type guide struct {
	m      *tempo.Map
	length audio.Frames
	kit    kit
	drones []drone
	words  []spoken
	parts  int // of a beat, as tempo.Map.Pulses takes it

	next  audio.Frames // first frame of the chunk to be made
	chunk []float64
	at    int // first frame of chunk that is not read yet
}

// Channels implements audio.Source.
func (g *guide) Channels() int { return 1 }

// Rate implements audio.Source.
func (g *guide) Rate() int { return audio.Rate }

// Read implements audio.Source.
func (g *guide) Read(dst audio.Block) (int, error) {
	if len(dst) != 1 {
		return 0, fmt.Errorf("click: read into %d channels from a source of 1", len(dst))
	}
	want := dst.Frames()
	n := 0
	for n < want {
		if g.at == len(g.chunk) {
			if g.next >= g.length {
				break
			}
			g.fill()
		}
		c := copy(dst[0][n:], g.chunk[g.at:])
		n, g.at = n+c, g.at+c
	}
	if n == 0 && want > 0 {
		return 0, io.EOF
	}
	return n, nil
}

// fill makes the next chunk: drones, spoken numbers and clicks, added up.
func (g *guide) fill() {
	from := g.next
	to := min(from+chunkFrames, g.length)
	g.chunk = g.chunk[:to-from]
	clear(g.chunk)
	for i := range g.drones {
		g.drones[i].add(g.chunk, from)
	}
	for _, w := range g.words {
		w.add(g.chunk, from)
	}
	g.addClicks(from, to)
	g.next, g.at = to, 0
}

// addClicks adds what sounds in [from, to): also clicks that began before,
// and each one only until the next begins.
func (g *guide) addClicks(from, to audio.Frames) {
	// One frame more than the longest sound on both sides is enough, since a
	// pulse's frame is at most half a frame from its time.
	begin := (from - maxSound - 1).Seconds()
	end := (to + maxSound + 1).Seconds()
	var (
		last    []float64
		lastAt  audio.Frames
		pending bool
	)
	for b := range g.m.Pulses(begin, end, g.parts) {
		at := audio.FramesAt(b.Seconds)
		if pending {
			addSound(g.chunk, from, last, lastAt, at)
		}
		if at >= to {
			return
		}
		last, lastAt, pending = g.kit.sound(b), at, true
	}
	if pending {
		addSound(g.chunk, from, last, lastAt, lastAt+maxSound+chokeFrames)
	}
}

// addSound adds sound, which begins at frame at and must end before frame
// cut, to a chunk that begins at frame from.
func addSound(chunk []float64, from audio.Frames, sound []float64, at, cut audio.Frames) {
	n := min(audio.Frames(len(sound)), cut-at)
	fade := audio.Frames(0)
	if n < audio.Frames(len(sound)) {
		fade = min(chokeFrames, n)
	}
	for i := max(0, from-at); i < n && at+i-from < audio.Frames(len(chunk)); i++ {
		v := sound[i]
		if left := n - i; left <= fade {
			v *= float64(left-1) / float64(fade)
		}
		chunk[at+i-from] += v
	}
}
