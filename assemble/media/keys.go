package media

import (
	"context"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"math"
	"slices"

	"ripieno/assemble/ffmpeg"
	"ripieno/assemble/held"
	"ripieno/mix/audio"
	"ripieno/mix/robust"
)

// Keys are the key frames of a picture, in the order in which they stand in the
// file.
type Keys struct {
	tick float64 // seconds
	step float64 // seconds that are whole numbers of ticks and of microseconds, which ffmpeg counts in
	list []key
	// Holes are where one frame stays much longer than the others, in order of time.
	Holes []Hole
}

// Hole is a stretch of a picture for which its file has no frame.
type Hole struct {
	At     float64 // seconds after the picture's first frame at which the next frame was due
	Length float64 // seconds until it comes
}

// Bounds of what is a hole. Phones that film in the dark take frames half or a third as
// often, and one that writes a file lets a few go; two usual frames or a tenth of a second
// more are jitter (seen on phones; no source).
const (
	holeLeast = 0.15 // seconds
	holeTimes = 4.0  // of what frames usually stay
)

// findHoles returns the holes among frames that are shown at times of the track, in units
// of tick seconds; none of fewer than four frames.
func findHoles(shown []int64, tick float64) []Hole {
	if len(shown) < 4 {
		return nil
	}
	at := slices.Sorted(slices.Values(shown))
	stays := make([]int64, len(at)-1)
	for i := range stays {
		stays[i] = at[i+1] - at[i]
	}
	usual := float64(robust.Quantile(stays, 0.5)) * tick
	var holes []Hole
	for i, n := range stays {
		length := float64(n)*tick - usual
		if length >= holeLeast && float64(n)*tick >= holeTimes*usual {
			holes = append(holes, Hole{At: float64(at[i]-at[0])*tick + usual, Length: length})
		}
	}
	return holes
}

// ReadHoles is the Holes of [Keys] for a picture whose file has no index that says it, such
// as Matroska, WebM and fragments: it reads the time stamps of all packets, under the limits
// of probing, and decodes nothing. It fails where FrameTimes does, and for as many frames as
// no index may have.
func ReadHoles(ctx context.Context, tool *ffmpeg.Tool, info Info) ([]Hole, error) {
	times, _, err := FrameTimes(ctx, tool, info, min(MaxSeconds, info.Duration+1))
	if err != nil {
		return nil, err
	}
	if len(times) > maxSamples {
		return nil, fmt.Errorf("media: the picture of %s has %d frames", showPath(info.Path), len(times))
	}
	shown := make([]int64, len(times))
	for i, t := range times {
		shown[i] = int64(math.Round(t * 1e6))
	}
	return findHoles(shown, 1e-6), nil
}

// Times returns the file times at which key frames are shown, ascending, of a
// picture whose first frame is shown at first.
func (k Keys) Times(first float64) []float64 {
	var list []float64
	for _, f := range k.list {
		list = append(list, first+f.shown)
	}
	slices.Sort(list)
	return list
}

// key is a key frame: when a decoder takes it and when it is shown, in seconds
// after the picture's first frame is shown.
type key struct{ taken, shown float64 }

// ReadKeys reads the index of the MP4 or QuickTime file at path for the picture
// with that number among its streams. Files that say it elsewhere, in fragments,
// and those whose edits leave out more than the wait for a first picture, are
// errors.
func ReadKeys(ctx context.Context, path string, stream int) (Keys, error) {
	t, err := readTimes(ctx, path, stream)
	if err != nil {
		return Keys{}, err
	}
	return t.openings(), nil
}

// openings returns what is needed to open the file at a key frame.
func (t indexed) openings() Keys {
	keys := Keys{tick: 1 / float64(t.scale), step: 1 / float64(audio.GCD(int(t.scale), 1_000_000))}
	keys.Holes = findHoles(t.shown, keys.tick)
	for _, n := range t.keys {
		keys.list = append(keys.list, key{float64(t.taken[n]-t.first) * keys.tick,
			float64(t.shown[n]-t.first) * keys.tick})
	}
	return keys
}

