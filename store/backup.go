package store

import (
	"bufio"
	"cmp"
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"runtime"
	"runtime/debug"

	"parstead/store/rights"

	bolt "go.etcd.io/bbolt"
)

// Backup writes a consistent copy of the database to a new file, while
// readings go on being taken, syncs it and reads it back. A file of that name
// is never replaced; on an error nothing stays behind.
func (db *DB) Backup(ctx context.Context, path string) error {
	s, err := db.View()
	if err != nil {
		return fmt.Errorf("copy the database: %w", err)
	}
	err = s.copyTo(ctx, path)
	if err = errors.Join(err, s.Close()); err != nil {
		return fmt.Errorf("copy the database: %w", err)
	}
	return nil
}

// ErrNone is what a copy of a database that was never made gets.
var ErrNone = fmt.Errorf("there is no database to copy yet: %w", fs.ErrNotExist)

// Backup is DB.Backup for a trial folder's database, whoever holds it.
func Backup(ctx context.Context, folder, path string) error {
	type done struct{}
	name := filepath.Join(folder, FileName)
	_, err := firstOf(folder,
		func() (done, error) {
			c := dial(folder)
			if err := c.greet(ctx); err != nil {
				return done{}, err
			}
			return done{}, writeNew(path, func(err error) error { return damagedFile(name, err) }, func(w io.Writer) error { return c.fetch(ctx, w) })
		},
		func() (done, error) {
			s, err := openFile(name)
			if err != nil {
				return done{}, err
			}
			return done{}, errors.Join(s.copyTo(ctx, path), s.Close())
		})
	if err != nil {
		return fmt.Errorf("copy the database: %w", err)
	}
	return nil
}

// Restore puts a backup into a folder that has no database. The backup is
// verified first, and the copy again.
func Restore(ctx context.Context, backup, folder string) error {
	name := filepath.Join(folder, FileName)
	if _, err := os.Lstat(name); err == nil {
		return fmt.Errorf("restore: %s exists already: move it away, or restore into another folder", name)
	}
	err := verify(backup)
	if errors.Is(err, ErrDamaged) {
		err = fmt.Errorf("%s can't be read back: take another backup (%w)", backup, err)
	}
	if err == nil {
		err = rights.MkdirAll(folder, 0o700)
	}
	if err == nil {
		err = copyFile(ctx, backup, name)
	}
	if err != nil {
		return fmt.Errorf("restore: %w", err)
	}
	return nil
}

func copyFile(ctx context.Context, from, to string) error {
	f, err := os.Open(from)
	if err != nil {
		return err
	}
	err = writeNew(to, func(err error) error { return untouchedFile(from, err) }, func(w io.Writer) error {
		_, err := io.Copy(stopping{ctx, w}, f)
		return err
	})
	return errors.Join(err, f.Close())
}

func (s *Snapshot) copyTo(ctx context.Context, path string) error {
	if s.tx == nil {
		return ErrNone
	}
	return writeNew(path, s.damaged, func(w io.Writer) error {
		if _, err := s.WriteTo(StopWith(ctx, w)); err != nil {
			return cmp.Or(ctx.Err(), err) // bbolt names its cause without wrapping it
		}
		return nil
	})
}

// stopping is a writer that fails once its context has ended.
type stopping struct {
	ctx context.Context //nolint:containedctx // lives for one copy
	to  io.Writer
}

// StopWith is w until ctx has ended; then it fails.
func StopWith(ctx context.Context, w io.Writer) io.Writer { return stopping{ctx, w} }

func (s stopping) Write(b []byte) (int, error) {
	if err := s.ctx.Err(); err != nil {
		return 0, err
	}
	return s.to.Write(b)
}

// copyBuffer is how much is copied at once.
const copyBuffer = 1 << 20

// writeNew makes a database file that is whole from the moment it has its
// name: written under another name, synced, verified, then named. Where it can't
// be read back the database that it is a copy of is at fault, which damaged says.
func writeNew(path string, damaged func(error) error, write func(io.Writer) error) error {
	if _, err := os.Lstat(path); err == nil {
		return fmt.Errorf("%s exists already: choose another name", path)
	}
	folder := filepath.Dir(path)
	f, err := os.CreateTemp(folder, ".parstead-*.partial") // 0600
	if err != nil {
		return err
	}
	out := newWriteout(f)
	buffered := bufio.NewWriterSize(out, copyBuffer)
	err = write(buffered)
	if err == nil {
		err = buffered.Flush()
	}
	out.end()
	if err == nil {
		synced := make(chan error)
		go func() { synced <- f.Sync() }() // meanwhile it is read back
		if err = verify(f.Name()); errors.Is(err, ErrDamaged) {
			err = damaged(err)
		}
		err = errors.Join(err, <-synced)
	}
	err = errors.Join(err, f.Close())
	if err == nil {
		err = rights.Share(f.Name(), 0o600)
	}
	if err == nil {
		err = name(f.Name(), path)
	}
	if err != nil {
		if e := os.Remove(f.Name()); !errors.Is(e, fs.ErrNotExist) {
			err = errors.Join(err, e)
		}
		return err
	}
	return syncFolder(folder)
}

// name gives a file its final name, unless there is a file of that name.
func name(from, to string) error {
	err := os.Link(from, to)
	switch {
	case err == nil:
		return os.Remove(from)
	case errors.Is(err, fs.ErrExist):
		return err
	}
	// A file system without links, such as a memory stick's.
	if _, err := os.Lstat(to); err == nil {
		return fmt.Errorf("%s exists already: choose another name", to)
	}
	return os.Rename(from, to)
}

// syncFolder makes a new name last.
func syncFolder(folder string) error {
	if runtime.GOOS == "windows" { // folders can't be synced there
		return nil
	}
	f, err := os.Open(folder)
	if err != nil {
		return err
	}
	return errors.Join(f.Sync(), f.Close())
}

// verify reads a whole database file: every page that holds something, every
// record's checksum, and the list of free pages.
func verify(path string) error {
	info, err := os.Stat(path)
	if err != nil {
		return err
	}
	if info.Size() == 0 {
		return fmt.Errorf("it is empty: %w", ErrDamaged)
	}
	b, _, err := openBolt(path, true)
	if err != nil {
		return err
	}
	return errors.Join(verifyRecords(b), b.Close())
}

func verifyRecords(b *bolt.DB) (err error) {
	defer guard(debug.SetPanicOnFault(true), &err)
	return b.View(func(tx *bolt.Tx) error {
		if err := checkParts(tx); err != nil {
			return err
		}
		return cmp.Or(
			checkRecords(tx, bucketSensors, kindSensor), checkRecords(tx, bucketGroups, kindGroup),
			checkRecords(tx, bucketBlocks, kindBlock), checkRecords(tx, bucketLog, kindEvent))
	})
}

// checkRecords checks every record of a bucket by its checksum.
func checkRecords(tx *bolt.Tx, bucket []byte, kind byte) error {
	c := tx.Bucket(bucket).Cursor()
	for k, v := c.First(); k != nil; k, v = c.Next() {
		if _, err := unseal(kind, k, v); err != nil {
			return fmt.Errorf("%s: %w", bucket, err)
		}
	}
	return nil
}
