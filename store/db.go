package store

import (
	"cmp"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"net/http"
	"os"
	"path/filepath"
	"runtime"
	"runtime/debug"
	"strconv"
	"strings"
	"sync"
	"sync/atomic"
	"syscall"
	"time"

	"github.com/prometheus/client_golang/prometheus"
	bolt "go.etcd.io/bbolt"
	berrors "go.etcd.io/bbolt/errors"

	"parstead/light"
)

// FileName and SocketName are the store's two files in a trial's folder.
const (
	FileName   = "readings.db"
	SocketName = "parstead.sock"
)

// Errors that callers tell apart.
var (
	ErrInUse  = errors.New("in use by another process")
	ErrClosed = errors.New("the store is closed")
	// ErrMissing marks a database that was there before.
	ErrMissing = errors.New("missing")
	// ErrFailed is what a write gets whose sync failed, and every write after it:
	// what the disk then holds is known only after the database is opened again.
	ErrFailed = errors.New("the disk failed to keep a write: restart to take readings again")
)

// lockPatience is how long an opener waits for another one to let go; a
// command that only reads is done in less.
const lockPatience = time.Second

// growth is the step by which the file grows.
const growth = 1 << 20

// checkedSize is up to which size a database's blocks are checked when it is
// opened; all else of it is always read then. Blocks of a larger one are checked
// when they are read, as by the sum of a trial's light and by a backup.
const checkedSize = 1 << 26

// formatVersion counts layouts of the whole file.
const formatVersion = 1

// The buckets and the keys of the first.
var (
	bucketMeta    = []byte("meta")
	bucketSensors = []byte("sensors")
	bucketGroups  = []byte("groups")
	bucketBlocks  = []byte("blocks")
	bucketLog     = []byte("log")

	parts = [...][]byte{bucketMeta, bucketSensors, bucketGroups, bucketBlocks, bucketLog}

	keyFormat = []byte("format")
	keyBoot   = []byte("boot")
)

// Options are what Open may be told. The zero value serves.
type Options struct {
	Now        func() time.Time      // nil: time.Now
	Log        *slog.Logger          // nil: silent
	Registerer prometheus.Registerer // nil: no metrics

	// OnAppend, where not nil, is told the earliest time among the readings of
	// each group that was kept, by whichever way it came. It must not block.
	OnAppend func(earliest time.Time)

	// Socket, where not nil, answers what is asked for at the socket and isn't the
	// store's.
	Socket http.Handler
}

// DB is the open database of one trial. Its methods may be called from
// several goroutines.
type DB struct {
	bolt    *bolt.DB
	path    string
	now     func() time.Time
	log     *slog.Logger
	metrics *metrics
	boot    uint32
	opened  time.Time
	commit  func(*bolt.Tx) error // tests put a failing disk in its place

	displaced atomic.Pointer[DisplacedError] // what the last look at the file found

	checked chan struct{} // closed once all pages have been checked
	unsound error         // what that found; not to be read before

	onAppend func(earliest time.Time) // may be nil
	socket   http.Handler             // may be nil

	write  sync.Mutex // held for a whole writing transaction; guards what follows
	failed error
	place  place
	isDue  bool // the boot number is not written yet
	group  groupWriter
	owners []*sensor // of the group being written, one a reading
	weeks  weekCache

	entries logCache

	mu    sync.RWMutex // guards what is asked for between writes
	state state
}

// Open opens the database at path, or makes it where there never was one. It
// fails at once if another process holds the database, with ErrInUse, if the file
// is damaged, with ErrDamaged, and if it was there before and is not, with
// ErrMissing; it then leaves the file as it is.
func Open(path string, o Options) (*DB, error) {
	there, err := exists(path)
	if err != nil {
		return nil, err
	}
	return openOrMake(path, there, o)
}

