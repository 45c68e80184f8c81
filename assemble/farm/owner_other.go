//go:build !unix

package farm

// giveToOwner does nothing: files belong there to whom their folder says.
func giveToOwner(string) error { return nil }
