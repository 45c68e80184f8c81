package picture

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"time"

	"ripieno/assemble/fault"
	"ripieno/assemble/ffmpeg"
	"ripieno/assemble/graph"
	"ripieno/assemble/media"
	"ripieno/assemble/plan"
	"ripieno/layout"
	"ripieno/layout/shot"
)

// What a film is encoded as is the production's word (codec: in the manifest),
// with what is the machine's: the choice of encoder. Either way the same film is
// asked for, and the result says which encoder made it.

// hardwareSessions is how many segments go to the hardware at once. Drivers
// refuse more than a few sessions; two are what even old ones gave (from
// memory).
const hardwareSessions = 2

// triedFrames are encoded to find out whether an encoder works.
const triedFrames = 4

// triedFor is how long an encoder may take over them: a driver that hangs must
// not hold up the run.
const triedFor = 30 * time.Second

// picked is a film's codec and canvas, for which an encoder is picked.
type picked struct {
	codec  plan.Codec
	canvas layout.Canvas
}

// Codings are the encoders of finished films. A film that is not in it is encoded by
// libx264.
type Codings map[picked]graph.Coding

// Of returns how a film is encoded.
func (c Codings) Of(f plan.Film) graph.Coding {
	if f.Rough {
		return graph.Coding{}
	}
	return c[picked{f.Codec, f.Canvas}]
}

// Encoder returns ffmpeg's name of what encodes a film.
func (m *Maker) Encoder(f plan.Film) string { return m.codings.Of(f).Name() }

// Picker finds encoders.
type Picker struct {
	Tool   *ffmpeg.Tool
	Choice string // graph.UseSoftware and its like, or a family
	Rate   shot.Rate
	Tell   func(text string) // what a person should know
}

// Pick finds an encoder for every finished film before any work is done.
func (p Picker) Pick(ctx context.Context, wants []plan.Want) (Codings, error) {
	codings := Codings{}
	for _, w := range wants {
		key := picked{w.Codec, w.Canvas}
		if _, known := codings[key]; known || w.Rough {
			continue
		}
		c, err := p.pick(ctx, w)
		if err != nil {
			return nil, err
		}
		codings[key] = c
	}
	return codings, nil
}

// pick returns the encoder of one film. With auto what does not work is told and
// software takes over; with any other word the run ends, since a person asked for
// just that.
func (p Picker) pick(ctx context.Context, w plan.Want) (graph.Coding, error) {
	var tried []string
	if p.Choice != graph.UseSoftware {
		for _, e := range graph.Encoders(w.Codec) {
			if e.Software() || p.Choice != graph.UseHardware && p.Choice != graph.UseAuto && p.Choice != e.Family {
				continue
			}
			if !p.Tool.Encoder(e.Name) {
				tried = append(tried, e.Name+": not in this ffmpeg")
				continue
			}
			brief, end := context.WithTimeout(ctx, triedFor)
			c, err := p.try(brief, e.Name, w.Canvas)
			late := brief.Err() != nil
			end()
			if err == nil || ctx.Err() != nil {
				return c, err
			}
			if late {
				err = fmt.Errorf("no answer in %v", triedFor)
			}
			tried = append(tried, e.Name+": "+whyNot(err))
		}
		if p.Choice != graph.UseAuto {
			return graph.Coding{}, p.noHardware(w, tried)
		}
	}
	for _, e := range graph.Encoders(w.Codec) {
		if !e.Software() || !p.Tool.Encoder(e.Name) {
			continue
		}
		if tried != nil {
			p.Tell(fmt.Sprintf("no hardware encodes %s here, so %s does it in software (%s)", codecName(w.Codec),
				e.Name, strings.Join(tried, "; ")))
		}
		// The usual encoder is the zero value, which is in no key.
		if e.Name == (graph.Coding{}).Name() {
			return graph.Coding{}, nil
		}
		return graph.Coding{Encoder: e.Name}, nil
	}
	return graph.Coding{}, p.noSoftware(w)
}

// codecName returns a codec as people write it.
func codecName(codec plan.Codec) string {
	if codec == plan.H264 {
		return "H.264"
	}
	return strings.ToUpper(string(codec))
}

