package mix

import (
	"runtime"
	"testing"

	"ripieno/mix/audio"
	"ripieno/mix/denoise"
	"ripieno/mix/limit"
)

// heapAfter reads that many seconds of src and returns the bytes in use.
func heapAfter(t *testing.T, src audio.Source, seconds int) int64 {
	t.Helper()
	buf := audio.NewBlock(src.Channels(), 4096)
	for left := seconds * rate; left > 0; left -= 4096 {
		if _, err := src.Read(buf); err != nil {
			t.Fatal(err)
		}
	}
	runtime.GC()
	runtime.GC()
	var m runtime.MemStats
	runtime.ReadMemStats(&m)
	runtime.KeepAlive(src)
	return int64(m.HeapAlloc)
}

// Memory does not grow with the length: after 1 s and after 20 s a mix that is
// limited and measured holds as many bytes, within the growth of its buffers.
func TestMemoryIsFlat(t *testing.T) {
	strips := ensemble(3, 1000, true)
	for i := range strips {
		hz := []int{48000, 44100}[i%2]
		strips[i].Denoise = &Denoise{Noise: &Noise{rate: hz, power: make([]float64, denoise.Lines)}}
	}
	src, err := PreMaster(strips, Options{Length: 1000 * rate, Room: 0.2})
	if err != nil {
		t.Fatal(err)
	}
	ahead := audio.NewAhead(limit.New(src, -1))
	defer ahead.Close()
	metered := NewMetered(Dither(ahead, 24, 1))
	before := heapAfter(t, metered, 1)
	after := heapAfter(t, metered, 19)
	if grown := after - before; grown > 300_000 {
		t.Errorf("19 s more took %d bytes more", grown)
	}
}
