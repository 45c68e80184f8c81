package picture

import (
	"bytes"
	"cmp"
	"context"
	"fmt"
	"os"
	"sync"

	"ripieno/assemble/ffmpeg"
	"ripieno/assemble/graph"
	"ripieno/assemble/plan"
	"ripieno/assemble/reading"
	"ripieno/layout/shot"
)

// Decoders finds out which takes hardware may decode. How H.264 and HEVC are decoded
// is laid down to the bit, so hardware that works gives what software gives, and a
// result has one key whichever made it. That is not taken on trust: the first frames
// of each codec and profile are conformed both ways, and where one byte differs
// software decodes all of it. The zero value is software.
type Decoders struct {
	Tool   *ffmpeg.Tool
	Choice string            // graph.UseSoftware, graph.UseAuto or one of graph.Devices
	Tell   func(text string) // what a person should know

	mu     sync.Mutex
	proved map[kindOfPicture]*proof
	lent   chan struct{} // one for each process that decodes by a device now; see slots
}

// mostLent is how many processes decode by a device at once. Each holds some 0.3 GB of the
// device's memory. Opening one takes 0.9 s, and longer while others do: eight processes of a
// take of 32 s each end after 5.5 s, one after 3.2 (NVDEC, 16 threads).
const mostLent = 12

// kindOfPicture is what one proof holds for.
type kindOfPicture struct {
	codec, format string
	draft         bool
}

// proof is what was found out about a kind of picture.
type proof struct {
	known  chan struct{} // closed as soon as device is
	device string        // that decodes it; "" for software
}

// provedFrames is how many frames are compared: more than any group of pictures that
// refer to each other across a key frame. At 25 frames a second this is about two
// seconds.
const provedFrames = 48

// decodable reports whether hardware may be asked: for whole frames of 4:2:0 in limited
// range, which it gives in a form that becomes the decoder's without loss.
func (d *Decoders) decodable(c plan.Conform) bool {
	p := c.Picture
	return d != nil && cmp.Or(d.Choice, graph.UseSoftware) != graph.UseSoftware && p.Codec != "" &&
		p.Fields == [2]int{} && p.Range != "pc" && (p.PixFmt == "yuv420p" || p.PixFmt == "yuv420p10le")
}

// lend returns the device that decodes c, and a function that gives it back. It is "", for
// software, as [Decoders.pick] says, and while as many processes as may have a device: the
// bytes are the same. Who is patient waits for them: a whole take is decoded by a device in a
// fifth of the processor's time.
func (d *Decoders) lend(ctx context.Context, c plan.Conform, src graph.Source, rate shot.Rate,
	tmp string, patient bool) (device string, free func()) {
	device = d.pick(ctx, c, src, rate, tmp)
	if device == "" {
		return "", func() {}
	}
	lent := d.slots()
	free = func() { <-lent }
	select {
	case lent <- struct{}{}:
		return device, free
	default:
	}
	if patient {
		select {
		case lent <- struct{}{}:
			return device, free
		case <-ctx.Done():
		}
	}
	return "", func() {}
}

// slots returns the channel that has room for those who may have a device.
func (d *Decoders) slots() chan struct{} {
	d.mu.Lock()
	defer d.mu.Unlock()
	if d.lent == nil {
		d.lent = make(chan struct{}, mostLent)
	}
	return d.lent
}

// hasRoom reports whether a device decodes c, as far as is known, and one more process may
// use it.
func (d *Decoders) hasRoom(c plan.Conform) bool {
	if !d.decodable(c) {
		return false
	}
	d.mu.Lock()
	p := d.proved[kindOf(c)]
	d.mu.Unlock()
	if p != nil {
		select {
		case <-p.known:
			if p.device == "" {
				return false
			}
		default:
		}
	}
	return len(d.slots()) < mostLent
}

// kindOf returns the kind of a picture.
func kindOf(c plan.Conform) kindOfPicture {
	return kindOfPicture{c.Picture.Codec, c.Picture.PixFmt, c.Draft}
}

// pick returns the device that decodes c, "" for software. tmp is a name beside
// which it may write. Who is first to ask for a kind proves it, and others of the kind wait
// for that, which takes some two seconds: decoded in software meanwhile, a third of nine takes
// was done when the device was known. d may be nil.
func (d *Decoders) pick(ctx context.Context, c plan.Conform, src graph.Source, rate shot.Rate, tmp string) string {
	if !d.decodable(c) {
		return ""
	}
	kind := kindOf(c)
	d.mu.Lock()
	p := d.proved[kind]
	first := p == nil
	if first {
		if d.proved == nil {
			d.proved = map[kindOfPicture]*proof{}
		}
		p = &proof{known: make(chan struct{})}
		d.proved[kind] = p
	}
	d.mu.Unlock()
	if first {
		p.device = d.prove(ctx, c, src, rate, tmp)
		close(p.known)
	}
	select {
	case <-p.known:
		return p.device
	case <-ctx.Done():
		return ""
	}
}

// prove tries the devices in turn and returns the first that gives the bytes that
// software gives.
func (d *Decoders) prove(ctx context.Context, c plan.Conform, src graph.Source, rate shot.Rate, tmp string) string {
	c.Frames.To = min(c.Frames.To, c.Frames.From+provedFrames)
	want, err := d.sample(ctx, c, src, rate, tmp+".software")
	if err != nil {
		return "" // conforming will say what is wrong
	}
	devices := graph.Devices()
	if d.Choice != graph.UseAuto {
		devices = []string{d.Choice}
	}
	why := ""
	for _, device := range devices {
		src.Device = device
		got, err := d.sample(ctx, c, src, rate, tmp+"."+device)
		switch {
		case err == nil && bytes.Equal(got, want):
			return device
		case err == nil:
			why = device + " decodes it otherwise than software does"
		// Of several devices that are only tried, those that are not there are no
		// news.
		case d.Choice != graph.UseAuto:
			why = fmt.Sprintf("%s does not work here (%v)", device, err)
		}
	}
	if why != "" && ctx.Err() == nil {
		d.tell(fmt.Sprintf("%s is decoded in software: %s", c.Picture.Codec, why))
	}
	return ""
}

// sample returns the bytes of c. It fails after triedFor: a driver that hangs must
// not hold up the run.
func (d *Decoders) sample(ctx context.Context, c plan.Conform, src graph.Source, rate shot.Rate,
	tmp string) ([]byte, error) {
	defer os.Remove(tmp)
	ctx, cancel := context.WithTimeout(ctx, triedFor)
	defer cancel()
	cmd, err := graph.Conform(c, src, rate, "file:"+tmp)
	if err != nil {
		return nil, err
	}
	limits := reading.Limits(c, costConform*provedFrames*mega(c.Picture.W, c.Picture.H))
	if err := reading.Take(ctx, d.Tool, cmd, c.Picture, reading.Job{Tmp: tmp, Limits: onDevice(limits, src.Device),
		Before: max(0, c.Picture.File(rate.Seconds(c.Frames.From))-src.Open)}); err != nil {
		return nil, err
	}
	return os.ReadFile(tmp)
}

// tell tells the person what was decided about a device, if anybody listens.
func (d *Decoders) tell(text string) {
	if d.Tell != nil {
		d.Tell(text)
	}
}

// onDevice takes the bound of memory away from a process that uses a device: drivers
// map its memory, tens of gigabytes, into the process.
func onDevice(l ffmpeg.Limits, device string) ffmpeg.Limits {
	if device != "" {
		l.Memory = 0
	}
	return l
}
