package assemble

import (
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"ripieno/assemble/interchange"
	"ripieno/assemble/progress"
	"ripieno/assemble/session"
	"ripieno/assemble/task"
)

// TestFirstLook makes a first look of two takes: a few pictures a second, the whole mix,
// and nothing of that mix is made again by the rough cut after it.
func TestFirstLook(t *testing.T) {
	t.Parallel()
	tool, dir := findTool(t), t.TempDir()
	takes := cast()[:2]
	for _, take := range takes {
		take.write(t, tool, dir)
	}
	p := openTest(t, dir, manifestOf(takes, ""))
	r, err := p.Render(t.Context(), RenderOptions{Rough: true, Quick: true})
	if err != nil {
		t.Fatal(err)
	}
	// The film of 180 frames at 30 a second has 24 at 4.
	if r.Frames != filmLen*4/filmFPS || r.Output != filepath.Join(dir, "out", "quick.mp4") ||
		r.Films[0].Canvas != "640x360" {
		t.Errorf("%d frames in %s, %s", r.Frames, r.Output, r.Films[0].Canvas)
	}
	p.Close()
	p = openWith(t, Settings{Dir: dir, Profile: filepath.Join(dir, "trace")})
	plan, err := p.Plan(t.Context(), RenderOptions{Rough: true})
	if err != nil {
		t.Fatal(err)
	}
	// Of what is shown whole nobody has to be found, but for a finished film.
	looked := func() bool {
		return slices.ContainsFunc(p.Events(), func(e interchange.Slice) bool { return e.Category == "see" })
	}
	if looked() {
		t.Error("pictures that are not cut were looked through for a rough cut")
	}
	if _, err := p.Plan(t.Context(), RenderOptions{}); err != nil || !looked() {
		t.Errorf("nobody was looked for for a finished film (%v)", err)
	}
	made := map[string]bool{}
	for _, task := range plan.Tasks {
		if task.Runs {
			made[task.Stage] = true
		}
	}
	if made["strip"] || made["mix"] || made["master"] || !made["conform"] || !made["compose"] {
		t.Errorf("the rough cut after it makes %v", made)
	}
	if plan.Forecast.CPU <= 0 || plan.Forecast.Wall <= 0 || plan.Forecast.Bytes <= 0 ||
		plan.Forecast.All <= plan.Forecast.Bytes ||
		plan.Store <= plan.Forecast.All {
		t.Errorf("it is expected to take %+v of %d", plan.Forecast, plan.Store)
	}
}

// TestCacheThatIsTooSmallIsTold before anything is made, with a size that is enough.
func TestCacheThatIsTooSmallIsTold(t *testing.T) {
	for _, c := range []struct {
		limit int64
		want  string
	}{
		{50e9, "made of about 136 GB of results, and the cache may hold 50 GB: every run would make " +
			"most of it again; allow " +
			"more with --store-limit 164GB"}, {136e9, ""}, {200e9, ""},
	} {
		var told strings.Builder
		report := progress.New(&told, progress.Lines)
		p := &Production{session.New(Settings{Store: c.limit, Report: report}, nil, nil)}
		(&job{tasks: []task.Task{{Bytes: 100e9}, {Bytes: 36e9}, {}}}).warnOfStore(p)
		report.Close()
		if got := told.String(); !strings.Contains(got, c.want) || c.want == "" && got != "" {
			t.Errorf("%d bytes: %q", c.limit, got)
		}
	}
}
