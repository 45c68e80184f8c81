package assemble

import (
	"context"
	"os"

	"ripieno/assemble/doctor"
)

// DoctorResult is what `doctor` found.
type DoctorResult = doctor.Report

// Doctor looks at the machine and says what is missing and how to mend it. With trial
// it also makes a few seconds of a film. A folder without a production is as good.
func Doctor(ctx context.Context, set Settings, trial bool) (DoctorResult, error) {
	r, tool, err := doctor.Examine(ctx, set.Programs, set.Dir)
	if err != nil || tool == nil || !trial {
		return r, err
	}
	if set.Dir, err = doctor.WriteTrial(ctx, tool); err != nil {
		return r, err
	}
	defer os.RemoveAll(set.Dir)
	set.Out = ""
	p, err := Open(ctx, set)
	if err != nil {
		return r, err
	}
	defer p.Close()
	film, err := p.Render(ctx, RenderOptions{})
	minute := film.Wall / doctor.TrialSeconds * 60
	r.Minute = &minute
	return r, err
}
