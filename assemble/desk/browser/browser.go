// Package browser asks the system to show an address. It runs the program that the
// system has for that, and waits for nothing.
package browser

import (
	"os"
	"os/exec"
	"runtime"
)

// Show opens an address in the person's browser. It fails where no program is known
// that could; whether the browser then shows it, nobody tells.
func Show(address string) error {
	name, args := opener(runtime.GOOS)
	cmd := exec.Command(name, append(args, address)...)
	if err := cmd.Start(); err != nil {
		return err
	}
	go func() { _ = cmd.Wait() }() // so that nothing is left of it
	return nil
}

// HasScreen reports whether there is likely a screen to show a page on.
func HasScreen() bool {
	return runtime.GOOS != "linux" || os.Getenv("DISPLAY") != "" || os.Getenv("WAYLAND_DISPLAY") != ""
}

// opener returns the program of a system that opens addresses.
func opener(system string) (name string, args []string) {
	switch system {
	case "darwin":
		return "open", nil
	case "windows":
		return "rundll32", []string{"url.dll,FileProtocolHandler"}
	}
	return "xdg-open", nil
}