// openOrMake opens the database, which it makes if it is not there.
func openOrMake(path string, there bool, o Options) (*DB, error) {
	if o.Now == nil {
		o.Now = time.Now
	}
	if o.Log == nil {
		o.Log = slog.New(slog.DiscardHandler)
	}
	if !there {
		if err := create(path); err != nil {
			return nil, fmt.Errorf("make %s: %w", path, err)
		}
	}
	b, file, err := openBolt(path, false)
	if err != nil {
		return nil, err
	}
	db := &DB{
		bolt: b, path: path, now: o.Now, log: o.Log, opened: o.Now(),
		commit: (*bolt.Tx).Commit, onAppend: o.OnAppend, socket: o.Socket, checked: make(chan struct{}),
	}
	if o.Registerer != nil {
		db.metrics = newMetrics(o.Registerer)
	}
	if db.place, err = newPlace(file, b.Info().PageSize); err == nil {
		err = db.start()
	}
	if err != nil {
		return nil, errors.Join(err, b.Close())
	}
	if err := noteBegun(path); err != nil {
		db.log.Warn("no word left that there is a database", "file", begunName(path), "error", err)
	}
	return db, nil
}

// start reads what is kept in memory and takes the next boot number. A damaged
// database is recognised before anything is written: a large one by a check that
// goes on behind, for which the first write waits.
func (db *DB) start() error {
	db.write.Lock()
	defer db.write.Unlock()
	t, large, err := db.checkTree()
	if err == nil {
		err = db.view(func(tx *bolt.Tx) error {
			if err := checkParts(tx); err != nil {
				return err
			}
			if v := tx.Bucket(bucketMeta).Get(keyBoot); len(v) == 4 {
				db.boot = binary.BigEndian.Uint32(v)
			}
			if large {
				return nil
			}
			return checkRecords(tx, bucketBlocks, kindBlock)
		})
	}
	if err == nil {
		err = db.reload()
	}
	db.boot++
	db.isDue = true
	switch {
	case err == nil && large:
		go db.checkRest(t)
	case err == nil:
		close(db.checked)
		err = db.update(func(*bolt.Tx) error { return nil })
	}
	switch {
	case errors.Is(err, ErrDamaged):
		return untouchedFile(db.path, err)
	case err != nil:
		return fmt.Errorf("open %s: %w", db.path, err)
	}
	return nil
}

// putBoot writes the boot number.
func (db *DB) putBoot(tx *bolt.Tx) error {
	return tx.Bucket(bucketMeta).Put(keyBoot, binary.BigEndian.AppendUint32(nil, db.boot))
}

// checkParts tells whether this program can read the database.
func checkParts(tx *bolt.Tx) error {
	for _, name := range parts {
		if tx.Bucket(name) == nil {
			return fmt.Errorf("it has no %s: %w", name, ErrDamaged)
		}
	}
	v := tx.Bucket(bucketMeta).Get(keyFormat)
	if len(v) != 4 {
		return fmt.Errorf("format number: %w", ErrDamaged)
	}
	if n := binary.BigEndian.Uint32(v); n != formatVersion {
		return fmt.Errorf("the database has format %d, this program reads %d: use the program that wrote it", n, formatVersion)
	}
	return nil
}

// damagedFile says what is wrong, where, and the way out.
func damagedFile(path string, err error) error { return damagedSays(path, "", err) }

// untouchedFile is damagedFile for one that this process has not written to.
func untouchedFile(path string, err error) error {
	return damagedSays(path, " and was left as it is", err)
}

func damagedSays(path, more string, err error) error {
	cause := strings.TrimSuffix(err.Error(), ": "+ErrDamaged.Error())
	return fmt.Errorf("%s is %w%s (%s): set it aside, then bring a backup back (parstead restore) or what can still be read (parstead restore --salvage)",
		path, ErrDamaged, more, cause)
}

// Boot is the number of this opening: one more than that of the last.
func (db *DB) Boot() uint32 { return db.boot }

// Path is the database's file.
func (db *DB) Path() string { return db.path }

