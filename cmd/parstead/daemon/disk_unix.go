//go:build unix

package daemon

import "golang.org/x/sys/unix"

// freeBytes is what an ordinary user may still write at the path.
func freeBytes(path string) (uint64, error) {
	var s unix.Statfs_t
	if err := unix.Statfs(path, &s); err != nil {
		return 0, err
	}
	return uint64(s.Bavail) * uint64(s.Bsize), nil
}
