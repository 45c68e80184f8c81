package demo

import (
	"context"
	"errors"
	"fmt"
	"io"
	"math"
	"path/filepath"
	"sort"
	"strconv"

	"ripieno/assemble/demo/figure"
	"ripieno/assemble/demo/instrument"
	"ripieno/assemble/ffmpeg"
	"ripieno/assemble/media"
	"ripieno/mix/audio"
)

// job makes all missing files of one player.
type job struct {
	*production
	player  *player
	dir     string
	tool    *ffmpeg.Tool
	bar     *progress
	film    bool // the camera's file is missing
	record  bool // the microphone's file is missing
	effort  float64
	acting  performance
	started float64 // guide time of the dry sound's first sample
	dry     []float64
}

// Units of work, so that the bar moves evenly: a second of sound synthesised
// or recorded, and a million pixels drawn and encoded.
const (
	soundEffort = 0.5
	pixelEffort = 0.1
)

// frameEffort returns the work for one frame.
func (c camera) frameEffort() float64 { return pixelEffort * float64(c.view.W*c.view.H) / 1e6 }

// missing lists the players with files to make, the longest work first so that
// the workers end together.
func (p *production) missing(dir string, tool *ffmpeg.Tool, bar *progress) []*job {
	var jobs []*job
	for i := range p.cast {
		q := &p.cast[i]
		j := &job{production: p, player: q, dir: dir, tool: tool, bar: bar}
		if q.camera != nil && !exists(j.path(q.camera.file)) {
			j.film = true
			j.effort += q.camera.clock.length*soundEffort + float64(q.camera.frames())*q.camera.frameEffort()
		}
		if q.mic != nil && !exists(j.path(q.mic.file)) {
			j.record = true
			j.effort += q.mic.clock.length * soundEffort
		}
		if j.film || j.record {
			bar.total += j.effort
			jobs = append(jobs, j)
		}
	}
	sort.SliceStable(jobs, func(a, b int) bool { return jobs[a].effort > jobs[b].effort })
	return jobs
}

func (j *job) path(file string) string { return filepath.Join(j.dir, filepath.FromSlash(file)) }

// make plays the part once and records it with every device.
func (j *job) make(ctx context.Context) error {
	q := j.player
	acting, err := perform(j.tempo, j.piece.Part(q.part), *q, newRandom(j.options.Seed, "timing "+q.take))
	if err != nil {
		return err
	}
	j.acting = acting
	first, last := math.Inf(1), math.Inf(-1)
	for _, m := range j.devices() {
		first = min(first, m.clock.offset)
		last = max(last, m.clock.guide(m.clock.length))
	}
	j.started = first - 0.1 // room for the interpolator
	frames := int((last + 0.1 - j.started) * instrument.Rate)
	j.dry = acting.dry(q.kind, q.cents, j.started, frames, newRandom(j.options.Seed, "sound "+q.take))
	if j.record {
		if err := j.makeSound(ctx); err != nil {
			return err
		}
	}
	if j.film {
		return j.makeFilm(ctx)
	}
	return nil
}

// devices returns all the player has, whether their files are missing or not: what
// is played must not depend on what is already there.
func (j *job) devices() []microphone {
	var all []microphone
	if j.player.camera != nil {
		all = append(all, j.player.camera.microphone)
	}
	if j.player.mic != nil {
		all = append(all, *j.player.mic)
	}
	return all
}

// hear records the performance with a device into a WAV file.
func (j *job) hear(ctx context.Context, m microphone, path string, f media.Format) error {
	block := m.record(j.dry, j.started, newRandom(j.options.Seed, "device "+m.file))
	_, err := media.CreateWAV(ctx, path, audio.NewMemory(block, m.rate), f)
	if err != nil && ctx.Err() == nil {
		return cannotWrite(j.path(m.file), err)
	}
	return err
}