// Close waits for a write in progress and closes the database. Snapshots must
// be closed before.
func (db *DB) Close() error {
	db.write.Lock()
	defer db.write.Unlock()
	if errors.Is(db.failed, ErrClosed) {
		return nil
	}
	db.failed = ErrClosed
	<-db.checked
	return db.bolt.Close()
}

// update runs fn in a writing transaction and commits it. The caller holds
// db.write. On an error nothing of it is kept, unless the error says that the
// disk failed; the caller then reloads what it changed in memory.
func (db *DB) update(fn func(*bolt.Tx) error) (err error) {
	if db.failed != nil {
		return db.failed
	}
	if err := cmp.Or(db.inPlace(), db.sound()); err != nil {
		return err
	}
	defer func() {
		if errors.Is(err, ErrDamaged) { // a damaged database is not written to, and bbolt may still hold its lock
			db.failed = ErrFailed
		}
	}()
	defer guard(debug.SetPanicOnFault(true), &err)
	tx, err := db.bolt.Begin(true)
	if err != nil {
		return err
	}
	defer tx.Rollback() //nolint:errcheck // after Commit it has nothing to do
	if err := fn(tx); err != nil {
		return err
	}
	if db.isDue {
		if err := db.putBoot(tx); err != nil {
			return err
		}
	}
	txid := uint64(tx.ID())
	timer := db.metrics.commitTimer()
	err = db.commit(tx)
	timer.ObserveDuration()
	if err != nil && !wroteNothing(err) {
		db.failed = ErrFailed
		db.log.Error("commit failed", "file", db.path, "error", err)
		err = fmt.Errorf("%w (%w)", ErrFailed, err)
	}
	if !db.place.written(txid) && err == nil {
		db.displaced.Store(writtenOver(db.path))
	}
	if err != nil {
		return err
	}
	db.isDue = false
	return db.inPlace() // the file may have gone meanwhile
}

// wroteNothing tells whether a failed commit is one that left the database as
// it was, so that the next may succeed: no room, told before the new state was
// announced. After a failed sync that can't be known.
func wroteNothing(err error) bool {
	return errors.Is(err, syscall.ENOSPC) || errors.Is(err, syscall.EDQUOT) || errors.Is(err, syscall.EFBIG) ||
		errors.Is(err, berrors.ErrMaxSizeReached) ||
		strings.HasPrefix(err.Error(), "file resize error") // bbolt names its cause without wrapping it
}

// guard ends a function that reads mapped pages: a page that cannot be read,
// or that is not what it should be, shows as a panic and becomes ErrDamaged.
func guard(panicOnFault bool, err *error) {
	debug.SetPanicOnFault(panicOnFault)
	if p := recover(); p != nil {
		*err = fmt.Errorf("page of the database: %w (%v)", ErrDamaged, p)
	}
}

// initialMap is how much of the file is mapped from the start: room to grow
// without a new mapping, for which a commit would have to wait until every
// snapshot is closed.
func initialMap() int {
	switch {
	case runtime.GOOS == "windows": // the file itself takes the size of the map there
		return 1 << 25
	case strconv.IntSize == 32:
		return 1 << 28
	default:
		return 1 << 30
	}
}

