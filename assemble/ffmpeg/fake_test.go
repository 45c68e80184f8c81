//go:build unix

package ffmpeg

import (
	"fmt"
	"io"
	"net"
	"os"
	"os/signal"
	"strings"
	"syscall"
	"testing"
)

// The test binary plays ffmpeg when this variable is set: real ffmpeg cannot
// be told to hang, to ignore an interrupt or to fill a disk.
const fakeVar = "RIPIENO_FAKE_FFMPEG"

func TestMain(m *testing.M) {
	if role := os.Getenv(fakeVar); role != "" {
		os.Exit(fake(role))
	}
	os.Exit(m.Run())
}

// fake plays one role and returns the exit status.
func fake(role string) int {
	switch role {
	case "fail":
		fmt.Fprintln(os.Stderr, "[error] first\n[error] Conversion failed!")
		return 3
	case "spam": // far more than may be kept
		for i := range 10_000 {
			fmt.Fprintf(os.Stderr, "line %d %s\n", i, strings.Repeat("x", 1000))
		}
		return 1
	case "disk full": // as ffmpeg does when the trailer no longer fits
		fmt.Fprintln(os.Stderr, "av_interleaved_write_frame(): No space left on device\nlater words")
		return 0
	case "killed":
		self, _ := os.FindProcess(os.Getpid())
		self.Kill()
		select {}
	case "polite": // ends on the first interrupt, with the status of success
		ints := make(chan os.Signal, 2)
		signal.Notify(ints, os.Interrupt)
		fmt.Println("ready")
		<-ints
		fmt.Fprintln(os.Stderr, "Exiting normally, received signal 2.")
		return 0
	case "stubborn":
		signal.Ignore(os.Interrupt)
		fmt.Println("ready")
		select {}
	case "repeats itself": // reports, always of the same frame
		for {
			if _, err := fmt.Println("frame=7\nout_time_us=280000\ntotal_size=100\nprogress=continue"); err != nil {
				return 1
			}
		}
	case "mute and stubborn":
		signal.Ignore(os.Interrupt)
		select {}
	case "hungry": // asks for two gigabytes, a little at a time
		var kept [][]byte
		for range 2000 {
			b := make([]byte, 1<<20)
			for i := range b {
				b[i] = 1
			}
			kept = append(kept, b)
		}
		fmt.Println(len(kept))
		return 0
	case "spins": // works and gets nowhere
		for n := uint64(1); ; n = n*6364136223846793005 + 1 {
			if n == 0 {
				fmt.Println(n)
			}
		}
	case "writes": // 8 MB to the file that is its last argument
		f, err := os.Create(os.Args[len(os.Args)-1])
		if err != nil {
			return 1
		}
		signal.Ignore(syscall.SIGXFSZ) // Go would print all its goroutines
		if _, err := f.Write(make([]byte, 8<<20)); err != nil {
			fmt.Fprintln(os.Stderr, err)
			return 1
		}
		return 0
	case "copy": // standard input to standard output
		if _, err := io.Copy(os.Stdout, os.Stdin); err != nil {
			return 1
		}
		return 0
	case "flood":
		line := strings.Repeat("x", 1<<16)
		for range 2 * maxProbe >> 16 {
			if _, err := io.WriteString(os.Stdout, line); err != nil {
				return 1
			}
		}
		return 0
	case "who": // arguments and process group
		fmt.Printf("group of its own: %v\n", syscall.Getpgrp() == os.Getpid())
		fmt.Println(strings.Join(os.Args[1:], " "))
		return 0
	case "old":
		fmt.Println("ffmpeg version 4.2.7-0ubuntu0.1 Copyright (c) 2000-2022")
		return 0
	case "other program":
		fmt.Println("usage: frobnicate [file]")
		return 0
	case "orphan": // says it lives on a socket, and never ends
		conn, err := net.Dial("unix", os.Getenv("RIPIENO_FAKE_SOCKET"))
		if err != nil {
			return 1
		}
		fmt.Fprintln(conn, os.Getpid())
		select {}
	case "parent": // runs an orphan-to-be and waits
		os.Setenv(fakeVar, "orphan")
		err := fakeTool().Run(parentContext(), Command{})
		fmt.Println(err)
		return 1
	}
	fmt.Fprintln(os.Stderr, "unknown role", role)
	return 99
}

// fakeTool runs this test binary in the place of both programs.
func fakeTool() *Tool {
	self, err := os.Executable()
	if err != nil {
		panic(err)
	}
	return &Tool{FFmpeg: self, FFprobe: self}
}
