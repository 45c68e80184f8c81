package store_test

import (
	"context"
	"fmt"
	"os"
	"path/filepath"

	"ripieno/assemble/store"
)

// inStore runs a function with a store in a folder of its own.
func inStore(use func(ctx context.Context, s *store.Store, dir string) error) {
	dir, err := os.MkdirTemp("", "store")
	if err != nil {
		fmt.Println(err)
		return
	}
	defer os.RemoveAll(dir) //nolint:errcheck // a folder of an example
	s, err := store.Open(filepath.Join(dir, "store"))
	if err == nil {
		err = s.Lock(context.Background())
	}
	if err == nil {
		defer s.Close() //nolint:errcheck // nothing more is written
		err = use(context.Background(), s, dir)
	}
	if err != nil {
		fmt.Println(err)
	}
}

// Work is done once: the second Put finds what the first has stored.
func ExampleStore_Put() {
	inStore(func(ctx context.Context, s *store.Store, dir string) error {
		key := store.NewAction("greet").Version(1).Arg("name", "Mara").Ext(".txt")
		for range 2 {
			path, err := s.Put(ctx, key, func(tmp string) error {
				fmt.Println("writing")
				return os.WriteFile(tmp, []byte("hello Mara\n"), 0o666)
			})
			if err != nil {
				return err
			}
			text, err := os.ReadFile(path)
			if err != nil {
				return err
			}
			fmt.Printf("%s", text)
		}
		return nil
	})
	// Output:
	// writing
	// hello Mara
	// hello Mara
}

// A key is the complete description of a computation: another argument,
// another version or another input is another key.
func ExampleAction() {
	take := store.HashBytes([]byte("what is in the file"))
	key := store.NewAction("conform").Version(3).Arg("height", 360).Input("take", take)
	fmt.Println(key.ID() == store.NewAction("conform").Version(3).Arg("height", 360).Input("take", take).ID())
	fmt.Println(key.ID() == store.NewAction("conform").Version(4).Arg("height", 360).Input("take", take).ID())
	fmt.Println(store.NewAction("conform").Input("take", store.ID{}).Err())
	// Output:
	// true
	// false
	// store: action "conform": input "take" has no hash
}

// The parts of a hash are framed by their lengths.
func ExampleHashBytes() {
	fmt.Println(store.HashBytes([]byte("ab"), []byte("c")) == store.HashBytes([]byte("a"), []byte("bc")))
	// Output:
	// false
}

// A file appears whole or not at all.
func ExamplePublish() {
	inStore(func(ctx context.Context, _ *store.Store, dir string) error {
		path := filepath.Join(dir, "film.txt")
		err := store.Publish(ctx, path, func(tmp string) error {
			if err := os.WriteFile(tmp, []byte("half a fi"), 0o666); err != nil {
				return err
			}
			return fmt.Errorf("the encoder stopped")
		})
		fmt.Println(err)
		_, err = os.Stat(path)
		fmt.Println("there is no film:", os.IsNotExist(err))
		return nil
	})
	// Output:
	// the encoder stopped
	// there is no film: true
}
