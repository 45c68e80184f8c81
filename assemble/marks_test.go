package assemble

import (
	"bytes"
	"encoding/binary"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"testing"

	"ripieno/assemble/ffmpeg"
	"ripieno/assemble/ffmpeg/ffmpegtest"
)

// A marked take shows, in every frame, who it is and which frame this is, in
// cells of black and white that survive scaling and encoding: columns of bits
// in two rows, the second the opposite of the first so that a misread shows.
const (
	markCols  = 16 // 3 bits of identity, 12 of frame number, 1 always white
	markRows  = 2
	markWide  = 320
	markHigh  = 180
	clickRate = 48000
)

// marked is a take to be made for a test.
type marked struct {
	name     string
	id       int // 1 to 7
	rate     string
	fps      float64 // of rate; frame k is at k/fps
	frames   int
	extra    []string // more output options
	audio    bool     // with sound
	channels int
	// clicks are file times at which a short burst sounds.
	clicks       []float64
	storedTurned bool // stored sideways with a rotation mark, as phones do
	wide, high   int  // pixels; 0 is markWide by markHigh
}

// size returns the picture's.
func (m marked) size() (w, h int) {
	if m.wide == 0 {
		return markWide, markHigh
	}
	return m.wide, m.high
}

// frame draws frame k upright.
func (m marked) frame(k int) []byte {
	w, h := m.size()
	pix := make([]byte, w*h)
	bits := m.id<<12 | k&0xfff
	for x := range w {
		col := x * markCols / w
		on := col == markCols-1 || bits>>(14-col)&1 == 1
		for y := range h {
			v := byte(20)
			if on == (y < h/2) {
				v = 235
			}
			pix[y*w+x] = v
		}
	}
	return pix
}

// readMark returns the reverse, from a tile of any size. The counter is −1 when the
// tile shows no mark.
func readMark(pix []byte, stride, x0, y0, w, h int) (id, counter int) {
	cell := func(col, row int) float64 {
		sum, n := 0.0, 0
		for dy := h * (4*row + 1) / 8; dy < h*(4*row+3)/8; dy++ {
			for dx := (w*(4*col+1) + 2*markCols) / (4 * markCols); dx < w*(4*col+3)/(4*markCols); dx++ {
				sum += float64(pix[(y0+dy)*stride+x0+dx])
				n++
			}
		}
		return sum / float64(max(1, n))
	}
	bits := 0
	for col := range markCols {
		top, bottom := cell(col, 0), cell(col, 1)
		if math.Abs(top-bottom) < 60 {
			return 0, -1
		}
		bits <<= 1
		if top > bottom {
			bits |= 1
		}
	}
	if bits&1 != 1 {
		return 0, -1
	}
	bits >>= 1
	return bits >> 12, bits & 0xfff
}

// wave returns the sound of a marked take: a burst of a few milliseconds at every
// click and silence between.
func (m marked) wave() []byte {
	n := int(float64(m.frames) / m.fps * clickRate)
	buf := make([]byte, 0, 2*n*m.channels)
	at := map[int]bool{}
	for _, c := range m.clicks {
		at[int(math.Round(c*clickRate))] = true
	}
	since := math.MaxInt32
	for i := range n {
		if at[i] {
			since = 0
		}
		v := 0.0
		if since < 480 {
			v = 0.5 * math.Exp(-float64(since)/100) * math.Cos(2*math.Pi*3000*float64(since)/clickRate)
		}
		since++
		for range m.channels {
			buf = binary.LittleEndian.AppendUint16(buf, uint16(int16(v*32767)))
		}
	}
	return buf
}

// write makes the take as dir/intake/name. Many tests have the same takes.
func (m marked) write(t testing.TB, tool *ffmpeg.Tool, dir string) {
	t.Helper()
	fixtureOf(t, fmt.Sprintf("take %+v", m), filepath.Join(dir, "intake"), func(dir string) {
		m.encode(t, tool, filepath.Join(dir, m.name))
	})
}

