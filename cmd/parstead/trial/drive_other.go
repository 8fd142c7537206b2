//go:build !linux

package trial

// networkDrive would name the kind of a network's file system; how to ask for
// it is known on Linux only.
func networkDrive(string) string { return "" }
