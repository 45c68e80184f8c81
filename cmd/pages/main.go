// Command pages writes the manual pages and completions that packages carry:
// pages DIR DAY, with the day as 2031-05-04. cmd/release.sh calls it.
package main

import (
	"fmt"
	"os"
	"time"

	"ripieno/assemble/cli/pages"
)

func main() {
	if len(os.Args) != 3 {
		fmt.Fprintln(os.Stderr, "error: usage: pages DIR DAY")
		os.Exit(2)
	}
	day, err := time.Parse(time.DateOnly, os.Args[2])
	if err == nil {
		err = pages.Write(os.Args[1], day)
	}
	if err != nil {
		fmt.Fprintln(os.Stderr, "error:", err)
		os.Exit(1)
	}
}