// encode makes the take's file.
func (m marked) encode(t testing.TB, tool *ffmpeg.Tool, target string) {
	t.Helper()
	var video bytes.Buffer
	for k := range m.frames {
		video.Write(m.frame(k))
	}
	w, h := m.size()
	args := []string{"-f", "rawvideo", "-pix_fmt", "gray", "-s", fmt.Sprintf("%dx%d", w, h), "-r", m.rate, "-i",
		"pipe:0"}
	if m.audio {
		pcm := filepath.Join(t.TempDir(), "sound.s16")
		if err := os.WriteFile(pcm, m.wave(), 0o666); err != nil {
			t.Fatal(err)
		}
		args = append(args, "-f", "s16le", "-ar", fmt.Sprint(clickRate), "-ac", fmt.Sprint(m.channels), "-i", pcm)
	}
	if m.storedTurned {
		args = append(args, "-vf", "transpose=cclock")
	}
	args = append(args, "-c:v", "libx264", "-preset", "ultrafast", "-crf", "18", "-pix_fmt", "yuv420p", "-c:a", "aac",
		"-b:a", "128k")
	args = append(args, m.extra...)
	made := target
	if m.storedTurned {
		made = filepath.Join(t.TempDir(), "turned.mp4")
	}
	run(t, tool, ffmpeg.Command{Args: append(args, "-y", made), Stdin: &video})
	if m.storedTurned {
		run(t, tool, ffmpeg.Command{Args: []string{"-i", made, "-c", "copy", "-metadata:s:v:0", "rotate=270", "-y",
			target}})
	}
}

func run(t testing.TB, tool *ffmpeg.Tool, c ffmpeg.Command) {
	t.Helper()
	if err := tool.Run(t.Context(), c); err != nil {
		t.Fatal(err)
	}
}

// film is a decoded film: gray frames and the sound of both channels.
type film struct {
	w, h       int
	fps, start float64 // frames a second, and guide time of the first
	frames     [][]byte
	sound      []float64 // left and right interleaved
}

// decodeFilm reads a finished film back.
func decodeFilm(t *testing.T, tool *ffmpeg.Tool, path string, w, h int) film {
	t.Helper()
	var pix bytes.Buffer
	sound := filepath.Join(t.TempDir(), "sound.f32")
	run(t, tool, ffmpeg.Command{Args: []string{"-i", path, "-map", "0:v", "-f", "rawvideo", "-pix_fmt", "gray",
		"pipe:1", "-map", "0:a", "-f", "f32le", sound}, Stdout: &pix})
	pcm, err := os.ReadFile(sound)
	if err != nil {
		t.Fatal(err)
	}
	f := film{w: w, h: h, fps: filmFPS, start: filmStart}
	for raw := pix.Bytes(); len(raw) >= w*h; raw = raw[w*h:] {
		f.frames = append(f.frames, raw[:w*h])
	}
	for raw := pcm; len(raw) >= 4; raw = raw[4:] {
		f.sound = append(f.sound, float64(math.Float32frombits(binary.LittleEndian.Uint32(raw))))
	}
	return f
}

// side returns f with the sound of one channel alone.
func (f film) side(channel int) film {
	sound := make([]float64, len(f.sound))
	for i := channel; i < len(sound); i += 2 {
		sound[i] = f.sound[i]
	}
	f.sound = sound
	return f
}

// peakNear returns the output time of the loudest sample within reach of a moment.
func (f film) peakNear(seconds, reach float64) float64 {
	best, at := 0.0, math.NaN()
	for i := int((seconds - reach) * clickRate); i < int((seconds+reach)*clickRate); i++ {
		if i < 0 || 2*i+1 >= len(f.sound) {
			continue
		}
		if v := math.Abs(f.sound[2*i] + f.sound[2*i+1]); v > best {
			best, at = v, float64(i)/clickRate
		}
	}
	return at
}

func findTool(t testing.TB) *ffmpeg.Tool {
	t.Helper()
	return ffmpegtest.Tool(t)
}

// command returns a run of ffmpeg whose output goes to out.
func command(out *bytes.Buffer, args ...string) ffmpeg.Command {
	return ffmpeg.Command{Args: args, Stdout: out}
}
