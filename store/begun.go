package store

import (
	"encoding/binary"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"

	bolt "go.etcd.io/bbolt"

	"parstead/store/rights"
)

// begunEnding, in place of .db, names the file that tells that there was a
// database: should that be missing one day, none is begun anew in silence.
const begunEnding = ".begun"

const begunText = `Parstead keeps this trial's readings and log in %s. This file tells that
it did, should that file ever be missing. To begin anew without the readings,
remove both.
`

func begunName(path string) string { return strings.TrimSuffix(path, ".db") + begunEnding }

// exists tells whether there is a database at path. One that was there and is
// not, or is empty, is an error.
func exists(path string) (bool, error) {
	info, err := os.Stat(path)
	if err == nil && info.Size() == 0 {
		return false, fmt.Errorf("%s is %w: it is empty (0 bytes), as a power cut or a full disk leaves a file; move it away, then bring a backup back (parstead restore), or begin anew without its readings by removing %s too",
			path, ErrDamaged, filepath.Base(begunName(path)))
	}
	if err == nil || !errors.Is(err, fs.ErrNotExist) {
		return err == nil, err
	}
	if _, err := os.Lstat(path); err == nil {
		return false, fmt.Errorf("%s is a link that leads to no file: see that the disk it leads to is in its place", path)
	}
	if _, err := os.Lstat(begunName(path)); err == nil {
		return false, fmt.Errorf("%s is %w, though readings were kept there before: put it back, or bring a backup back (parstead restore); to begin anew without them, remove %s",
			path, ErrMissing, filepath.Base(begunName(path)))
	}
	return false, nil
}

// create makes a database that is whole from the moment it has its name, so that
// an empty one is never of our making.
func create(path string) error {
	f, err := os.CreateTemp(filepath.Dir(path), ".parstead-*.partial") // 0600
	if err != nil {
		return err
	}
	if err := f.Close(); err != nil {
		return err
	}
	options := *bolt.DefaultOptions
	options.FreelistType = bolt.FreelistMapType
	b, err := bolt.Open(f.Name(), 0o600, &options)
	if err == nil {
		err = errors.Join(b.Update(makeParts), b.Close())
	}
	if err == nil {
		err = rights.Share(f.Name(), 0o600)
	}
	if err == nil {
		err = name(f.Name(), path)
	}
	if e := os.Remove(f.Name()); e != nil && !errors.Is(e, fs.ErrNotExist) {
		err = errors.Join(err, e)
	}
	switch {
	case errors.Is(err, fs.ErrExist): // another process was first
		return nil
	case err != nil:
		return err
	}
	return syncFolder(filepath.Dir(path))
}

// noteBegun leaves word beside a database that there is one.
func noteBegun(path string) error {
	f, err := os.OpenFile(begunName(path), os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o600)
	if errors.Is(err, fs.ErrExist) {
		return nil
	}
	if err != nil {
		return err
	}
	_, err = fmt.Fprintf(f, begunText, filepath.Base(path))
	return errors.Join(err, f.Close(), rights.Share(f.Name(), 0o600))
}

// makeParts makes the buckets of a new database.
func makeParts(tx *bolt.Tx) error {
	for _, name := range parts {
		if _, err := tx.CreateBucket(name); err != nil {
			return err
		}
	}
	return tx.Bucket(bucketMeta).Put(keyFormat, binary.BigEndian.AppendUint32(nil, formatVersion))
}
