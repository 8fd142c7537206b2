package demo

import (
	"bytes"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"runtime"
	"strconv"
	"syscall"
)

// underway stands in a demo's folder while it is played, and holds the number of the
// process that plays it.
const underway = "demo-is-being-played"

// Prepare makes a folder ready for a demo: it must be empty or not there. Nothing is ever
// written over, a demo of earlier neither; but what one left that was cut off is removed.
func Prepare(dir string) error {
	if err := removeCutOff(dir); err != nil {
		return err
	}
	entries, err := os.ReadDir(dir)
	switch {
	case errors.Is(err, fs.ErrNotExist):
	case err != nil:
		return fmt.Errorf("look into the demo's folder: %w", err)
	case len(entries) == 0:
	case ours(dir):
		return fmt.Errorf("%s holds an earlier demo: name another folder with --dir, or remove it yourself", dir)
	default:
		return fmt.Errorf("%s is not empty: name another folder with --dir", dir)
	}
	if err := os.MkdirAll(dir, 0o755); err != nil {
		return fmt.Errorf("make the demo's folder: %w", err)
	}
	return create(filepath.Join(dir, underway), []byte(strconv.Itoa(os.Getpid())))
}

// removeCutOff removes a demo that was cut off.
func removeCutOff(dir string) error {
	text, err := os.ReadFile(filepath.Join(dir, underway))
	if errors.Is(err, fs.ErrNotExist) {
		return nil
	}
	if err != nil {
		return fmt.Errorf("look into the demo's folder: %w", err)
	}
	if pid, err := strconv.Atoi(string(text)); err == nil && pid != os.Getpid() && runs(pid) {
		return fmt.Errorf("a demo is being played in %s just now: name another folder with --dir, or remove %s there if none is", dir, underway)
	}
	return Remove(dir)
}

// runs tells whether a process is there (kill(2): signal 0 asks only).
func runs(pid int) bool {
	p, err := os.FindProcess(pid)
	if err != nil {
		return false
	}
	err = p.Signal(syscall.Signal(0))
	return err == nil || errors.Is(err, os.ErrPermission) || runtime.GOOS == "windows"
}

// Finish says that a demo was played to its end: it is kept from then on.
func Finish(dir string) error { return os.Remove(filepath.Join(dir, underway)) }

// ours tells whether the folder was made by a demo.
func ours(dir string) bool {
	text, err := os.ReadFile(filepath.Join(dir, "trial.toml"))
	return err == nil && bytes.HasPrefix(text, []byte(Marker))
}

// Remove removes a demo that was not played to its end.
func Remove(dir string) error {
	if err := os.RemoveAll(dir); err != nil {
		return fmt.Errorf("remove what the stopped demo had written: %w", err)
	}
	return nil
}
