package graph

import (
	"fmt"
	"slices"
	"strings"

	"ripieno/assemble/fault"
)

// What encodes a finished film is chosen by one of these words or by a family;
// see [Families].
const (
	UseSoftware = "software"
	UseHardware = "hardware"
	UseAuto     = "auto" // hardware where it works
)

// Devices returns the kinds of hardware that may decode takes, in the order in which
// they are tried.
func Devices() []string { return []string{"cuda", "videotoolbox", "vaapi", "qsv", "d3d11va"} }

// CheckDecoder returns a fault when a setting is no choice of decoder.
func CheckDecoder(setting string) error {
	choices := append([]string{UseSoftware, UseAuto}, Devices()...)
	if slices.Contains(choices, setting) {
		return nil
	}
	return fault.New(fault.Manifest, "", fmt.Sprintf("decoder is %q (--decoder, RIPIENO_DECODER or settings.yaml)",
		setting), "use software, auto (hardware where it works), or one kind of hardware: "+strings.Join(Devices(),
		", "))
}

// CheckChoice returns a fault when a setting is no choice of encoder.
func CheckChoice(setting string) error {
	choices := append([]string{UseSoftware, UseHardware, UseAuto}, Families()...)
	if slices.Contains(choices, setting) {
		return nil
	}
	return fault.New(fault.Manifest, "", fmt.Sprintf("encoder is %q (--encoder, RIPIENO_ENCODER or settings.yaml)",
		setting),
		"use software, hardware, auto (hardware where it works), or one kind of hardware: "+strings.Join(Families(),
			", "))
}
