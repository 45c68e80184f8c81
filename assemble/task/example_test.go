package task_test

import (
	"context"
	"fmt"
	"os"
	"path/filepath"
	"strings"

	"ripieno/assemble/store"
	"ripieno/assemble/task"
)

// A song of two tasks: the second reads what the first has made. Run again,
// nothing is made; with another word, only what comes after it.
func ExampleRunner_Run() {
	ctx := context.Background()
	dir, err := os.MkdirTemp("", "task")
	if err != nil {
		fmt.Println(err)
		return
	}
	defer os.RemoveAll(dir) //nolint:errcheck // a folder of an example
	s, err := store.Open(filepath.Join(dir, "store"))
	if err == nil {
		err = s.Lock(ctx)
	}
	if err != nil {
		fmt.Println(err)
		return
	}
	defer s.Close() //nolint:errcheck // nothing more is written
	for _, word := range []string{"la", "la", "lo"} {
		result, err := task.Runner{Store: s, Workers: 2}.Run(ctx, song(word))
		if err != nil {
			fmt.Println(err)
			return
		}
		text, err := os.ReadFile(result.Path("song"))
		fmt.Printf("%s: %d run, %d reused, %v\n", strings.TrimSpace(string(text)), result.Stats.Run,
			result.Stats.Reused, err)
	}
	// Output:
	// la la la: 2 run, 0 reused, <nil>
	// la la la: 0 run, 2 reused, <nil>
	// lo lo lo: 2 run, 0 reused, <nil>
}

// song returns tasks that write a word and sing it three times.
func song(word string) []task.Task {
	first := store.NewAction("word").Arg("word", word)
	return []task.Task{
		{ID: "word", Action: first,
			Make: func(_ context.Context, _ task.Inputs, tmp string, _ func(float64)) error {
				return os.WriteFile(tmp, []byte(word), 0o666)
			}},
		{ID: "song", After: []string{"word"}, Action: store.NewAction("song").Input("word", first.ID()),
			Make: func(_ context.Context, in task.Inputs, tmp string, _ func(float64)) error {
				text, err := os.ReadFile(in["word"])
				if err != nil {
					return err
				}
				return os.WriteFile(tmp, []byte(strings.Repeat(string(text)+" ", 3)), 0o666)
			}},
	}
}