// IndexTimes is [FrameTimes] of an MP4 or QuickTime file, read from its index without a
// process: of those frames that are shown in the first seconds after the picture's first.
// It fails as [ReadKeys] does.
func IndexTimes(ctx context.Context, info Info, length float64) (times, keys []float64, err error) {
	if err := info.NeedVideo(); err != nil {
		return nil, nil, err
	}
	t, err := readTimes(ctx, info.Path, info.Video.Index)
	if err != nil {
		return nil, nil, err
	}
	add := func(list []float64, n int) []float64 {
		if at := float64(t.shown[n]-t.first) / float64(t.scale); at < length {
			list = append(list, info.Video.Start+at)
		}
		return list
	}
	for n := range t.shown {
		times = add(times, n)
	}
	for _, n := range t.keys {
		keys = add(keys, n)
	}
	slices.Sort(times) // frames stand in the order of decoding
	slices.Sort(keys)
	return times, keys, nil
}

// readTimes reads the index of the file at path.
func readTimes(ctx context.Context, path string, stream int) (indexed, error) {
	f, err := held.Open(ctx, path)
	if err != nil {
		return indexed{}, err
	}
	defer f.Close()
	st, err := f.Stat()
	if err != nil {
		return indexed{}, err
	}
	t, err := readIndex(f, st.Size(), stream)
	if err != nil {
		return indexed{}, fmt.Errorf("media: the key frames of %s: %w", showPath(path), err)
	}
	return t, nil
}

// OpenAt returns the time, at or before start, at which ffmpeg begins with the last
// key frame that is shown at start or before and behind which none comes that is
// taken by then and shown later. It begins with the last one that is taken up to
// the time, if a tick may be lost to rounding. The time is a whole number of the
// file's ticks and of microseconds, so taking it off the frames' times rounds none
// of them. Times are the file's, whose picture's first frame is shown at first. ok
// is false where the file is read from its beginning.
func (k Keys) OpenAt(start, first float64) (at float64, ok bool) {
	const exact = 1e-6
	for i := len(k.list) - 1; i >= 0; i-- {
		f := k.list[i]
		if first+f.shown > start+exact {
			continue
		}
		at := k.step * math.Ceil((first+f.taken-exact)/k.step)
		if i+1 < len(k.list) && first+k.list[i+1].taken <= at+k.tick+exact {
			continue
		}
		return max(0, math.Round(at*1e6)/1e6), at > 0
	}
	return 0, false
}

// indexed is what an index says of the frames of a picture, in units of its track.
type indexed struct {
	scale        uint32  // units a second
	taken, shown []int64 // by the order in the file: when a decoder takes a frame, and when it is shown
	first        int64   // when the first one is shown
	keys         []int   // numbers of key frames
}

// readIndex reads it of a file of size bytes. Box by box it is ISO/IEC
// 14496-12: 8.4.2 (mdhd), 8.6.1.2 (stts), 8.6.1.3 (ctts), 8.6.2 (stss), 8.6.6
// (elst), 8.7.3 (stsz).
func readIndex(r io.ReaderAt, size int64, stream int) (x indexed, err error) {
	index, ok := find(readAtoms(r, size), "moov")
	if !ok || index.end() > size {
		return x, errors.New("there is no index")
	}
	var tracks []atom
	for _, a := range insideFrom(r, index, 0) {
		if a.kind == "trak" {
			tracks = append(tracks, a)
		}
	}
	if stream < 0 || stream >= len(tracks) {
		return x, errors.New("the index has no such stream")
	}
	track := tracks[stream]
	if kind, err := field(r, track, 8, "mdia", "hdlr"); err != nil || string(kind) != "vide" {
		return x, errors.New("the stream is no picture")
	}
	if x.scale, err = timeUnits(r, track); err != nil {
		return x, err
	}
	box, err := follow(r, track, "mdia", "minf", "stbl")
	if err != nil {
		return x, err
	}
	if x.taken, x.shown, err = sampleTimes(r, box); err != nil {
		return x, err
	}
	x.first = slices.Min(x.shown)
	if err := plainEdits(r, track, x.first); err != nil {
		return x, err
	}
	sync, err := table(r, box, "stss", 4)
	if err != nil {
		return x, err
	}
	if sync == nil { // without the box all frames are
		for n := range x.taken {
			x.keys = append(x.keys, n)
		}
	}
	for _, s := range sync {
		if n := int64(s[0]); n >= 1 && n <= int64(len(x.taken)) {
			x.keys = append(x.keys, int(n-1))
		}
	}
	return x, nil
}

