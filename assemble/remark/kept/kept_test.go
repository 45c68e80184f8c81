package kept

import (
	"bufio"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"testing"

	"ripieno/assemble/fault"
	"ripieno/assemble/remark"
)

// add returns a change that adds a remark.
func add(at float64, text string) func(*remark.Book) error {
	return func(b *remark.Book) error {
		b.Add(remark.Remark{At: at, Place: "m1", Text: text}.Named())
		return nil
	}
}

// TestNothingIsLost: many who write at once, and a hand that writes in between, all
// find their remarks in the file.
func TestNothingIsLost(t *testing.T) {
	dir := t.TempDir()
	var all sync.WaitGroup
	for w := range 4 {
		all.Go(func() {
			for i := range 6 {
				if err := Change(t.Context(), dir, add(float64(i), fmt.Sprintf("%d of %d", i, w))); err != nil {
					t.Error(err)
				}
			}
		})
	}
	all.Wait()
	b, err := Load(dir)
	if err != nil || len(b.Remarks) != 24 {
		t.Fatalf("%d remarks of 24, %v", len(b.Remarks), err)
	}
	hand := true
	err = Change(t.Context(), dir, func(b *remark.Book) error {
		if hand { // somebody who takes no lock writes while this one thinks
			hand = false
			text := strings.Replace(string(b.Format()), "0 of 0", "by hand", 1)
			if err := os.WriteFile(path(dir), []byte(text), 0o666); err != nil {
				return err
			}
		}
		return add(9, "after it")(b)
	})
	b, loadErr := Load(dir)
	if err != nil || loadErr != nil || len(b.Remarks) != 25 {
		t.Fatalf("%d remarks, %v, %v", len(b.Remarks), err, loadErr)
	}
	if text := string(b.Format()); !strings.Contains(text, "by hand") || !strings.Contains(text, "after it") {
		t.Errorf("one of the two is lost in\n%s", text)
	}
}

// TestWhatIsNotWritten: no file appears where nothing was said, a change that fails
// leaves the file alone, and a version is another one only when something is.
func TestWhatIsNotWritten(t *testing.T) {
	dir := t.TempDir()
	none := Version(dir)
	if err := Change(t.Context(), dir, func(*remark.Book) error { return nil }); err != nil {
		t.Fatal(err)
	}
	if _, err := os.Stat(path(dir)); err == nil {
		t.Error("a file was written though nothing was said")
	}
	if err := Change(t.Context(), dir, add(1, "x")); err != nil {
		t.Fatal(err)
	}
	one := Version(dir)
	boom := errors.New("boom")
	if err := Change(t.Context(), dir, func(b *remark.Book) error {
		_ = add(2,
			"y")(b)
		return boom
	}); !errors.Is(err, boom) {
		t.Errorf("it ended with %v", err)
	}
	if err := Change(t.Context(), dir, add(1, "x")); err != nil {
		t.Fatal(err)
	}
	if now := Version(dir); now != one || one == none {
		t.Errorf("versions %s, %s, %s", none, one, now)
	}
	err := Change(t.Context(), dir, func(b *remark.Book) error {
		b.Remarks = make([]remark.Remark, remark.MostRemarks+1)
		return nil
	})
	if fault.KindOf(err) != fault.Manifest || Version(dir) != one {
		t.Errorf("a book without end was kept: %v", err)
	}
}

// TestOrdinaryFilesOnly: a link could lead out of the production.
func TestOrdinaryFilesOnly(t *testing.T) {
	dir, other := t.TempDir(), filepath.Join(t.TempDir(), "other")
	if err := os.WriteFile(other, []byte("version: 1\n"), 0o666); err != nil {
		t.Fatal(err)
	}
	if err := os.Symlink(other, path(dir)); err != nil {
		t.Skip("this system makes no links")
	}
	_, loaded := Load(dir)
	changed := Change(t.Context(), dir, add(1, "x"))
	for _, err := range []error{loaded, changed} {
		if fault.KindOf(err) != fault.Manifest || !strings.Contains(fmt.Sprint(err), "no ordinary file") {
			t.Errorf("through a link: %v", err)
		}
	}
	if data, err := os.ReadFile(other); err != nil || string(data) != "version: 1\n" {
		t.Errorf("the other file became %q, %v", data, err)
	}
	film := filepath.Join(dir, "rough.mp4")
	if err := os.Symlink(other, film); err != nil {
		t.Fatal(err)
	}
	if hash, err := HashFilm(dir, "rough"); hash != "" || err != nil {
		t.Errorf("a linked film has the hash %q, %v", hash, err)
	}
}

// TestStands: an approval is held against the film's bytes.
func TestStands(t *testing.T) {
	out := t.TempDir()
	if err := os.WriteFile(filepath.Join(out, "rough.mp4"), []byte("abc"), 0o666); err != nil {
		t.Fatal(err)
	}
	const abc = "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad" // FIPS 180-4, SHA-256 of "abc"
	b := &remark.Book{}
	b.Approve(remark.Approval{By: "Cora Lind", Film: "rough", Hash: abc})
	b.Approve(remark.Approval{By: "Cora Lind", Film: "final", Hash: abc})
	stands, err := Stands(b, out)
	if err != nil || len(stands) != 2 || stands[0].Current || !stands[1].Current {
		t.Errorf("they stand as %+v, %v", stands, err)
	}
}

// writer is set in the process that is killed, to the folder it writes in.
const writer = "RIPIENO_TEST_REMARKS_WRITER"

// TestKilled: whoever is killed while writing leaves a whole file.
func TestKilled(t *testing.T) {
	if dir := os.Getenv(writer); dir != "" {
		for i := 0; ; i++ {
			if err := Change(t.Context(), dir, add(float64(i), strings.Repeat("long ", 300))); err != nil {
				t.Fatal(err)
			}
			fmt.Println(i)
		}
	}
	dir := t.TempDir()
	for kill := range 3 {
		cmd := exec.Command(os.Args[0], "-test.run", "^TestKilled$")
		cmd.Env = append(os.Environ(), writer+"="+dir)
		out, err := cmd.StdoutPipe()
		if err != nil {
			t.Fatal(err)
		}
		if err := cmd.Start(); err != nil {
			t.Fatal(err)
		}
		lines := bufio.NewScanner(out)
		for range 3 + 5*kill {
			if !lines.Scan() {
				t.Fatal("the writer ended by itself")
			}
		}
		if err := cmd.Process.Kill(); err != nil {
			t.Fatal(err)
		}
		_ = cmd.Wait() // it was killed
		b, err := Load(dir)
		if err != nil || len(b.Remarks) < 3+5*kill {
			t.Fatalf("after a kill there are %d remarks, %v", len(b.Remarks), err)
		}
	}
}
