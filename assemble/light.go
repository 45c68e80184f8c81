package assemble

import (
	"context"
	"os"

	"ripieno/assemble/graph"
	"ripieno/assemble/plan"
	"ripieno/assemble/store"
	"ripieno/assemble/task"
	"ripieno/layout/light"
)

const (
	lightRule = 1  // version of how light is measured
	lightWide = 96 // pixels: a mean needs no more
)

func lightID(r *recording) string { return "light/" + r.name() }

// matchLight measures the light of all takes and gives each its gain, when the
// production asks for it. A picture that cannot be measured stays as it is.
func (p *Production) matchLight(ctx context.Context, recs []*recording) error {
	if !p.man.Picture.MatchLight {
		return nil
	}
	var seen []*recording
	var tasks []task.Task
	for _, r := range recs {
		if r.err == nil && r.info.Video != nil && r.role == roleVideo {
			seen, tasks = append(seen, r), append(tasks, p.lightTask(r))
		}
	}
	res, err := p.run(ctx, tasks)
	if err != nil {
		return err
	}
	means := make([]light.RGB, len(seen))
	for i, r := range seen {
		if path := res.Path(lightID(r)); path != "" {
			if means[i], err = load[light.RGB](path); err != nil {
				return err
			}
		}
	}
	for i, g := range light.Match(means) {
		if g != (light.RGB{R: 1, G: 1, B: 1}) {
			s := g.Signal()
			seen[i].gain = [3]float64{s.R, s.G, s.B}
		}
	}
	return nil
}

// lightTask measures the mean light of a recording's picture.
func (p *Production) lightTask(r *recording) task.Task {
	pic := *picture(located{recording: r}, *r.info.Video, plan.Clock{})
	pic.Gain = [3]float64{}
	named := pic
	named.Path = ""
	return task.Task{
		ID: lightID(r), Name: r.file.Path, Stage: "light", Cost: costSee * r.info.Duration, Keep: true,
		Memory: conformMemory(plan.Conform{Picture: pic}),
		Action: store.NewAction("light").Version(graph.Rule*1000+lightRule).Arg("ffmpeg", p.tool.Version.Text).
			Arg("zscale", p.tool.Filter("zscale")).Arg("picture", named).
			Input("file", r.hash).Ext(".gob").For(r.file.Path),
		Make: func(ctx context.Context, _ task.Inputs, tmp string, _ func(float64)) error {
			raw := tmp + ".rgb"
			c := plan.Conform{Take: r.owner, Picture: pic, W: lightWide, H: max(2, lightWide*pic.H/max(1, pic.W)&^1)}
			src := p.source(pic)
			src.Threads = takeThreads
			err := p.steady(ctx, pic, func() error {
				os.Remove(raw) // of an earlier reading
				cmd, err := graph.Light(c, src, "file:"+raw)
				if err != nil {
					return err
				}
				return p.readTake(ctx, cmd, pic, reading{tmp: tmp, before: r.info.Duration, limits: conformLimits(c, costSee*r.info.Duration)})
			})
			if err != nil {
				return err
			}
			data, err := os.ReadFile(raw)
			if err != nil {
				return err
			}
			return save(tmp, meanLight(data))
		},
	}
}

// meanLight is the mean of pixels of red, green and blue bytes, in linear
// light; zero for none.
func meanLight(data []byte) light.RGB {
	var linear [256]float64
	for v := range linear {
		linear[v] = light.Linear(float64(v) / 255)
	}
	var m light.RGB
	n := float64(len(data) / 3)
	for ; len(data) >= 3; data = data[3:] {
		m.R += linear[data[0]] / n
		m.G += linear[data[1]] / n
		m.B += linear[data[2]] / n
	}
	return m
}
