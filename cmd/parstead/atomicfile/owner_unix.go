//go:build unix

package atomicfile

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"syscall"

	"parstead/store/rights"
)

// errOwner says why a file can't be replaced.
var errOwner = errors.New("it belongs to another user than the daemon's, who could not change it any more: let both be the same, or let the folder be for a group that both are in (chmod g+rwXs)")

// keepOwner gives a new file the owner and the group of the old one; where a folder's
// group may write, the group is enough.
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
	err = os.Chown(path, int(was.Uid), int(was.Gid))
	if err != nil && (is.Gid != was.Gid || !rights.Group(filepath.Dir(path))) {
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
