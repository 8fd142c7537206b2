//go:build unix

package wire

import "syscall"

// sendNow writes as much of b as the network takes without waiting, and returns
// how much that was. What is wrong with the connection, the next write that may
// wait finds too.
func sendNow(c syscall.RawConn, b []byte) (n int) {
	_ = c.Write(func(fd uintptr) bool {
		n, _ = syscall.Write(int(fd), b)
		return true
	})
	return max(n, 0)
}
