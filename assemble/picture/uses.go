package picture

import (
	"cmp"
	"errors"
	"fmt"
	"os"
	"strconv"
	"strings"

	"ripieno/assemble/task"
)

// uses gives the outputs that a work reads numbers for names, each once.
type uses struct {
	number map[string]int // by task
	inputs []task.Ref[string]
}

func newUses() *uses { return &uses{number: map[string]int{}} }

// of returns the name of an output, with the ending by which it is read. The number
// follows from the order in which names are asked for, so the same work gives the
// same description, whatever its inputs are called.
func (u *uses) of(r task.Ref[string], ext string) string {
	k, known := u.number[r.Task().ID]
	if !known {
		k = len(u.inputs)
		u.number[r.Task().ID] = k
		u.inputs = append(u.inputs, r)
	}
	return strconv.Itoa(k) + ext
}

// paths returns where the outputs lie, in the order of their numbers.
func (u *uses) paths(in task.Inputs) ([]string, error) { return readPaths(u.inputs, in) }

// readPaths returns where outputs lie.
func readPaths(refs []task.Ref[string], in task.Inputs) ([]string, error) {
	paths := make([]string, len(refs))
	for k, r := range refs {
		var err error
		if paths[k], err = r.Path(in); err != nil {
			return nil, err
		}
	}
	return paths, nil
}

// errand returns a work as another machine is asked for it.
func (u *uses) errand(rule string, args any) *task.Errand {
	e := &task.Errand{Rule: rule, Args: args}
	for _, r := range u.inputs {
		e.Inputs = append(e.Inputs, task.ErrandInput{Edge: r})
	}
	return e
}

// linker links the files that a work reads to names beside its output. Every use of an
// input gets a name of its own: what builds the command takes two equal inputs for one.
type linker struct {
	in    []string
	dir   string // of the output
	n     int
	wrong error // the first thing that went wrong
}

// name links the input of a use, such as "3.png", and returns its name for ffmpeg.
// use came over the line perhaps: only a number and the two endings get through.
// After an error it returns "", and wrong must be looked at before the names are
// used.
func (l *linker) name(use string) string {
	number, ext, _ := strings.Cut(use, ".")
	k, err := strconv.Atoi(number)
	if err != nil || k < 0 || k >= len(l.in) || ext != "mp4" && ext != "png" {
		l.wrong = cmp.Or(l.wrong, errors.New("a picture reads what it was not given"))
		return ""
	}
	name := fmt.Sprintf("%s.%03d.%s", l.dir, l.n, ext)
	l.n++
	if err := os.Symlink(l.in[k], name); err != nil {
		l.wrong = cmp.Or(l.wrong, err)
	}
	return "file:" + name
}
