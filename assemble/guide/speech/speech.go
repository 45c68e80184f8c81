// Package speech has numbers spoken by espeak-ng, where it is installed. It is a program of
// its own, under the GPL, which nothing of ours is linked with; a guide without it is whole.
// The same release of it speaks the same samples each time.
package speech

import (
	"context"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"time"
)

// program is what speaks.
const program = "espeak-ng"

// patience is how long one number may take to be spoken.
const patience = 20 * time.Second

// ErrMissing says that nothing is installed that speaks.
var ErrMissing = errors.New(program + " is not installed")

// voices are espeak-ng's names of the languages that guides have.
var voices = map[string]string{"en": "en", "de": "de", "es": "es", "fr": "fr", "it": "it"}

// Numbers writes the numbers 1 to n, spoken in a language, as sound files into dir, and
// returns their paths. A language that is not known is spoken in English.
func Numbers(ctx context.Context, language string, n int, dir string) ([]string, error) {
	path, err := exec.LookPath(program)
	if err != nil {
		return nil, ErrMissing
	}
	voice, ok := voices[language]
	if !ok {
		voice = voices["en"]
	}
	var all []string
	for i := 1; i <= n; i++ {
		file := filepath.Join(dir, strconv.Itoa(i)+".wav")
		if err := speak(ctx, path, voice, i, file); err != nil {
			return nil, err
		}
		all = append(all, file)
	}
	return all, nil
}

// speak has one number spoken.
func speak(ctx context.Context, program, voice string, number int, file string) error {
	ctx, stop := context.WithTimeout(ctx, patience)
	defer stop()
	// 170 words a minute: a number is said within half a second.
	cmd := exec.CommandContext(ctx, program, "-v", voice, "-s", "170", "-w", file, "--", strconv.Itoa(number))
	cmd.WaitDelay = time.Second
	said, err := cmd.CombinedOutput()
	if err != nil {
		if ctx.Err() != nil {
			err = ctx.Err()
		}
		return fmt.Errorf("%s: %w: %.200s", program, err, said)
	}
	if info, err := os.Stat(file); err != nil || info.Size() == 0 {
		return fmt.Errorf("%s has written nothing", program)
	}
	return nil
}
