// Package rights says who may read and change what the program makes in a folder: the
// user it runs as and, where the folder is one that its group may write in, that group,
// so that a daemon with a user of its own and a grower share a trial. Who may write in a
// folder could put anything in a file's place as it is.
package rights

import (
	"errors"
	"io/fs"
	"os"
	"path/filepath"
)

// Group is whether a folder's group may write in it.
func Group(folder string) bool {
	info, err := os.Stat(folder)
	return err == nil && info.Mode()&0o020 != 0
}

// In gives the rights of a file or folder that is made in folder: mode, and for the group
// what its user has, where it is the group's folder.
func In(folder string, mode fs.FileMode) fs.FileMode {
	if Group(folder) {
		mode |= mode & 0o700 >> 3
	}
	return mode
}

// Share gives what was made at path, with mode, the rights of In its folder, whatever the
// umask.
func Share(path string, mode fs.FileMode) error {
	if in := In(filepath.Dir(path), mode); in != mode {
		info, err := os.Stat(path)
		if err != nil {
			return err
		}
		return os.Chmod(path, info.Mode()|in) // a folder keeps handing on its group
	}
	return nil
}

// MkdirAll makes a folder and those above it that are not there, each with the rights of
// In the one above.
func MkdirAll(dir string, mode fs.FileMode) error {
	parent := filepath.Dir(dir)
	if _, err := os.Stat(dir); !errors.Is(err, fs.ErrNotExist) || parent == dir {
		return os.MkdirAll(dir, mode) // which says what is wrong with one that is no folder
	}
	if err := MkdirAll(parent, mode); err != nil {
		return err
	}
	if err := os.MkdirAll(dir, mode); err != nil {
		return err
	}
	return Share(dir, mode)
}