// makeSound makes the separate recording: 24-bit WAV, or AAC from a phone.
func (j *job) makeSound(ctx context.Context) error {
	m := *j.player.mic
	final := j.path(m.file)
	tmp := part(final)
	defer quiet(tmp)
	if m.bitrate == "" {
		if err := j.hear(ctx, m, tmp, media.PCM24); err != nil {
			return err
		}
	} else {
		wav := part(final + ".wav")
		defer quiet(wav)
		if err := j.hear(ctx, m, wav, media.Float32); err != nil {
			return err
		}
		args := append([]string{"-y", "-i", "file:" + wav, "-map", "0:a:0"}, m.encoder(j.options)...)
		args = append(args, "-f", "ipod", "file:"+tmp)
		if err := j.tool.Run(ctx, ffmpeg.Command{Args: args}); err != nil {
			return err
		}
	}
	if err := j.verify(ctx, tmp, m, nil, 0); err != nil {
		return err
	}
	j.bar.add(m.clock.length*soundEffort, m.file)
	return commit(tmp, final)
}

// encoder returns the sound options of an output: one thread, no dates, no names,
// so that the bytes depend on the samples alone.
func (m microphone) encoder(o Options) []string {
	args := []string{"-c:a", "aac", "-b:a", m.bitrate, "-map_metadata", "-1", "-fflags", "+bitexact", "-flags:a",
		"+bitexact", "-threads", "1"}
	if o.Draft {
		args = append(args, "-aac_coder", "fast") // half the work, more noise at the same rate
	}
	return args
}

// makeFilm draws and encodes the phone's file.
func (j *job) makeFilm(ctx context.Context) error {
	c := *j.player.camera
	final := j.path(c.file)
	tmp, wav := part(final), part(final+".wav")
	defer quiet(tmp)
	defer quiet(wav)
	if err := j.hear(ctx, c.microphone, wav, media.Float32); err != nil {
		return err
	}
	j.bar.add(c.clock.length*soundEffort, c.file)
	frames := c.frames()
	pictures := &filming{job: j, camera: c, frames: frames,
		stage: figure.NewStage(j.player.look, j.acting.motion(j.tempo, j.player.phase), c.view),
		frame: figure.NewFrame(c.view.W, c.view.H)}
	if err := j.tool.Run(ctx, ffmpeg.Command{Args: c.arguments(j.tool, wav, tmp, j.options),
		Stdin: pictures}); err != nil {
		return err
	}
	if c.view.Turn != 0 {
		if err := setRotation(tmp, c.view); err != nil {
			return err
		}
	}
	if err := j.verify(ctx, tmp, c.microphone, &c, frames); err != nil {
		return err
	}
	return commit(tmp, final)
}

// repeat returns in how many frames a drawing is shown.
func (o Options) repeat() int {
	if o.Draft {
		return 15
	}
	return 1
}

// preset returns how much work encoding a picture may be.
func (o Options) preset() string {
	if o.Draft {
		return "ultrafast"
	}
	return "superfast"
}

// arguments returns the encoder run: frames on stdin, sound from wav, into tmp.
func (c camera) arguments(tool *ffmpeg.Tool, wav, tmp string, o Options) []string {
	rate := fmt.Sprintf("%d/%d", c.fpsNum, c.fpsDen)
	args := []string{"-y",
		"-f", "rawvideo", "-pixel_format", "yuv420p", "-video_size", fmt.Sprintf("%dx%d", c.view.W, c.view.H),
		"-framerate", rate, "-i", "pipe:0",
		"-i", "file:" + wav, "-map", "0:v:0", "-map", "1:a:0"}
	if c.vfr {
		args = append(args, "-vf", "settb=1/"+strconv.Itoa(unevenClock)+",setpts="+unevenTime, "-fps_mode",
			"passthrough", "-enc_time_base", "1:"+strconv.Itoa(unevenClock), "-video_track_timescale",
			strconv.Itoa(unevenClock))
	}
	args = append(args, "-c:v", "libx264", "-preset", o.preset(), "-tune", "animation", "-crf", "23", "-g", "60",
		"-threads", "1", "-flags:v", "+bitexact",
		"-colorspace", "bt709", "-color_primaries", "bt709", "-color_trc", "bt709", "-color_range", "tv")
	args = append(args, c.encoder(o)...)
	format := "mp4"
	if filepath.Ext(c.file) == ".mov" {
		format = "mov"
	}
	return append(args, "-movflags", "+faststart", "-f", format, "file:"+tmp)
}

