//go:build !linux

package store

import "errors"

func childFillsDisk([]string) error { return errors.New("file size limits are set on Linux only") }
