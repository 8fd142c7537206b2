//go:build !windows

package store

import (
	"errors"
	"syscall"
)

// Refused tells whether an error says that nobody listens at an address.
func Refused(err error) bool { return errors.Is(err, syscall.ECONNREFUSED) }
