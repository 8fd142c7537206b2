//go:build !unix

package atomicfile

import "io/fs"

// keepOwner has nothing to do: here a file's rights are its folder's.
func keepOwner(string, fs.FileInfo) error { return nil }

// syncFolder has nothing to do: here a folder can't be synced.
func syncFolder(string) error { return nil }
