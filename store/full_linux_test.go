package store

import (
	"context"
	"errors"
	"fmt"
	"os/signal"
	"path/filepath"
	"syscall"
	"testing"
	"time"

	"parstead/light"
)

// A process whose files may not grow stands for one whose disk is full: the
// system's own refusal reaches the store. Once there is room again, the store
// goes on, and all that it acknowledged is there.
func TestDiskFull(t *testing.T) {
	t.Parallel()
	cmd, _ := child(t, "full", filepath.Join(t.TempDir(), FileName))
	if err := cmd.Wait(); err != nil {
		t.Fatal(err)
	}
}

func childFillsDisk(arguments []string) error {
	signal.Ignore(syscall.SIGXFSZ)
	db, err := Open(arguments[0], Options{})
	if err != nil {
		return err
	}
	var limit syscall.Rlimit
	if err := syscall.Getrlimit(syscall.RLIMIT_FSIZE, &limit); err != nil {
		return err
	}
	small := syscall.Rlimit{Cur: 3 << 20, Max: limit.Max}
	if err := syscall.Setrlimit(syscall.RLIMIT_FSIZE, &small); err != nil {
		return err
	}
	n := 0
	send := func() error {
		group := make([]light.Reading, 1000)
		for i := range group {
			group[i] = own("a", time.Duration(n*1000+i)*time.Second, 0.1)
		}
		_, err := db.Append(context.Background(), group)
		if err == nil {
			n++
		}
		return err
	}
	for err == nil {
		err = send()
	}
	if !errors.Is(err, syscall.EFBIG) && !wroteNothing(errors.Unwrap(err)) {
		return fmt.Errorf("another fault than the full disk: %w", err)
	}
	if send() == nil {
		return errors.New("it went on without room")
	}
	if err := syscall.Setrlimit(syscall.RLIMIT_FSIZE, &limit); err != nil {
		return err
	}
	if err := send(); err != nil {
		return fmt.Errorf("with room again: %w", err)
	}
	s, err := db.View()
	if err != nil {
		return err
	}
	var got light.Series
	if err := s.Series(context.Background(), "a", light.Span{}, &got); err != nil {
		return err
	}
	if got.Len() != n*1000 {
		return fmt.Errorf("%d readings, want %d", got.Len(), n*1000)
	}
	return errors.Join(s.Close(), db.Close())
}
