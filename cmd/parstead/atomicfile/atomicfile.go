// Package atomicfile writes files that are there as a whole or not at all, and
// that a power cut doesn't take back: a file is on the disk before it gets its
// name, and the name before a caller hears that it is done.
package atomicfile

import (
	"bufio"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"

	"parstead/store/rights"
)

// Ending is that of a file in the making.
const Ending = ".new"

// toDisk sees a file or a folder to the disk; tests put faults in its place.
var toDisk = (*os.File).Sync

// Create writes a file that is not there yet, with mode, and for its folder's group too
// where that may write there: fs.ErrExist is in the error if it is. What was written of one that failed is left.
func Create(path string, mode fs.FileMode, write func(*bufio.Writer) error) error {
	err := create(path, mode, write)
	if err == nil {
		err = syncFolder(filepath.Dir(path))
	}
	if err != nil {
		return fmt.Errorf("write %s: %w", filepath.Base(path), err)
	}
	return nil
}

// create writes a new file that is on the disk when it returns.
func create(path string, mode fs.FileMode, write func(*bufio.Writer) error) error {
	f, err := os.OpenFile(path, os.O_WRONLY|os.O_CREATE|os.O_EXCL, mode)
	if err != nil {
		return err
	}
	w := bufio.NewWriterSize(f, 1<<16)
	if err = rights.Share(path, mode); err == nil {
		err = write(w)
	}
	if err == nil {
		err = w.Flush()
	}
	if err == nil {
		err = toDisk(f)
	}
	return errors.Join(err, f.Close())
}

// Replace puts a file in the place of another, or where none is, so that at any
// moment the one or the other is there as a whole. It gets the owner and the
// rights of like, and otherwise those of Create. An error of
// ready, which is asked last and may be nil, leaves what is there.
func Replace(path string, text []byte, like fs.FileInfo, ready func() error) error {
	fresh := path + Ending
	if err := remove(fresh); err != nil { // left over, or a link that somebody laid there
		return err
	}
	err := create(fresh, 0o600, func(w *bufio.Writer) error {
		_, err := w.Write(text)
		return err
	})
	if err == nil && like != nil {
		if err = os.Chmod(fresh, rights.In(filepath.Dir(path), like.Mode().Perm())); err == nil {
			err = keepOwner(fresh, like)
		}
	}
	if err == nil && ready != nil {
		err = ready()
	}
	if err == nil {
		err = os.Rename(fresh, path)
	}
	if err != nil {
		return errors.Join(err, remove(fresh))
	}
	return syncFolder(filepath.Dir(path))
}

func remove(path string) error {
	if err := os.Remove(path); !errors.Is(err, fs.ErrNotExist) {
		return err
	}
	return nil
}

// Rename gives a file or a folder that is on the disk another name, in the
// place of what has it.
func Rename(from, to string) error {
	if err := os.Rename(from, to); err != nil {
		return err
	}
	return syncFolder(filepath.Dir(to))
}
