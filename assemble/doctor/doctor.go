// Package doctor looks at the machine that the program runs on: is ffmpeg there and
// whole, is there room, which scripts can be drawn. It judges no production and
// changes nothing. How long a film takes here is for its caller to find out, with
// the recording that [WriteTrial] makes.
package doctor

import (
	"context"
	"errors"
	"fmt"
	"runtime"

	"ripieno/assemble/build"
	"ripieno/assemble/fault"
	"ripieno/assemble/ffmpeg"
	"ripieno/assemble/store"
	"ripieno/layout/card"
)

// Report is what was found.
type Report struct {
	Program build.Info `json:"program"`
	Cores   int        `json:"cores"`
	Memory  int64      `json:"memory_bytes"` // of the machine; 0 when the system does not tell
	Folder  string     `json:"folder"`       // the production's
	Free    int64      `json:"free_bytes"`   // on the folder's disk; 0 when nobody knows
	FFmpeg  *FFmpeg    `json:"ffmpeg"`       // null when there is none that can be used
	Scripts []Script   `json:"scripts"`
	// Minute is how many seconds a minute of a film of [TrialPlayers] players takes
	// here, the first time, with all that the machine does besides; null when it was not tried.
	Minute   *float64  `json:"render_minute_s"`
	Problems []Problem `json:"problems"`
	// Bundle is the text for asking help that was written.
	Bundle string `json:"bundle,omitempty"`
}

// FFmpeg is the ffmpeg that is used.
type FFmpeg struct {
	Path    string `json:"path"`
	Probe   string `json:"ffprobe"`
	Version string `json:"version"`
	Parts   []Part `json:"parts"`
}

// Part is an encoder or a filter that is used.
type Part struct {
	Name    string `json:"name"`
	Kind    string `json:"kind"` // "encoder" or "filter"
	Serves  string `json:"serves"`
	Has     bool   `json:"there"`
	Without string `json:"without,omitempty"` // what is done where it is missing; "" when nothing can be made
}

// Script is a way of writing, and whether the program's own fonts can draw it.
type Script struct {
	Name string `json:"name"`
	Has  bool   `json:"there"`
}

// Problem is something that keeps the program from doing all it could.
type Problem struct {
	What  string `json:"what"`
	Mend  string `json:"mend"`  // what to do about it: a command where there is one
	Grave bool   `json:"grave"` // nothing can be made before it is mended
}

// Below these a machine is told to be small. A film of nine players in Full HD keeps
// about a gigabyte in .ripieno, and a worker may take 600 MB (common practice, no
// source).
const (
	leastMemory = 2 << 30
	leastFree   = 5 << 30
)

// Examine looks at this machine. folder is where a production is or is to be. It
// returns the ffmpeg that can be used, nil for none, and fails only when ctx ends.
func Examine(ctx context.Context, programs ffmpeg.Options, folder string) (Report, *ffmpeg.Tool, error) {
	r := Report{Program: build.Read(), Cores: runtime.NumCPU(), Memory: memory(), Folder: folder, Scripts: scripts(),
		Problems: []Problem{}}
	tool, err := programs.Find(ctx)
	if ctx.Err() != nil {
		return r, nil, ctx.Err()
	}
	if err != nil {
		r.grave(err)
	} else {
		err := tool.RequireAll()
		if err != nil { // before what is only a pity
			r.grave(err)
		}
		if r.describe(tool); err != nil {
			tool = nil
		}
	}
	if free, err := store.Free(folder); err == nil {
		if r.Free = free; free < leastFree {
			r.add(fmt.Sprintf("only %s are free for the production's folder", Size(free)),
				"free some space, or put the production on another disk")
		}
	}
	if r.Memory > 0 && r.Memory < leastMemory {
		r.add("this machine has only "+Size(r.Memory)+" of memory", "use --workers 1, and close other programs")
	}
	return r, tool, nil
}

// Ready reports whether films can be made.
func (r Report) Ready() bool {
	for _, p := range r.Problems {
		if p.Grave {
			return false
		}
	}
	return true
}

func (r *Report) add(what, mend string) {
	r.Problems = append(r.Problems, Problem{What: what, Mend: mend})
}

// grave adds what is wrong with ffmpeg.
func (r *Report) grave(err error) {
	p := Problem{What: err.Error(), Grave: true}
	if f := (*fault.Fault)(nil); errors.As(err, &f) {
		p.Mend = f.Hint
	}
	r.Problems = append(r.Problems, p)
}

// describe takes down what an ffmpeg has.
func (r *Report) describe(tool *ffmpeg.Tool) {
	r.FFmpeg = &FFmpeg{Path: tool.FFmpeg, Probe: tool.FFprobe, Version: tool.Version.Text}
	for _, p := range ffmpeg.Parts() {
		kind := "encoder"
		if p.Filter {
			kind = "filter"
		}
		r.FFmpeg.Parts = append(r.FFmpeg.Parts, Part{p.Name, kind, p.Serves, tool.Has(p), p.Without})
		if !tool.Has(p) && !p.Needed() {
			r.add(fmt.Sprintf("this ffmpeg has no %s (for %s): %s", p.Name, p.Serves, p.Without),
				"install a full build "+ffmpeg.FullBuild())
		}
	}
}

// samples are letters of scripts that names and titles are written in.
var samples = []struct{ name, letters string }{
	{"Latin", "AÅÇéßłőžğ"}, {"Greek", "Ωάέ"}, {"Cyrillic", "ЖїЂ"}, {"Hebrew", "אבג"}, {"Arabic", "عربي"},
	{"Devanagari", "अआक"}, {"Chinese", "音楽"}, {"Japanese", "おんカ"}, {"Korean", "음악"},
}

// scripts returns what the fonts in the program can draw. Others need a font in the
// manifest.
func scripts() []Script {
	var all []Script
	for _, s := range samples {
		all = append(all, Script{s.name, len(card.Missing(s.letters)) == 0})
	}
	return all
}

// Size returns a number of bytes as people read it.
func Size(n int64) string {
	if n < 1e9 {
		return fmt.Sprintf("%.0f MB", float64(n)/1e6)
	}
	return fmt.Sprintf("%.1f GB", float64(n)/1e9)
}
