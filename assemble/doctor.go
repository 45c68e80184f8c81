package assemble

import (
	"context"
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"strings"

	"ripieno/assemble/doctor"
	"ripieno/assemble/fault"
	"ripieno/assemble/ffmpeg"
	"ripieno/assemble/manifest"
	"ripieno/assemble/session"
)

// DoctorOptions choose what Doctor does besides looking.
type DoctorOptions struct {
	NoTrial bool   // do not find out how long a film takes here
	Bundle  string // write a text for asking help to this file
}

// DoctorResult is what `doctor` found.
type DoctorResult struct {
	doctor.Report
	Bundle string `json:"bundle,omitempty"` // the file that was written
}

// Doctor looks at the machine and says what is missing and how to mend it. It opens
// no production: a folder without one is as good.
func Doctor(ctx context.Context, set Settings, o DoctorOptions) (DoctorResult, error) {
	found, tool, err := doctor.Examine(ctx, set.Programs, set.Dir)
	r := DoctorResult{Report: found, Bundle: o.Bundle}
	if err == nil && tool != nil && !o.NoTrial {
		r.Minute, err = tryFilm(ctx, set, tool)
	}
	if err != nil || o.Bundle == "" {
		return r, err
	}
	return r, writeBundle(ctx, r, set.Dir)
}

// tryFilm makes a few seconds of a film in a folder of its own, and returns how many
// seconds a minute of it would take.
func tryFilm(ctx context.Context, set Settings, tool *ffmpeg.Tool) (*float64, error) {
	dir, err := os.MkdirTemp("", "ripieno-trial-*")
	if err != nil {
		return nil, err
	}
	defer os.RemoveAll(dir)
	if err := doctor.WriteTrial(ctx, tool, dir); err != nil {
		return nil, err
	}
	set.Dir, set.Out = dir, ""
	p, err := Open(ctx, set)
	if err != nil {
		return nil, err
	}
	defer p.Close()
	film, err := p.Render(ctx, RenderOptions{})
	minute := film.Wall / doctor.TrialSeconds * 60
	return &minute, err
}

// writeBundle writes a text for asking help, but not over a file of the user's.
func writeBundle(ctx context.Context, r DoctorResult, dir string) error {
	old, err := os.ReadFile(r.Bundle)
	if err == nil && !strings.HasPrefix(string(old), doctor.BundleHead) || err != nil && !errors.Is(err, fs.ErrNotExist) {
		return fault.New(fault.Failed, r.Bundle, "there is a file of that name already", "choose another with --bundle")
	}
	redacted := ""
	if data, err := os.ReadFile(filepath.Join(dir, manifest.FileName)); err == nil {
		redacted = manifest.Redact(data)
	}
	text, err := r.Report.Bundle(redacted)
	if err != nil {
		return err
	}
	return session.Publish(ctx, r.Bundle, []byte(text))
}
