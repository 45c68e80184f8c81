package cli

import (
	"fmt"
	"math"
	"regexp"
	"strconv"
	"strings"
	"time"

	"ripieno/assemble"
	"ripieno/assemble/fault"
	"ripieno/assemble/ffmpeg"
)

// sizeForm is a number and a unit.
var sizeForm = regexp.MustCompile(`^([0-9]{1,12}(?:\.[0-9]{1,3})?) ?([kmgt]?)(i?)b?$`)

// parseSize reads bytes: 50GB, 1.5 G, 800MiB, 1000000. K, M, G and T are powers
// of 1000, Ki, Mi, Gi and Ti of 1024. It is false for what is no size, or 10^18 bytes
// and more. Twelve digits keep the product exact enough.
func parseSize(s string) (int64, bool) {
	parts := sizeForm.FindStringSubmatch(strings.ToLower(strings.TrimSpace(s)))
	if parts == nil || parts[2] == "" && parts[3] != "" {
		return 0, false
	}
	x, err := strconv.ParseFloat(parts[1], 64)
	base := 1000.0
	if parts[3] != "" {
		base = 1024
	}
	if parts[2] != "" {
		x *= math.Pow(base, float64(strings.Index(" kmgt", parts[2])))
	}
	return int64(x), err == nil && x < 1e18
}

// recheckUsual is the percentage of others' results that is made again here. Enough to
// find a machine that is always wrong within a few hundred results, for a hundredth of the
// work.
const recheckUsual = 1.0

// limits reads the bounds of memory and store, and how much is made again here. auto
// leaves 0, which means the program's own choice.
func (a *app) limits() (set assemble.Settings, err error) {
	for _, l := range []struct {
		name string
		to   *int64
	}{{"memory-limit", &set.Memory}, {"store-limit", &set.Store}} {
		text := a.settings.GetString(l.name)
		if text == "auto" {
			continue
		}
		n, ok := parseSize(text)
		if !ok || n < 1 {
			return set, badSize(l.name, text)
		}
		*l.to = n
	}
	percent := a.settings.GetString("recheck")
	if set.Recheck, err = strconv.ParseFloat(percent, 64); err != nil || !(set.Recheck >= 0 && set.Recheck <= 100) {
		return set, fault.New(fault.Manifest, "", fmt.Sprintf("invalid --recheck %q", percent),
			"use a percentage from 0 to 100")
	}
	set.Programs, err = a.programs()
	return set, err
}

// codecName is how ffmpeg's decoders are called. Names go into arguments of ffmpeg,
// so that nothing that could be an option or a list may be in one.
var codecName = regexp.MustCompile(`^[a-zA-Z0-9_.-]{1,40}$`)

// programs reads where ffmpeg is and how it is run.
func (a *app) programs() (ffmpeg.Options, error) {
	o := ffmpeg.Options{FFmpeg: a.settings.GetString("ffmpeg"), FFprobe: a.settings.GetString("ffprobe")}
	o.Patience = a.settings.GetDuration("patience")
	if o.Patience < time.Minute || o.Patience > 24*time.Hour {
		what := fmt.Sprintf("invalid --patience %q", a.settings.GetString("patience"))
		return o, fault.New(fault.Manifest, "", what, "use a time from 1m to 24h")
	}
	for name := range strings.SplitSeq(a.settings.GetString("codecs"), ",") {
		switch name = strings.TrimSpace(name); {
		case name == "":
		case !codecName.MatchString(name):
			return o, fault.New(fault.Manifest, "", fmt.Sprintf("invalid --codecs %q", name),
				"use ffmpeg's names of decoders, separated by commas, such as wavpack,tta")
		default:
			o.Codecs = append(o.Codecs, name)
		}
	}
	return o, nil
}

// badSize returns the fault of usage for a size that cannot be read.
func badSize(name, text string) error {
	return fault.New(fault.Manifest, "", fmt.Sprintf("invalid --%s %q", name, text), "use a size such as 800MB or 50GB")
}
