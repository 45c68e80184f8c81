package align

import (
	"fmt"
	"slices"
)

// Method is what a placement rests on, in a word or two for people and files.
type Method string

// The methods.
const (
	ByOffset     Method = "offset given" // the user wrote where the file lies
	ByCueGiven   Method = "cue given"    // the user wrote where the cue sounds in it
	ByCue        Method = "cue"
	ByCuePlaying Method = "cue+playing"
	ByPlaying    Method = "playing"
	ByDevice     Method = "device" // by the other recording of the player, which lies where it lies
	NoMethod     Method = "none"   // nothing tells where it lies
)

// Methods returns all methods, the most certain first.
func Methods() []Method {
	return []Method{ByOffset, ByCueGiven, ByCue, ByCuePlaying, ByPlaying, ByDevice, NoMethod}
}

// ParseMethod returns the method of that name. Any other text is an error.
func ParseMethod(text string) (Method, error) {
	if slices.Contains(Methods(), Method(text)) {
		return Method(text), nil
	}
	return NoMethod, fmt.Errorf("%q is no way to place a recording", text)
}
