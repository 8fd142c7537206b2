package trial

import (
	"bytes"
	"errors"
	"io/fs"
	"os"
	"path/filepath"
)

// DraftEnding is that of a file in the making.
const DraftEnding = ".new"

// replaceFile puts a file in the place of another, with its owner and rights, so
// that at any moment the one or the other is there as a whole. It fails with
// ErrChanged unless the old one still holds before; nil: unless there is none.
// A new one gets the owner and the rights of the trial's own file.
func replaceFile(path string, before, after []byte) (err error) {
	if target, err := filepath.EvalSymlinks(path); err == nil {
		path = target
	}
	old, err := os.Stat(path)
	if errors.Is(err, fs.ErrNotExist) {
		old, err = os.Stat(filepath.Join(filepath.Dir(path), configFile))
	}
	if err != nil {
		return err
	}
	fresh := path + DraftEnding
	if err := removeDraft(fresh); err != nil { // left over, or a link that somebody laid there
		return err
	}
	if err := writeDraft(fresh, after, old); err != nil {
		return errors.Join(err, removeDraft(fresh))
	}
	now, err := readFile(path)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		if err = nil; before != nil {
			err = ErrChanged
		}
	case err == nil && (before == nil || !bytes.Equal(now, before)):
		err = ErrChanged
	}
	if err == nil {
		err = os.Rename(fresh, path)
	}
	if err != nil {
		return errors.Join(err, removeDraft(fresh))
	}
	return syncFolder(filepath.Dir(path))
}

// writeDraft writes a new file that is on the disk when it returns.
func writeDraft(path string, text []byte, like fs.FileInfo) error {
	f, err := os.OpenFile(path, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o600)
	if err != nil {
		return err
	}
	_, err = f.Write(text)
	if err == nil {
		err = f.Sync()
	}
	if err = errors.Join(err, f.Close()); err != nil {
		return err
	}
	if err := os.Chmod(path, like.Mode().Perm()); err != nil {
		return err
	}
	return keepOwner(path, like)
}

func removeDraft(path string) error {
	if err := os.Remove(path); !errors.Is(err, fs.ErrNotExist) {
		return err
	}
	return nil
}