// openBolt opens a database file, recognising what is wrong with it.
func openBolt(path string, readOnly bool) (b *bolt.DB, file *os.File, err error) {
	options := *bolt.DefaultOptions
	options.Timeout = lockPatience
	options.ReadOnly = readOnly
	if !readOnly {
		options.InitialMmapSize = initialMap()
		options.FreelistType = bolt.FreelistMapType
	}
	options.OpenFile = func(name string, flag int, mode os.FileMode) (*os.File, error) {
		f, err := os.OpenFile(name, flag, mode)
		file = f
		if err == nil && readOnly { // to be read as a whole, most likely
			prefetch(f)
		}
		return f, err
	}
	func() {
		defer guard(debug.SetPanicOnFault(true), &err)
		b, err = bolt.Open(path, 0o600, &options)
		if err == nil {
			b.AllocSize = growth
			err = checkLength(b)
		}
		if err == nil && readOnly {
			err = checkAll(b, file)
		}
	}()
	switch {
	case err == nil:
		return b, file, nil
	case errors.Is(err, berrors.ErrTimeout):
		return nil, nil, fmt.Errorf("%s in %s is %w: stop the daemon or command that holds it, then try again",
			filepath.Base(path), filepath.Dir(path), ErrInUse)
	case errors.Is(err, berrors.ErrInvalid), errors.Is(err, berrors.ErrChecksum), errors.Is(err, berrors.ErrVersionMismatch),
		errors.Is(err, io.EOF), errors.Is(err, io.ErrUnexpectedEOF), errors.Is(err, ErrDamaged),
		strings.Contains(err.Error(), "file size too small"):
		err = untouchedFile(path, err)
	default:
		err = fmt.Errorf("open %s: %w", path, err)
	}
	switch {
	case b != nil:
		err = errors.Join(err, b.Close())
	case file != nil:
		// Left open, mapped and locked only where bbolt panicked.
		if e := errors.Join(unlock(file), file.Close()); !errors.Is(e, os.ErrClosed) {
			err = errors.Join(err, e)
		}
	}
	return nil, nil, err
}

// view runs fn in a reading transaction. The caller holds db.write.
func (db *DB) view(fn func(*bolt.Tx) error) (err error) {
	if err := db.inPlace(); errors.Is(err, ErrDamaged) {
		return err
	}
	defer guard(debug.SetPanicOnFault(true), &err)
	return db.bolt.View(fn)
}

// checkLength finds a file that is shorter than its pages need.
func checkLength(b *bolt.DB) error {
	return b.View(func(tx *bolt.Tx) error {
		info, err := os.Stat(b.Path())
		if err != nil {
			return err
		}
		if info.Size() < tx.Size() {
			return fmt.Errorf("the file has %d bytes of %d: %w", info.Size(), tx.Size(), ErrDamaged)
		}
		return nil
	})
}

// LastEvent is the id of the newest entry of the log; 0 where there is none.
func (db *DB) LastEvent() uint64 {
	db.mu.RLock()
	defer db.mu.RUnlock()
	return db.state.lastEvent
}

// Stats are figures about what is stored.
type Stats struct {
	Readings  map[string]uint64 // kept, by sensor
	Loose     uint64            // of these, not yet packed
	FileBytes int64             // what the file takes on disk
	LiveBytes int64             // pages in use
	FreePages int
}

// Stats counts what is stored.
func (db *DB) Stats() (s Stats, err error) {
	defer guard(debug.SetPanicOnFault(true), &err)
	db.mu.RLock()
	s.Readings = make(map[string]uint64, len(db.state.sensors))
	for name, x := range db.state.sensors {
		if n := x.packed + x.loose; n > 0 {
			s.Readings[name] = n
		}
		s.Loose += x.loose
	}
	db.mu.RUnlock()
	info, err := os.Stat(db.path)
	if err != nil {
		return s, err
	}
	s.FileBytes = info.Size()
	err = db.bolt.View(func(tx *bolt.Tx) error {
		free := db.bolt.Stats()
		s.FreePages = free.FreePageN + free.PendingPageN
		s.LiveBytes = tx.Size() - int64(s.FreePages)*int64(db.bolt.Info().PageSize)
		return nil
	})
	return s, err
}

// Latest is the newest usable reading of every sensor, arrivals corrected for
// steps of the clock.
func (db *DB) Latest() map[string]light.Reading {
	db.mu.RLock()
	defer db.mu.RUnlock()
	latest := make(map[string]light.Reading, len(db.state.sensors))
	for name, x := range db.state.sensors {
		if x.hasLatest {
			r := x.latest
			r.at = db.state.steps.rebase(&r)
			latest[name] = r.reading(name)
		}
	}
	return latest
}
