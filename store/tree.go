package store

import (
	"encoding/binary"
	"fmt"
	"io"
	"math"
	"os"

	bolt "go.etcd.io/bbolt"
)

// The parts of bbolt's pages that a walk over them reads, beside those that
// Salvage reads.
const (
	branchPage    = 0x01
	freelistPage  = 0x10
	branchElement = 16 // position 4, key size 4, page 8
	manyFree      = 0xffff
)

// Where a head has the page of the root, that of the free list, and the number of
// pages that were ever in use.
const (
	rootAt     = pageHeaderSize + 16
	freelistAt = pageHeaderSize + 32
	endAt      = pageHeaderSize + 40
)

// tree is a walk over the pages of a database file that nobody writes to. Each
// page may be met once: a page that two lead to, or that is free as well, would
// be overwritten while it holds what is kept, and one that leads back to itself
// would be walked without end.
type tree struct {
	file io.ReaderAt
	page int64
	end  uint64   // of the pages
	met  []uint64 // a bit each
	root uint64
	free uint64 // page of the free list
	big  []uint64
	buf  []byte
}

// newTree begins a walk over the state that the file's newest head leads to.
func newTree(f *os.File, pageSize int, txid uint64) (*tree, error) {
	p, err := newPlace(f, pageSize)
	if err != nil {
		return nil, err
	}
	head := p.heads[0][:]
	if binary.NativeEndian.Uint64(head[txidAt:]) != txid { // a copy has its newest first, whatever its number
		head = p.heads[1][:]
	}
	number := func(at int) uint64 { return binary.NativeEndian.Uint64(head[at:]) }
	t := &tree{file: f, page: p.page, end: number(endAt), root: number(rootAt), free: number(freelistAt)}
	if t.end > uint64(p.size)/uint64(p.page) || number(txidAt) != txid {
		return nil, fmt.Errorf("the file has %d bytes of %d pages: %w", p.size, t.end, ErrDamaged)
	}
	t.met = make([]uint64, t.end/64+1)
	return t, nil
}

// meet notes that pages are in use; they may not be already.
func (t *tree) meet(id, n uint64) error {
	for ; n > 0; id, n = id+1, n-1 {
		if id < 2 || id >= t.end {
			return fmt.Errorf("page %d is none of %d: %w", id, t.end, ErrDamaged)
		}
		if t.met[id/64]>>(id%64)&1 == 1 {
			return fmt.Errorf("page %d is in use twice, or free and in use: %w", id, ErrDamaged)
		}
		t.met[id/64] |= 1 << (id % 64)
	}
	return nil
}

// read reads so much of a page, and tells what kind it is of.
func (t *tree) read(id uint64, length int64) (b []byte, kind uint16, err error) {
	if int64(cap(t.buf)) < length {
		t.buf = make([]byte, length)
	}
	b = t.buf[:length]
	if id >= t.end {
		return nil, 0, fmt.Errorf("page %d is none of %d: %w", id, t.end, ErrDamaged)
	}
	if _, err := t.file.ReadAt(b, int64(id)*t.page); err != nil {
		return nil, 0, fmt.Errorf("page %d: %w (%w)", id, ErrDamaged, err)
	}
	if binary.NativeEndian.Uint64(b) != id {
		return nil, 0, fmt.Errorf("page %d is not what leads there: %w", id, ErrDamaged)
	}
	return b, binary.NativeEndian.Uint16(b[8:]), nil
}

// whole reads all of a page whose first bytes are at hand.
func (t *tree) whole(id uint64, head []byte) ([]byte, error) {
	b, _, err := t.read(id, (int64(binary.NativeEndian.Uint32(head[12:]))+1)*t.page)
	return b, err
}

// walk meets all pages below one. Those that a leaf's buckets lead to are given to
// found, where that is not nil.
func (t *tree) walk(id uint64, found func(name string, root uint64)) error {
	ways := []uint64{id}
	for len(ways) > 0 {
		id, ways = ways[len(ways)-1], ways[:len(ways)-1]
		b, kind, err := t.read(id, pageHeaderSize)
		if err != nil {
			return err
		}
		if err := t.meet(id, uint64(binary.NativeEndian.Uint32(b[12:]))+1); err != nil {
			return err
		}
		switch {
		case kind == branchPage:
			if b, err = t.whole(id, b); err != nil {
				return err
			}
			n := int(binary.NativeEndian.Uint16(b[10:]))
			if pageHeaderSize+n*branchElement > len(b) {
				return fmt.Errorf("page %d has no room for what it leads to: %w", id, ErrDamaged)
			}
			for i := range n {
				ways = append(ways, binary.NativeEndian.Uint64(b[pageHeaderSize+i*branchElement+8:]))
			}
		case kind != leafPage:
			return fmt.Errorf("page %d is of no kind that leads on (%#x): %w", id, kind, ErrDamaged)
		case found != nil:
			if b, err = t.whole(id, b); err != nil {
				return err
			}
			if err := buckets(b, found); err != nil {
				return fmt.Errorf("page %d: %w", id, err)
			}
		}
	}
	return nil
}

