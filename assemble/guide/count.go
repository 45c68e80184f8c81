package guide

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"

	"ripieno/assemble/fault"
	"ripieno/assemble/guide/speech"
	"ripieno/assemble/media"
	"ripieno/assemble/session"
	"ripieno/mix/audio"
	"ripieno/mix/click"
	"ripieno/mix/resample"
)

// words returns the numbers that are spoken in the count-in, none where nobody speaks, and
// what a person should know about them. A missing speaking program is a note and no
// fault: the guide is as good without. A recording that cannot be read is one.
func words(ctx context.Context, s *session.Session, j Job) (list []click.Word, notes []string, err error) {
	c := s.Manifest().Guide.Count
	if c == nil || j.Tempo.Spec().CountIn.Measures == 0 {
		return nil, nil, nil
	}
	dir, err := os.MkdirTemp("", "ripieno-count-*")
	if err != nil {
		return nil, nil, err
	}
	defer os.RemoveAll(dir) //nolint:errcheck // in the system's folder for such
	beats := j.Tempo.Meter(1).Beats()
	var files []string
	if c.Spoken {
		files, err = speech.Numbers(ctx, s.Manifest().CallSheet.Language, beats, dir)
		if errors.Is(err, speech.ErrMissing) {
			return nil, []string{"nobody counts: espeak-ng is not installed; " +
				"install it, or name recordings under count:"}, nil
		}
		if err != nil {
			return nil, nil, fault.At(fault.Failed, c.Mark, "the numbers cannot be spoken",
				"name recordings under count:").
				Because(err)
		}
	}
	for _, a := range c.Files[:min(beats, len(c.Files))] {
		abs, err := media.Resolve(s.Manifest().Dir, a.Path)
		if err != nil {
			return nil, nil, err
		}
		files = append(files, abs)
	}
	for i, file := range files {
		w, err := word(ctx, s, file, filepath.Join(dir, fmt.Sprintf("%d-sound.wav", i)))
		if err != nil {
			return nil, nil, err
		}
		list = append(list, w)
	}
	return list, notes, nil
}

// longestWord bounds what is read of a recording of a number, in frames. A file that
// is longer is read no farther.
const longestWord = 20 * audio.Rate

// word reads one spoken number; tmp is a file that may be written. Channels are
// averaged. What comes before and after the word is cut away by click.NewWord.
func word(ctx context.Context, s *session.Session, file, tmp string) (click.Word, error) {
	info, err := media.Probe(ctx, s.Tool(), file)
	if err != nil {
		return click.Word{}, err
	}
	if err := media.DecodeAudio(ctx, s.Tool(), info, tmp); err != nil {
		return click.Word{}, err
	}
	wav, err := media.OpenWAV(tmp)
	if err != nil {
		return click.Word{}, err
	}
	defer wav.Close() //nolint:errcheck // nothing was written
	block := audio.NewBlock(wav.Channels(), longestWord)
	n, err := audio.ReadFull(resample.New(wav, audio.Rate, 0, 0, 0), block)
	if err != nil && n == 0 {
		return click.Word{}, fault.New(fault.Media, file, "there is no sound in it",
			"record the number again").Because(err)
	}
	mono := make([]float64, n)
	for _, channel := range block {
		for i, v := range channel[:n] {
			mono[i] += v / float64(len(block))
		}
	}
	w, ok := click.NewWord(mono)
	if !ok {
		return w, fault.New(fault.Media, file, "nothing is heard in it",
			"record the number again, nearer to the microphone")
	}
	return w, nil
}
