package store

import "syscall"

// restrictSocket gives a socket its mode before it has a name, so that it is
// never open to others.
func restrictSocket(fd uintptr) { _ = syscall.Fchmod(int(fd), 0o600) } // Listen sets it again, and checks
