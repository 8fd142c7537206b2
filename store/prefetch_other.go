//go:build !linux

package store

import "os"

// prefetch does nothing: elsewhere the system is left to its own ways.
func prefetch(*os.File) {}
