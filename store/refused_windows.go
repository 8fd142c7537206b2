package store

import (
	"errors"
	"syscall"
)

// connectionRefused is what Winsock says where nobody listens (WSAECONNREFUSED);
// the number of syscall.ECONNREFUSED is another, made up by the language.
const connectionRefused = syscall.Errno(10061)

// Refused tells whether an error says that nobody listens at an address.
func Refused(err error) bool {
	return errors.Is(err, connectionRefused) || errors.Is(err, syscall.ECONNREFUSED)
}
