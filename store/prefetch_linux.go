package store

import (
	"os"

	"golang.org/x/sys/unix"
)

// prefetch has the system read the file ahead: bbolt maps it for access here
// and there, which from a cold disk would bring in page by page.
func prefetch(f *os.File) {
	_ = unix.Fadvise(int(f.Fd()), 0, 0, unix.FADV_WILLNEED) // a hint; nothing depends on it
}
