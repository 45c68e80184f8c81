// Command ripieno assembles split-screen performances: from a written manifest
// and the takes of players who recorded at home to a finished film.
package main

import (
	"context"
	"os"
	"os/signal"
	"syscall"

	"ripieno/assemble/cli"
)

func main() {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	code := cli.Main(ctx, os.Args[1:], cli.Streams{In: os.Stdin, Out: os.Stdout, Err: os.Stderr})
	stop()
	os.Exit(code)
}
