// Package beats looks for the beats of the recording that a manifest takes its tempo from,
// and keeps them as a list beside it, which a person can correct. The manifest is read with
// that list and never with the recording, so that no later release of this program moves
// a beat of a production that is under way.
package beats

import (
	"context"
	"crypto/sha256"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path"
	"path/filepath"
	"slices"

	"ripieno/assemble/fault"
	"ripieno/assemble/ffmpeg"
	"ripieno/assemble/manifest"
	"ripieno/assemble/media"
	"ripieno/assemble/store"
	"ripieno/mix/tempo"
	"ripieno/mix/tempo/follow"
)

// maxList bounds the list that is read, in bytes.
const maxList = 8 << 20

// Find writes the list of beats that the manifest in dir asks for, when it is missing, a
// person has corrected it, or the manifest asks for others than before. What it did it says
// in a sentence, "" for nothing. find looks for ffmpeg when it is needed.
//
// A list with faults is left to whoever reads the manifest; a recording that cannot be
// used is a fault, unless there is a list.
func Find(ctx context.Context, dir string, find func(context.Context) (*ffmpeg.Tool, error)) (string, error) {
	f := manifest.ToFollow(dir)
	if f == nil {
		return "", nil
	}
	old, of, err := readList(dir, f.List)
	if err != nil {
		return "", nil //nolint:nilerr // the manifest's reader says it with its place
	}
	w := &work{Follow: f, dir: dir, own: slices.DeleteFunc(slices.Clone(old),
		func(l follow.Line) bool { return l.Found })}
	if w.music, err = tempo.New(f.Spec); err != nil {
		return "", nil //nolint:nilerr // as above
	}
	if len(old) > 0 && of == w.title(w.own) && w.fits(old) {
		return "", nil
	}
	abs, err := media.Resolve(dir, f.Recording)
	if err != nil {
		if len(old) > 0 {
			return "", nil
		}
		return "", err
	}
	tool, err := find(ctx)
	if err != nil {
		return "", err
	}
	onsets, err := hear(ctx, tool, abs)
	if err != nil {
		return "", err
	}
	lines, err := w.follow(onsets)
	if err != nil {
		return "", fault.New(fault.Manifest, f.List, err.Error(),
			"say in the list which beats they are, such as 12.345 m3.2, or delete it")
	}
	var kept []follow.Line
	for _, l := range lines {
		if !l.Found {
			kept = append(kept, l)
		}
	}
	list := follow.Format(lines, w.title(kept))
	err = store.Publish(ctx, filepath.Join(dir, filepath.FromSlash(f.List)), func(tmp string) error {
		return os.WriteFile(tmp, list, 0o666)
	})
	return w.describe(lines), err
}

// readList reads the list that is there; none is no error.
func readList(dir, name string) ([]follow.Line, string, error) {
	file, _, err := manifest.OpenInside(dir, name)
	if errors.Is(err, fs.ErrNotExist) {
		return nil, "", nil
	}
	if err != nil {
		return nil, "", fmt.Errorf("%s: %w", name, err)
	}
	defer file.Close() //nolint:errcheck // nothing was written
	data, err := io.ReadAll(io.LimitReader(file, maxList))
	if err != nil {
		return nil, "", err
	}
	return follow.Parse(data)
}

// hear decodes a recording and listens to it.
func hear(ctx context.Context, tool *ffmpeg.Tool, abs string) (*follow.Onsets, error) {
	info, err := media.Probe(ctx, tool, abs)
	if err != nil {
		return nil, err
	}
	tmp, err := os.MkdirTemp("", "ripieno-beats-*")
	if err != nil {
		return nil, err
	}
	defer os.RemoveAll(tmp) //nolint:errcheck // in the system's folder for such
	sound := filepath.Join(tmp, "sound.wav")
	if err := media.DecodeAudio(ctx, tool, info, sound); err != nil {
		return nil, err
	}
	wav, err := media.OpenWAV(sound)
	if err != nil {
		return nil, err
	}
	defer wav.Close() //nolint:errcheck // nothing was written
	return follow.Hear(wav)
}

// work is what is asked for, with the map of the piece.
type work struct {
	*manifest.Follow
	dir   string
	music *tempo.Map
	own   []follow.Line // a person's own lines
}

// title returns what the list says it is of: the recording, and a number that is another
// one when the manifest asks for other beats or a person has corrected other lines.
func (w *work) title(own []follow.Line) string {
	sum := sha256.New()
	measures := 0
	if w.Counted {
		measures = w.Spec.Measures
	}
	fmt.Fprintf(sum, "%d %.3f %v %.6g %.6g", measures, w.Spec.PickUp, w.Spec.Paper, w.First, w.Speed)
	for _, c := range w.Spec.Changes {
		fmt.Fprintf(sum, "; %d %s", c.Measure, c.Meter)
	}
	for _, l := range own {
		fmt.Fprintf(sum, "; %.3f %v", l.At, l.Place)
	}
	return fmt.Sprintf("%s, %.4x", path.Base(w.Recording), sum.Sum(nil))
}

// fits reports whether a list has the beats of the piece, one after the other.
func (w *work) fits(lines []follow.Line) bool {
	times, err := follow.Times(lines, w.music)
	return err == nil && (!w.Counted || len(times) >= len(follow.Places(w.music))-1)
}

// follow finds the beats and returns them as the lines of the list.
func (w *work) follow(onsets *follow.Onsets) ([]follow.Line, error) {
	unit := follow.Unit(w.music)
	anchors, err := follow.Anchors(w.own, w.music, unit)
	if err != nil {
		return nil, err
	}
	places := follow.Places(w.music)
	ask := follow.Ask{First: w.First, BPM: w.Speed / unit, Anchors: anchors}
	if w.Counted {
		ask.Pulses = follow.PulseAt(places[len(places)-1].Quarter, places[0].Quarter, unit)
	}
	pulses, err := onsets.Beats(ask)
	if err != nil {
		return nil, err
	}
	var lines []follow.Line
	kept := 0
	for _, p := range places {
		k := follow.PulseAt(p.Quarter, places[0].Quarter, unit)
		if k >= len(pulses) {
			break
		}
		l := follow.Line{At: pulses[k].At, Place: p.Position, Found: !pulses[k].Anchor, Weak: pulses[k].Weak}
		if !l.Found {
			kept++
		}
		lines = append(lines, l)
	}
	if kept < len(anchors) {
		return nil, fmt.Errorf("%d of your %d beats are not among those found", len(anchors)-kept, len(anchors))
	}
	return lines, nil
}

// describe returns the message to the person: how many beats were found and where they are
// written, and where the piece is taken to begin when the manifest does not say.
func (w *work) describe(lines []follow.Line) string {
	s := fmt.Sprintf("found %d beats in %s and wrote them to %s", len(lines), w.Recording, w.List)
	if w.First != w.First && len(lines) > 0 && lines[0].Found { // NaN
		s += fmt.Sprintf("; the piece is taken to begin at its first clear sound, %.2f s: first in tempo "+
			"says otherwise",
			lines[0].At)
	}
	return s
}
