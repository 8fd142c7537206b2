package store

import (
	"encoding/binary"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
)

// DisplacedError says that the file at a database's path is no longer the one
// that is open: what were written would be found by nobody. Nothing is kept then.
type DisplacedError struct {
	Path string
	What string // happened to it
	// Held tells that the open file is as it was, though not at its path: all that
	// was kept can still be read and copied, as long as it stays open.
	Held bool
}

func (e *DisplacedError) Error() string {
	if e.Held {
		return fmt.Sprintf("%s %s while it was in use, so nothing more is kept: before the daemon ends, copy what it still holds (parstead backup)", e.Path, e.What)
	}
	return fmt.Sprintf("%s %s while it was in use, so nothing more is kept: stop the daemon, see that the right %s is in its place, start it again",
		e.Path, e.What, filepath.Base(e.Path))
}

// Is makes a file that was written over a damaged one: what was open is gone.
func (e *DisplacedError) Is(target error) bool { return target == ErrDamaged && !e.Held }

// headSize is the part of each of the file's first two pages that is compared:
// bbolt's page header and its meta record, of which every commit changes one.
const headSize = pageHeaderSize + 64

// txidAt is where the number of the transaction stands in a head.
const txidAt = pageHeaderSize + 48

// place is what is known of the open file, to be held against what lies at its
// path.
type place struct {
	file  *os.File
	info  os.FileInfo // says which file it is: device and inode, or the like
	page  int64       // bytes of a page
	size  int64       // it never shrinks by itself
	heads [2][headSize]byte
}

// newPlace takes down the file as it was opened.
func newPlace(f *os.File, pageSize int) (p place, err error) {
	p = place{file: f, page: int64(pageSize)}
	if p.info, err = f.Stat(); err != nil {
		return p, err
	}
	p.size = p.info.Size()
	p.heads, err = p.read()
	return p, err
}

func (p *place) read() (heads [2][headSize]byte, err error) {
	for i := range heads {
		if _, err := p.file.ReadAt(heads[i][:], int64(i)*p.page); err != nil {
			return heads, err
		}
	}
	return heads, nil
}

// written takes down the file after a commit of this process, whether that went
// well or not, and tells whether it finds the commit's number there.
func (p *place) written(txid uint64) bool {
	heads, err := p.read()
	if err == nil {
		p.heads = heads
	}
	return err == nil && binary.NativeEndian.Uint64(heads[txid%2][txidAt:]) == txid
}

// look compares what lies at the path with the open file; nil where all is well.
func (p *place) look(path string) *DisplacedError {
	info, err := os.Stat(path)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return &DisplacedError{path, "was removed", true}
	case err != nil:
		return &DisplacedError{path, fmt.Sprintf("can't be looked at (%v)", err), true}
	case !os.SameFile(info, p.info):
		return &DisplacedError{path, "was replaced by another file", true}
	}
	heads, err := p.read()
	if err != nil || heads != p.heads || info.Size() < p.size {
		return writtenOver(path)
	}
	p.size = info.Size()
	return nil
}

func writtenOver(path string) *DisplacedError {
	return &DisplacedError{path, "was written over by another program", false}
}

// InPlace tells whether the file at the database's path is still the one that is
// open, as this process left it: nil, or a *DisplacedError. Every write looks for
// itself; this is for the time between writes. It never waits for one.
func (db *DB) InPlace() error {
	if !db.write.TryLock() {
		return db.displacement()
	}
	defer db.write.Unlock()
	if errors.Is(db.failed, ErrClosed) {
		return db.displacement()
	}
	return db.inPlace()
}

// displacement is what the last look found.
func (db *DB) displacement() error {
	if d := db.displaced.Load(); d != nil {
		return d
	}
	return nil
}

// inPlace is InPlace under db.write. A file that was put back is well again; one
// that was written over is lost to this process.
func (db *DB) inPlace() error {
	if d := db.displaced.Load(); d == nil || d.Held {
		db.displaced.Store(db.place.look(db.path))
	}
	return db.displacement()
}