// timeUnits returns how many units of time of a track make a second.
func timeUnits(r io.ReaderAt, track atom) (uint32, error) {
	version, err := field(r, track, 0, "mdia", "mdhd")
	if err != nil {
		return 0, err
	}
	at := int64(12) // behind the version and two times of 32 bits
	if version[0] == 1 {
		at = 20
	}
	b, err := field(r, track, at, "mdia", "mdhd")
	if err != nil {
		return 0, err
	}
	if scale := binary.BigEndian.Uint32(b); scale > 0 {
		return scale, nil
	}
	return 0, errors.New("time has no unit")
}

// sampleTimes returns when the frames of a sample table are taken by a decoder and
// when they are shown, in units of the track; at least one.
func sampleTimes(r io.ReaderAt, box atom) (taken, shown []int64, err error) {
	count, err := field(r, box, 8, "stsz")
	if err != nil {
		return nil, nil, err
	}
	n := int(binary.BigEndian.Uint32(count))
	if n == 0 || n > maxSamples {
		return nil, nil, fmt.Errorf("the index has %d frames", n)
	}
	deltas, err := table(r, box, "stts", 8)
	if err != nil {
		return nil, nil, err
	}
	now := int64(0)
	for _, run := range deltas {
		for range min(int64(run[0]), int64(n-len(taken))) {
			taken = append(taken, now)
			now += int64(run[1])
		}
	}
	if len(taken) != n {
		return nil, nil, errors.New("not every frame has a time")
	}
	offsets, err := table(r, box, "ctts", 8)
	if err != nil {
		return nil, nil, err
	}
	shown = append(shown, taken...)
	at, early := 0, int64(0)
	for _, run := range offsets {
		for range min(int64(run[0]), int64(n-at)) {
			// Version 1 has signed numbers; as many writers put them into
			// version 0, and none has offsets of half the range.
			offset := int64(int32(run[1]))
			shown[at] += offset
			early = min(early, offset)
			at++
		}
	}
	// Nothing is shown before it is taken; with numbers below 0 ffmpeg takes
	// all frames that much earlier.
	for i := range taken {
		taken[i] += early
	}
	return taken, shown, nil
}

// plainEdits refuses an edit list that does more than to wait and to begin with
// the first frame, which is shown at first.
func plainEdits(r io.ReaderAt, track atom, first int64) error {
	edits, ok := find(insideFrom(r, track, 0), "edts")
	if !ok {
		return nil
	}
	version, err := field(r, edits, 0, "elst")
	if err != nil {
		return err
	}
	size := 12
	if version[0] == 1 {
		size = 20
	}
	list, err := table(r, edits, "elst", size)
	if err != nil {
		return err
	}
	shows := 0
	for _, e := range list {
		begin := int64(int32(e[1]))
		if version[0] == 1 {
			begin = int64(e[2])<<32 | int64(e[3])
		}
		if begin < 0 {
			continue // a wait
		}
		if shows++; shows > 1 || begin > first {
			return errors.New("the file is edited")
		}
	}
	return nil
}

// maxSamples is nine hours at 60 frames a second, and bounds what a stranger's
// index makes of memory.
const maxSamples = 2_000_000

// table reads the entries of a box inside outer, of size bytes each, as numbers
// of 32 bits; nil when there is no such box. A count of entries stands first,
// behind version and flags.
func table(r io.ReaderAt, outer atom, kind string, size int) ([][]uint32, error) {
	box, ok := find(insideFrom(r, outer, 0), kind)
	if !ok {
		return nil, nil
	}
	var head [8]byte
	if _, err := r.ReadAt(head[:], box.offset+8); err != nil {
		return nil, err
	}
	n := int64(binary.BigEndian.Uint32(head[4:]))
	if n > maxSamples || 16+n*int64(size) > box.size || box.end() > outer.end() {
		return nil, fmt.Errorf("the box %q is too short", kind)
	}
	data := make([]byte, n*int64(size))
	if _, err := r.ReadAt(data, box.offset+16); err != nil {
		return nil, err
	}
	list := make([][]uint32, n)
	for i := range list {
		for ; len(list[i]) < size/4; data = data[4:] {
			list[i] = append(list[i], binary.BigEndian.Uint32(data))
		}
	}
	return list, nil
}
