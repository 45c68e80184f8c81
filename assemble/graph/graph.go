// Package graph turns nodes of a plan into arguments for ffmpeg. It is pure
// and the only importer of ffmpeg-go, which builds the filter graphs; nothing
// here starts a process.
//
// Only numbers and words chosen here ever enter a filter graph: names that
// people type reach ffmpeg as whole arguments or not at all. ffmpeg-go panics
// on misuse and takes two inputs with equal parameters for one, so every build
// runs under recover and its inputs are counted.
package graph

import (
	"fmt"
	"strconv"
	"strings"

	ffmpeg "github.com/u2takey/ffmpeg-go"

	"ripieno/assemble/plan"
	"ripieno/layout/shot"
)

// Rule is the version of everything this package decides. It is part of every
// key in the store, so a change of a filter or a setting makes new outputs.
const Rule = 10

// Command is one run of ffmpeg.
type Command struct {
	before, after []string
	// Graph is the filter graph, too long for an argument: the caller writes
	// it to a file and names that file to Argv. Empty for none.
	Graph string
}

// SourceOf returns a take's picture as an input. options, in pairs, are the
// limits for files from strangers; zscale tells that this ffmpeg has it.
func SourceOf(pic plan.Picture, options []string, zscale bool) Source {
	opts := map[string]string{}
	for i := 0; i+1 < len(options); i += 2 {
		opts[strings.TrimPrefix(options[i], "-")] = options[i+1]
	}
	return Source{Options: opts, Path: "file:" + pic.Path, Stream: pic.Stream, Zscale: zscale}
}

// Argv returns the argument list. flag is the option by which the ffmpeg at hand
// reads a graph from a file, and file is where the graph was written.
func (c Command) Argv(flag, file string) []string {
	args := append([]string{}, c.before...)
	if c.Graph != "" {
		args = append(args, flag, file)
	}
	return append(args, c.after...)
}

// Filters returns the text of the graph, "" for none.
func (c Command) Filters() string { return c.Graph }

// Source is an input file with the options that must precede it.
type Source struct {
	Options map[string]string
	Path    string
	Stream  int
	// Open is the second of the file, a whole number of its ticks, from which its
	// reader begins at or before the first frame wanted. Indexed tells that it is known.
	Open    float64
	Indexed bool
	// Device is the kind of hardware that decodes it, in ffmpeg's words; "" is software.
	Device string
	// Zscale tells that this ffmpeg has the filter zscale.
	Zscale bool
	// Threads is how many the decoder may use; 0 is as many as it likes. They
	// make no difference to a whole picture, and one to a damaged one.
	Threads int
}

// input returns the source as an input of a command, with more options than it has
// itself.
func (s Source) input(extra ffmpeg.KwArgs) *ffmpeg.Stream {
	args := ffmpeg.KwArgs{}
	for k, v := range s.Options {
		args[k] = v
	}
	for k, v := range extra {
		args[k] = v
	}
	return ffmpeg.Input(s.Path, args).Get(strconv.Itoa(s.Stream))
}

// build compiles a graph of the given number of inputs.
func build(inputs int, make func() *ffmpeg.Stream) (c Command, err error) {
	defer func() {
		if p := recover(); p != nil {
			err = fmt.Errorf("graph: %v", p)
		}
	}()
	args := make().GetArgs()
	seen := 0
	for i := 0; i < len(args); i++ {
		switch args[i] {
		case "-i":
			seen++
		case "-filter_complex":
			c.Graph = args[i+1]
			c.before, c.after = args[:i:i], args[i+2:]
		}
	}
	if seen != inputs {
		return Command{}, fmt.Errorf("graph: %d inputs went in and %d came out", inputs, seen)
	}
	if c.Graph == "" {
		c.before = args
	}
	return c, nil
}

// number prints x for a filter or option: shortest exact form, never with an
// exponent, which not every option understands.
func number(x float64) string { return strconv.FormatFloat(x, 'f', -1, 64) }

// filter appends a filter whose options are written in place.
func filter(s *ffmpeg.Stream, name string, args ...string) *ffmpeg.Stream {
	return s.Filter(name, ffmpeg.Args(args))
}

// timescale returns the unit of video timestamps in files we write: a whole
// number of units a frame.
func timescale(r shot.Rate) string {
	if r.Num < 1000 {
		return strconv.Itoa(r.Num * 1000)
	}
	return strconv.Itoa(r.Num)
}

// bt709 tags an output as what it is.
func bt709(args ffmpeg.KwArgs) ffmpeg.KwArgs {
	args["color_primaries"], args["color_trc"], args["colorspace"], args["color_range"] = "bt709", "bt709", "bt709",
		"tv"
	return args
}

// tagged tells every frame what it is. Encoders take that from frames since ffmpeg 7,
// and what [bt709] says of the output is not enough there; before, it changes nothing.
func tagged(s *ffmpeg.Stream) *ffmpeg.Stream {
	return filter(s, "setparams", "range=tv", "color_primaries=bt709", "color_trc=bt709", "colorspace=bt709")
}

// plain strips what would differ between runs or leak from a take.
func plain(args ffmpeg.KwArgs) ffmpeg.KwArgs {
	args["map_metadata"], args["map_chapters"] = "-1", "-1"
	args["fflags"], args["flags:v"] = "+bitexact", "+bitexact"
	return args
}

// join returns a helper for xstack's layout and the like.
func join(parts []string) string { return strings.Join(parts, "|") }
