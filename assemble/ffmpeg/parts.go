package ffmpeg

import (
	"fmt"
	"slices"
	"strings"

	"ripieno/assemble/fault"
)

// Part is an encoder or a filter that this program uses and that a build of
// ffmpeg may lack.
type Part struct {
	Name   string // ffmpeg's
	Filter bool   // an encoder otherwise
	// Serves says what it is used for.
	Serves string
	// Without says what is done where it is missing, and what that costs. "" is
	// for parts without which nothing can be made: their lack is refused at the
	// start of every verb.
	Without string
}

// Needed reports whether nothing can be made without the part.
func (p Part) Needed() bool { return p.Without == "" }

// parts are all encoders in software and all filters that commands of this
// program name. Encoders of hardware are tried where they are asked for. Which
// builds lack which: libx264, libx265, boxblur and perspective need a build under the
// GPL (Fedora's ffmpeg-free has neither encoder); zscale needs libzimg, which Homebrew's
// ffmpeg has been without since release 8; libsvtav1 needs its library, which Ubuntu
// 22.04 and static builds lack. The other filters are ffmpeg's own: only builds that
// were cut down for another purpose lack them.
var parts = []Part{
	{Name: "libx264", Serves: "every film and every picture on the way to it"},
	{Name: "aac", Serves: "the sound of every film"},
	{Name: "libx265", Serves: "films with codec: hevc",
		Without: "such films are refused; write codec: h264, which makes them about a third larger"},
	{Name: "libsvtav1", Serves: "films with codec: av1",
		Without: "such films are refused; write codec: h264, which makes them about a third larger"},
	{Name: "libmp3lame", Serves: "the guide as MP3",
		Without: "click is refused, since call sheets send players to that file"},
	{Name: "zscale", Filter: true, Serves: "takes in HDR and in wide colours; also fast scaling",
		Without: "takes in HDR are refused, wide colours come out a little dull, conforming a take needs up to " +
			"three times as long"},
	{Name: "tonemap", Filter: true, Serves: "takes in HDR", Without: "takes in HDR are refused"},
	{Name: "bwdif", Filter: true, Serves: "interlaced takes"},
	{Name: "aresample", Filter: true, Serves: "the sound of takes"},
	{Name: "concat", Filter: true, Serves: "takes in parts"},
	{Name: "crop", Filter: true, Serves: "tiles"},
	{Name: "fade", Filter: true, Serves: "the beginning and the end of films"},
	{Name: "field", Filter: true, Serves: "rough cuts"},
	{Name: "format", Filter: true, Serves: "every picture"},
	{Name: "fps", Filter: true, Serves: "the rate of takes"},
	{Name: "boxblur", Filter: true, Serves: "what is behind a picture that does not fill its tile"},
	{Name: "hflip", Filter: true, Serves: "mirrored takes"},
	{Name: "loop", Filter: true, Serves: "cards"},
	{Name: "lutrgb", Filter: true, Serves: "the light of takes"},
	{Name: "lutyuv", Filter: true, Serves: "what is behind the grid"},
	{Name: "overlay", Filter: true, Serves: "labels"},
	{Name: "pad", Filter: true, Serves: "tiles"},
	{Name: "perspective", Filter: true, Serves: "slow push-ins"},
	{Name: "scale", Filter: true, Serves: "every picture"},
	{Name: "select", Filter: true, Serves: "the frames of takes"},
	{Name: "setparams", Filter: true, Serves: "the colours of every film"},
	{Name: "setpts", Filter: true, Serves: "the time of takes"},
	{Name: "setsar", Filter: true, Serves: "every picture"},
	{Name: "settb", Filter: true, Serves: "the time of takes"},
	{Name: "tpad", Filter: true, Serves: "takes that end early"},
	{Name: "transpose", Filter: true, Serves: "takes from phones held upright"},
	{Name: "trim", Filter: true, Serves: "segments"},
	{Name: "vflip", Filter: true, Serves: "takes from cameras held upside down"},
	{Name: "xfade", Filter: true, Serves: "transitions"},
	{Name: "xstack", Filter: true, Serves: "the grid"},
}

// Parts returns all encoders in software and all filters that are used, those
// without which nothing works first.
func Parts() []Part {
	all := slices.Clone(parts)
	slices.SortStableFunc(all, func(a, b Part) int { return min(len(a.Without), 1) - min(len(b.Without), 1) })
	return all
}

// Has reports whether this ffmpeg has a part.
func (t *Tool) Has(p Part) bool {
	if p.Filter {
		return t.Filter(p.Name)
	}
	return t.Encoder(p.Name)
}

// Missing returns the parts that this ffmpeg was built without.
func (t *Tool) Missing() []Part {
	return slices.DeleteFunc(Parts(), t.Has)
}

// RequireAll returns a fault of kind FFmpeg that names the parts that this ffmpeg
// lacks and without which nothing can be made, with the command that mends it
// here; nil when it has them all.
func (t *Tool) RequireAll() error {
	var names []string
	for _, p := range t.Missing() {
		if p.Needed() {
			names = append(names, p.Name)
		}
	}
	return t.without(names)
}

// Require returns a fault of kind FFmpeg that names the encoders this ffmpeg was
// built without, and nil when it has them all.
func (t *Tool) Require(encoders ...string) error {
	return t.without(slices.DeleteFunc(slices.Clone(encoders), t.Encoder))
}

// RequireFilters does what [Tool.Require] does, for filters.
func (t *Tool) RequireFilters(filters ...string) error {
	return t.without(slices.DeleteFunc(slices.Clone(filters), t.Filter))
}

func (t *Tool) without(names []string) error {
	if len(names) == 0 {
		return nil
	}
	return fault.New(fault.FFmpeg, t.FFmpeg,
		fmt.Sprintf("this ffmpeg %s was built without %s", t.Version.Text, strings.Join(names, " and ")),
		"install a full build "+FullBuild())
}
