package farm

import (
	"crypto/rand"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"testing"

	"ripieno/assemble/order"
)

// processor returns how many seconds of the processor this process and another have taken.
func processor(b *testing.B, other int) float64 {
	b.Helper()
	var own syscall.Rusage
	if err := syscall.Getrusage(syscall.RUSAGE_SELF, &own); err != nil {
		b.Fatal(err)
	}
	stat, err := os.ReadFile(fmt.Sprintf("/proc/%d/stat", other))
	if err != nil {
		b.Fatal(err)
	}
	_, rest, _ := strings.Cut(string(stat), ") ") // behind the name
	var user, system float64
	if _, err := fmt.Sscan(strings.Join(strings.Fields(rest)[11:13], " "), &user, &system); err != nil {
		b.Fatal(err)
	}
	const ticks = 100 // a second, on every Linux that Go runs on
	return float64(own.Utime.Nano()+own.Stime.Nano())/1e9 + (user+system)/ticks
}

// BenchmarkFiles sends files of 50 MB to a hub in a process of its own and fetches them, one
// at a time and four at once: bytes a second, and seconds of the processor for a gigabyte,
// of both processes, with sealing, TLS and hashing on both sides.
func BenchmarkFiles(b *testing.B) {
	const size = 50 << 20
	tr := gather(b, "")
	home, worker := filesAt(b, tr.home, "home-files"), filesAt(b, tr.workers, "worker-files")
	dir := b.TempDir()
	var files []order.File
	for k := range 4 {
		data := make([]byte, size)
		_, _ = rand.Read(data)
		path := filepath.Join(dir, fmt.Sprint(k))
		if err := os.WriteFile(path, data, 0o600); err != nil {
			b.Fatal(err)
		}
		f, err := hashed("", path)
		if err != nil {
			b.Fatal(err)
		}
		files = append(files, f)
	}
	all := func(atOnce int, do func(k int) error) error {
		ended := make(chan error, atOnce)
		for k := range atOnce {
			go func() { ended <- do(k) }()
		}
		var wrong error
		for range atOnce {
			if err := <-ended; err != nil {
				wrong = err
			}
		}
		return wrong
	}
	for _, atOnce := range []int{1, 4} {
		for name, do := range map[string]func(k int) error{
			"put": func(k int) error {
				return home.put(b.Context(), readShelf, files[k], filepath.Join(dir, fmt.Sprint(k)))
			},
			"get": func(k int) error {
				return worker.get(b.Context(), readShelf, files[k], filepath.Join(dir, fmt.Sprint(k, ".came")))
			},
		} {
			b.Run(fmt.Sprintf("%s/%d", name, atOnce), func(b *testing.B) {
				b.SetBytes(int64(atOnce) * size)
				taken := 0.0
				for b.Loop() {
					b.StopTimer()
					for k := range atOnce {
						if err := home.drop(b.Context(), readShelf, files[k].Hash); err != nil {
							b.Fatal(err)
						}
						if name == "get" {
							if err := home.put(b.Context(), readShelf, files[k], filepath.Join(dir, fmt.Sprint(k))); err != nil {
								b.Fatal(err)
							}
						}
					}
					before := processor(b, tr.hub.Process.Pid)
					b.StartTimer()
					if err := all(atOnce, do); err != nil {
						b.Fatal(err)
					}
					taken += processor(b, tr.hub.Process.Pid) - before
				}
				b.ReportMetric(taken/float64(b.N)/(float64(atOnce)*size/1e9), "cpu-s/GB")
			})
		}
	}
}
