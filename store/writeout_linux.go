package store

import (
	"os"

	"golang.org/x/sys/unix"
)

// writeoutStep is how much of a copy goes to the disk at once: enough to keep
// a disk busy, and so little that a commit need not wait long behind it.
const writeoutStep = 4 << 20

// writeout is a file whose bytes go to the disk while others are still coming,
// a step at a time, so that no large rest is left to its sync. The writer waits
// where the disk is more than a few steps behind.
type writeout struct {
	*os.File
	written, handed int64
	steps           chan int64 // where each begins
	ended           chan struct{}
}

func newWriteout(f *os.File) *writeout {
	w := &writeout{File: f, steps: make(chan int64, 2), ended: make(chan struct{})}
	go w.push()
	return w
}

func (w *writeout) Write(b []byte) (n int, err error) {
	n, err = w.File.Write(b)
	w.written += int64(n)
	for ; w.written-w.handed >= writeoutStep; w.handed += writeoutStep {
		w.steps <- w.handed
	}
	return n, err
}

// push sends steps on their way, and waits for each but the last to arrive. What
// fails here is told by the file's sync.
func (w *writeout) push() {
	defer close(w.ended)
	fd := int(w.Fd())
	for at := range w.steps {
		_ = unix.SyncFileRange(fd, at, writeoutStep, unix.SYNC_FILE_RANGE_WRITE)
		if at > 0 {
			_ = unix.SyncFileRange(fd, at-writeoutStep, writeoutStep, unix.SYNC_FILE_RANGE_WAIT_BEFORE)
		}
	}
}

// end waits until no step is under way.
func (w *writeout) end() {
	close(w.steps)
	<-w.ended
}
