package racktest

import (
	"net"
	"path/filepath"
	"runtime"
	"testing"
	"time"
)

// ServiceManager is a service manager's socket that keeps what it is told.
func ServiceManager(tb testing.TB) (path string, next func() string) {
	tb.Helper()
	if runtime.GOOS == "windows" {
		tb.Skip("no such sockets here")
	}
	path = filepath.Join(tb.TempDir(), "notify")
	conn, err := net.ListenUnixgram("unixgram", &net.UnixAddr{Name: path, Net: "unixgram"})
	if err != nil {
		tb.Fatal(err)
	}
	tb.Cleanup(func() { _ = conn.Close() })
	return path, func() string {
		b := make([]byte, 256)
		if err := conn.SetReadDeadline(time.Now().Add(20 * time.Second)); err != nil {
			tb.Fatal(err)
		}
		n, err := conn.Read(b)
		if err != nil {
			tb.Fatal(err)
		}
		return string(b[:n])
	}
}