// noHardware says what was tried in vain.
func (p Picker) noHardware(w plan.Want, tried []string) error {
	what := fmt.Sprintf("no hardware (%s) that encodes %s works here", p.Choice, codecName(w.Codec))
	if p.Choice == graph.UseHardware {
		what = fmt.Sprintf("no hardware that encodes %s works here", codecName(w.Codec))
	}
	if tried == nil {
		tried = []string{"there is no such encoder"}
	}
	return fault.At(fault.FFmpeg, w.Mark, what+"; tried "+strings.Join(tried, "; "),
		"use --encoder software, or auto for hardware where it works; else install the driver of the graphics "+
			"device and an ffmpeg that was built for it")
}

// noSoftware says which encoder is missing and how to get it.
func (p Picker) noSoftware(w plan.Want) error {
	var names []string
	for _, e := range graph.Encoders(w.Codec) {
		if e.Software() {
			names = append(names, e.Name)
		}
	}
	return fault.At(fault.FFmpeg, w.Mark,
		fmt.Sprintf("%q is to be %s, and this ffmpeg %s was built without %s", w.Name, codecName(w.Codec),
			p.Tool.Version.Text, strings.Join(names, " or ")),
		"install a full build "+ffmpeg.FullBuild()+", or write codec: h264, which plays everywhere")
}

// try encodes a few frames with hardware. What it writes at the head of
// the stream becomes part of the coding: other hardware, or another driver,
// that writes other heads must not share a film with this one. Of the head 64 bits
// are kept, enough to tell two apart that are there by accident.
func (p Picker) try(ctx context.Context, name string, canvas layout.Canvas) (graph.Coding, error) {
	dir, err := os.MkdirTemp("", "ripieno-encoder-*")
	if err != nil {
		return graph.Coding{}, err
	}
	defer os.RemoveAll(dir)
	c := graph.Coding{Encoder: name}
	path := filepath.Join(dir, "try.mp4")
	cmd, err := graph.Try(c, canvas, p.Rate, triedFrames, "file:"+path)
	if err != nil {
		return graph.Coding{}, err
	}
	if err := p.Tool.RunGraph(ctx, cmd, path, 0, nil); err != nil {
		return graph.Coding{}, err
	}
	got, err := media.CountFrames(path)
	if err == nil && got != triedFrames {
		err = fmt.Errorf("of %d frames it wrote %d", triedFrames, got)
	}
	if err != nil {
		return graph.Coding{}, err
	}
	head, err := media.DecoderConfig(path)
	if err != nil {
		return graph.Coding{}, err
	}
	sum := sha256.Sum256(head)
	c.Headers = hex.EncodeToString(sum[:8])
	return c, nil
}

// logPrefix is what stands before the words in a line of ffmpeg's log: who
// says it, and how grave it is.
var logPrefix = regexp.MustCompile(`^(\[[^\]]*\] *)*`)

// whyNot returns the first thing that ffmpeg said when an encoder failed, which is
// the encoder's or its driver's own word.
func whyNot(err error) string {
	if exit, ok := errors.AsType[*ffmpeg.ExitError](err); ok && len(exit.Tail) > 0 {
		return strings.TrimRight(logPrefix.ReplaceAllString(exit.Tail[0], ""), ".")
	}
	return err.Error()
}

// sessions has room for what the hardware may do at once.
type sessions chan struct{}

// take waits for a free session of the hardware, which the function it returns
// gives back. Software has no need of one.
func (s sessions) take(ctx context.Context, c graph.Coding) (free func(), err error) {
	if !c.Hardware() {
		return func() {}, nil
	}
	select {
	case s <- struct{}{}:
		return func() { <-s }, nil
	case <-ctx.Done():
		return nil, ctx.Err()
	}
}

// sameHeads returns an error when the segments of a film cannot share what a
// decoder is told in advance. Only in H.264 of libx264 they need not: there
// joining repeats it inside the stream. It reads the head of every file.
func sameHeads(paths []string) error {
	var first []byte
	for i, path := range paths {
		head, err := media.DecoderConfig(path)
		if err != nil {
			return err
		}
		if i == 0 {
			first = head
		} else if !slices.Equal(first, head) {
			return fault.New(fault.FFmpeg, "",
				fmt.Sprintf("segment %d of %d was encoded so differently from the first that they do not join", i+1,
					len(paths)),
				"run ripieno clean, then render with --encoder software; or write codec: h264")
		}
	}
	return nil
}