// buckets lists the buckets of a leaf that have pages of their own.
func buckets(page []byte, found func(name string, root uint64)) error {
	for i := range int(binary.NativeEndian.Uint16(page[10:])) {
		at := pageHeaderSize + i*leafElement
		if at+leafElement > len(page) {
			return ErrDamaged
		}
		e := page[at:]
		position, key, value := uint64(binary.NativeEndian.Uint32(e[4:])), uint64(binary.NativeEndian.Uint32(e[8:])), uint64(binary.NativeEndian.Uint32(e[12:]))
		if position+key+value > uint64(len(e)) {
			return ErrDamaged
		}
		if binary.NativeEndian.Uint32(e)&bucketElement == 0 || value < bucketHeader {
			continue
		}
		if root := binary.NativeEndian.Uint64(e[position+key:]); root != 0 {
			found(string(e[position:][:key]), root)
		}
	}
	return nil
}

// small walks all but the blocks, which are nearly all of a large database.
func (t *tree) small() error {
	roots := []uint64{}
	err := t.walk(t.root, func(name string, root uint64) {
		if name == string(bucketBlocks) {
			t.big = append(t.big, root)
		} else {
			roots = append(roots, root)
		}
	})
	for _, root := range roots {
		if err == nil {
			err = t.walk(root, nil)
		}
	}
	return err
}

// rest walks the blocks, and holds the list of free pages against what was met.
func (t *tree) rest() error {
	for _, root := range t.big {
		if err := t.walk(root, nil); err != nil {
			return err
		}
	}
	if t.free == math.MaxUint64 { // none was written
		return nil
	}
	b, kind, err := t.read(t.free, pageHeaderSize)
	if err == nil && kind != freelistPage {
		err = fmt.Errorf("page %d is no list of free pages: %w", t.free, ErrDamaged)
	}
	if err != nil {
		return err
	}
	if err := t.meet(t.free, uint64(binary.NativeEndian.Uint32(b[12:]))+1); err != nil {
		return err
	}
	if b, err = t.whole(t.free, b); err != nil {
		return err
	}
	n, ids := uint64(binary.NativeEndian.Uint16(b[10:])), b[pageHeaderSize:]
	if n == manyFree {
		n, ids = binary.NativeEndian.Uint64(ids), ids[8:]
	}
	if n > uint64(len(ids))/8 {
		return fmt.Errorf("the list of free pages has no room for %d: %w", n, ErrDamaged)
	}
	for i := range n {
		if err := t.meet(binary.NativeEndian.Uint64(ids[8*i:]), 1); err != nil {
			return fmt.Errorf("list of free pages: %w", err)
		}
	}
	return nil
}

// checkAll walks the whole database.
func checkAll(b *bolt.DB, f *os.File) error {
	return b.View(func(tx *bolt.Tx) error {
		t, err := newTree(f, b.Info().PageSize, uint64(tx.ID()))
		if err == nil {
			err = t.small()
		}
		if err == nil {
			err = t.rest()
		}
		return err
	})
}

// checkTree walks the database that was opened, of a large one all but the blocks.
func (db *DB) checkTree() (t *tree, large bool, err error) {
	err = db.view(func(tx *bolt.Tx) error {
		large = tx.Size() > checkedSize
		if t, err = newTree(db.place.file, db.bolt.Info().PageSize, uint64(tx.ID())); err != nil {
			return err
		}
		if err := t.small(); err != nil || large {
			return err
		}
		return t.rest()
	})
	return t, large, err
}

// checkRest ends the check of a large database.
func (db *DB) checkRest(t *tree) {
	defer close(db.checked)
	if err := t.rest(); err != nil {
		db.unsound = untouchedFile(db.path, err)
		db.log.Error("database is damaged", "file", db.path, "error", err)
	}
}

// sound tells what the check of all pages found; it waits for that.
func (db *DB) sound() error {
	<-db.checked
	return db.unsound
}

// Checked tells whether all pages have been checked; before, a write would wait.
func (db *DB) Checked() bool {
	select {
	case <-db.checked:
		return true
	default:
		return false
	}
}
