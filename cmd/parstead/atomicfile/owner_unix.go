//go:build unix

package atomicfile

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"syscall"
)

// errOwner says why a file can't be replaced.
var errOwner = errors.New("it belongs to another user than the daemon's, who could not change it any more: let both be the same")

// keepOwner gives a new file the owner and the group of the old one.
func keepOwner(path string, old fs.FileInfo) error {
	info, err := os.Stat(path)
	if err != nil {
		return err
	}
	was, ok := old.Sys().(*syscall.Stat_t)
	is, ok2 := info.Sys().(*syscall.Stat_t)
	if !ok || !ok2 || is.Uid == was.Uid && is.Gid == was.Gid {
		return nil
	}
	if err := os.Chown(path, int(was.Uid), int(was.Gid)); err != nil {
		return fmt.Errorf("%w (%w)", errOwner, err)
	}
	return nil
}

// syncFolder makes a change of names last.
func syncFolder(dir string) error {
	f, err := os.Open(dir)
	if err != nil {
		return err
	}
	return errors.Join(toDisk(f), f.Close())
}