// An uneven camera counts time in ticks of 1/90000 s. A frame lasts 3000 of
// them, more or less some; one in 41 is lost; in the middle of the piece the
// light seems poor and the camera takes 24 frames a second. The two
// formulations, here and below, say the same in whole numbers.
const (
	unevenClock = 90000
	unevenTime  = "'N*3000+floor(N/41)*3000+mod(N*5,7)*60+750*(clip(N,400,700)-400)'"
)

// unevenTicks returns the time of frame n of an uneven camera in ticks.
func unevenTicks(n int) int {
	return n*3000 + n/41*3000 + n*5%7*60 + 750*(min(max(n, 400), 700)-400)
}

// moment returns the time of frame n in the file, in seconds.
func (c camera) moment(n int) float64 {
	if c.vfr {
		return float64(unevenTicks(n)) / unevenClock
	}
	return float64(n) * float64(c.fpsDen) / float64(c.fpsNum)
}

// frames returns the number of frames in the recording.
func (c camera) frames() int {
	return sort.Search(1<<20, func(n int) bool { return c.moment(n) >= c.clock.length })
}

// filming is the stream of raw frames that the encoder reads.
type filming struct {
	job    *job
	camera camera
	frames int
	stage  *figure.Stage
	frame  *figure.Frame
	next   int    // frame to draw
	rest   []byte // of the frame that is being read
}

// Read implements io.Reader. Frames are drawn as the encoder asks for them.
func (f *filming) Read(p []byte) (int, error) {
	if len(f.rest) == 0 {
		if f.next == f.frames {
			return 0, io.EOF
		}
		c := f.camera
		if f.next%f.job.options.repeat() == 0 {
			f.stage.Draw(f.frame, c.clock.guide(c.moment(f.next)))
		}
		f.next++
		f.rest = f.frame.Pix
		if f.next%15 == 0 || f.next == f.frames {
			done := 15
			if f.next%15 != 0 {
				done = f.next % 15
			}
			f.job.bar.add(float64(done)*c.frameEffort(), c.file)
		}
	}
	n := copy(p, f.rest)
	f.rest = f.rest[n:]
	return n, nil
}

// verify looks at a finished file before it gets its name: an encoder's exit 0
// is no proof.
func (j *job) verify(ctx context.Context, path string, m microphone, c *camera, frames int) error {
	info, err := media.Probe(ctx, j.tool, path)
	if err != nil {
		return fmt.Errorf("demo: %s as it was just written: %w", m.file, err)
	}
	wrong := func(format string, args ...any) error {
		return fmt.Errorf("demo: %s as it was just written: %s", m.file, fmt.Sprintf(format, args...))
	}
	a := info.Audio
	if a == nil || a.Rate != m.rate || a.Channels != m.channels || math.Abs(a.Duration-m.clock.length) > 0.1 {
		return wrong("sound is %+v, not %d Hz, %d channels, %.2f s", a, m.rate, m.channels, m.clock.length)
	}
	if c == nil {
		return nil
	}
	v := info.Video
	if v == nil || v.W != c.view.W || v.H != c.view.H || v.Rotation != c.view.Turn {
		return wrong("picture is %+v, not %dx%d turned by %d", v, c.view.W, c.view.H, c.view.Turn)
	}
	n, err := media.CountFrames(path)
	if err != nil {
		return errors.Join(wrong("cannot count frames"), err)
	}
	if n != frames {
		return wrong("%d frames, not %d", n, frames)
	}
	return nil
}
