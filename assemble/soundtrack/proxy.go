package soundtrack

import (
	"context"
	"path/filepath"

	"ripieno/assemble/ffmpeg"
	"ripieno/assemble/graph"
	"ripieno/assemble/media"
	"ripieno/assemble/store"
	"ripieno/assemble/task"
)

// proxyRule is the version of how voices are made small.
const proxyRule = 1

// costProxy is the estimated cost in seconds of one core for each second of sound.
const costProxy = 0.01

// Proxies returns the tasks that make small copies of the voices, by take: files of bare
// AAC with as many channels as the voice, which is one for most. A page plays the whole
// ensemble from them, of which the voices themselves would be gigabytes. A proxy is made
// of its voice alone, so that a change of gain or place makes none again.
func (t *Track) Proxies() map[string]task.Ref[string] {
	list := map[string]task.Ref[string]{}
	for _, p := range t.parts {
		list[p.Take] = t.proxyTask(p)
	}
	return list
}

// proxyTask makes the small copy of one voice.
func (t *Track) proxyTask(p part) task.Ref[string] {
	one := task.Task{ID: task.ID("proxy", p.sound.Name), Name: p.sound.File, Stage: "proxy",
		Cost:   0.1 + costProxy*p.sound.Seconds,
		Action: store.NewAction("proxy").Version(graph.Rule*1000+proxyRule).Arg("ffmpeg", t.tool.Version.Text)}
	one.Needs("voice", p.voice)
	one.Action = one.Action.Ext(".aac").For(p.sound.File)
	one.Make = func(ctx context.Context, in task.Inputs, tmp string, _ func(float64)) error {
		dir, err := p.voice.Read(in)
		if err != nil {
			return err
		}
		return encodeProxy(ctx, t.tool, dir, tmp)
	}
	return task.Path(one)
}

// encodeProxy writes the small copy of the voice in dir.
func encodeProxy(ctx context.Context, tool *ffmpeg.Tool, dir, tmp string) error {
	voice := filepath.Join(dir, voiceWAV)
	wav, err := media.OpenWAV(voice)
	if err != nil {
		return err
	}
	channels := wav.Channels()
	wav.Close()
	cmd, err := graph.Proxy("file:"+voice, channels, "file:"+tmp)
	if err != nil {
		return err
	}
	return tool.RunGraph(ctx, cmd, tmp, 0, nil)
}
