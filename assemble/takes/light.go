package takes

import (
	"context"
	"os"

	"ripieno/assemble/ffmpeg"
	"ripieno/assemble/graph"
	"ripieno/assemble/plan"
	"ripieno/assemble/reading"
	"ripieno/assemble/session"
	"ripieno/assemble/store"
	"ripieno/assemble/task"
	"ripieno/layout"
	"ripieno/layout/light"
	"ripieno/mix/audio"
)

const (
	lightRule = 1  // version of how light is measured
	lightWide = 96 // pixels: a mean needs no more
)

// The type that is stored of a picture's light, with the number it has for ever.
var _ = store.Number(10, light.RGB{})

// matchLight measures the light of all takes and gives each its gain, when the
// production asks for it. A picture that cannot be measured stays as it is. It asks
// for every picture to be decoded once.
func (s *Set) matchLight(ctx context.Context, x *session.Session) error {
	if !x.Manifest().Picture.MatchLight {
		return nil
	}
	var seen []*Recording
	var measured []task.Ref[light.RGB]
	var edges []task.Edge
	for _, r := range s.Recordings() {
		if r.HasPicture() {
			m := lightTask(x.Tool(), x.Store().Steady, r)
			seen, measured, edges = append(seen, r), append(measured, m), append(edges, m)
		}
	}
	res, err := x.Run(ctx, task.Collect(edges...))
	if err != nil {
		return err
	}
	means := make([]light.RGB, len(seen))
	for i, m := range measured {
		seen[i].refuseSpent(m.Outcome(res).Err)
		if means[i], _, err = m.Result(res); err != nil {
			return err
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
func lightTask(tool *ffmpeg.Tool, steady reading.Steady, r *Recording) task.Ref[light.RGB] {
	pic := *r.Picture(audio.Clock{})
	pic.Gain, pic.Parts = [3]float64{}, nil
	nameless := pic
	nameless.Path = ""
	return task.Value[light.RGB](task.Task{
		ID: task.ID("light", r.Name()), Name: r.File.Path, Stage: "light", Cost: costSee * r.Info.Duration,
		Memory: reading.Memory(plan.Conform{Picture: pic}), Keep: true,
		Action: store.NewAction("light").Version(graph.Rule*1000+lightRule).Arg("ffmpeg", tool.Version.Text).
			Arg("zscale", tool.Filter("zscale")).Arg("picture", nameless).
			Input("file", r.Hash).Ext(".gob").For(r.File.Path),
		Make: func(ctx context.Context, _ task.Inputs, tmp string, _ func(float64)) error {
			return measureLight(ctx, tool, steady, r, pic, tmp)
		},
	})
}

// measureLight stores the mean light of a picture.
func measureLight(ctx context.Context, tool *ffmpeg.Tool, steady reading.Steady, r *Recording, pic plan.Picture,
	tmp string) error {
	// 96 pixels wide, every frame that the graph lets through, three bytes a pixel.
	raw := tmp + ".rgb"
	c := plan.Conform{Take: r.Owner, Picture: pic, W: lightWide, H: max(2,
		layout.FloorEven(lightWide*pic.H/max(1, pic.W)))}
	err := steady.Picture(ctx, pic, func(ctx context.Context) error {
		os.Remove(raw) // of an earlier reading
		cmd, err := graph.Light(c, reading.Source(tool, pic), "file:"+raw)
		if err != nil {
			return err
		}
		return reading.Take(ctx, tool, cmd, pic, reading.Job{Tmp: tmp, Checks: true, Before: r.Info.Duration,
			Limits: reading.Limits(c, costSee*r.Info.Duration)})
	})
	if err != nil {
		return err
	}
	data, err := os.ReadFile(raw)
	if err != nil {
		return err
	}
	return store.Save(tmp, meanLight(data))
}

// meanLight returns the mean of pixels of red, green and blue bytes, in linear
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
