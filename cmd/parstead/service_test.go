package main

import (
	"errors"
	"io"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"strings"
	"syscall"
	"testing"
	"time"

	"parstead/cmd/parstead/racktest"
)

// The program itself, started as a service manager does.
func TestReadyWatchdogStopping(t *testing.T) {
	t.Parallel()
	path, next := racktest.ServiceManager(t)
	p := program(t, []string{"NOTIFY_SOCKET=" + path, "WATCHDOG_USEC=300000"}, "run", racktest.SmallTrial(t, ""))
	got := map[string]bool{}
	for range 4 {
		got[next()] = true
	}
	if !got["READY=1"] || !got["WATCHDOG=1"] || len(got) != 2 {
		t.Errorf("heard %v", got)
	}
	if err := p.Process.Signal(os.Interrupt); err != nil {
		t.Fatal(err)
	}
	for said := next(); said != "STOPPING=1"; said = next() {
		if said != "WATCHDOG=1" && said != "READY=1" {
			t.Fatalf("heard %q", said)
		}
	}
	if err := p.Wait(); err != nil {
		t.Errorf("ended with %v", err)
	}
}

// program starts this test binary as the program.
func program(tb testing.TB, env []string, args ...string) *exec.Cmd {
	tb.Helper()
	p := exec.Command(os.Args[0], args...)
	p.Env = append(append(os.Environ(), asProgram+"=1"), env...)
	p.Stdout, p.Stderr = io.Discard, io.Discard
	if err := p.Start(); err != nil {
		tb.Fatal(err)
	}
	tb.Cleanup(func() { _ = p.Process.Kill() })
	return p
}

// The first signal ends the daemon in order, which waits for a client that is in
// the middle of a request; the second does not wait.
func TestASecondSignalEndsAtOnce(t *testing.T) {
	t.Parallel()
	if runtime.GOOS == "windows" {
		t.Skip("no signals here")
	}
	path, next := racktest.ServiceManager(t)
	dir := racktest.SmallTrial(t, "")
	p := program(t, []string{"NOTIFY_SOCKET=" + path}, "run", dir)
	if got := next(); got != "READY=1" {
		t.Fatalf("heard %q", got)
	}
	slow, err := net.Dial("unix", filepath.Join(dir, "parstead.sock"))
	if err != nil {
		t.Fatal(err)
	}
	defer slow.Close() //nolint:errcheck // the daemon has gone
	if _, err := slow.Write([]byte("GET /v1/snapshot HTTP/1.1\r\nHost: p")); err != nil {
		t.Fatal(err)
	}
	time.Sleep(100 * time.Millisecond) // the daemon has begun to read it
	begun := time.Now()
	ended := make(chan error, 1)
	go func() { ended <- p.Wait() }()
	if err := p.Process.Signal(os.Interrupt); err != nil {
		t.Fatal(err)
	}
	if got := next(); got != "STOPPING=1" {
		t.Fatalf("heard %q", got)
	}
	select {
	case err := <-ended:
		t.Fatalf("it did not wait for the request: %v", err)
	case <-time.After(300 * time.Millisecond):
	}
	if err := p.Process.Signal(os.Interrupt); err != nil {
		t.Fatal(err)
	}
	err = <-ended
	if took := time.Since(begun); took > 4*time.Second {
		t.Errorf("the second signal took %s", took)
	}
	if exit, ok := errors.AsType[*exec.ExitError](err); !ok || exit.ExitCode() != -1 {
		t.Errorf("it ended with %v, not by the signal", err)
	}
}

// SIGHUP, of a terminal that is closed, ends it in order as SIGTERM does.
func TestAHangupEndsInOrder(t *testing.T) {
	t.Parallel()
	if runtime.GOOS == "windows" {
		t.Skip("no signals here")
	}
	path, next := racktest.ServiceManager(t)
	p := program(t, []string{"NOTIFY_SOCKET=" + path}, "run", racktest.SmallTrial(t, ""))
	if got := next(); got != "READY=1" {
		t.Fatalf("heard %q", got)
	}
	if err := p.Process.Signal(syscall.SIGHUP); err != nil {
		t.Fatal(err)
	}
	if got := next(); got != "STOPPING=1" {
		t.Errorf("heard %q", got)
	}
	if err := p.Wait(); err != nil {
		t.Error(err)
	}
}

// The service file names this trial's folder and the medium of its backups, and
// systemd finds no fault with it.
func TestServiceFile(t *testing.T) {
	t.Parallel()
	backups := filepath.Join(t.TempDir(), "back ups 100%")
	if err := os.Mkdir(backups, 0o700); err != nil {
		t.Fatal(err)
	}
	dir := racktest.SmallTrial(t, "[backup]\nfolder = \""+backups+"\"\nat = \"03:30\"\n")
	for _, args := range [][]string{{"run", "--service-file"}, {"run", "--service-file", dir}} {
		var out strings.Builder
		if err := run(t.Context(), args, strings.NewReader(""), &out, io.Discard); err != nil {
			t.Fatal(err)
		}
		folder := "/srv/mytrial"
		if len(args) == 3 {
			folder = dir
			if want := "ReadWritePaths=" + dir + ` "-` + strings.ReplaceAll(backups, "%", "%%") + `"`; !strings.Contains(out.String(), want) {
				t.Errorf("the file lacks %q:\n%s", want, out.String())
			}
		}
		for _, want := range []string{
			"Type=notify", "WatchdogSec=", "Restart=always", "ProtectSystem=strict", "ReadWritePaths=" + folder,
			"NoNewPrivileges=yes", "MemoryMax=", "CapabilityBoundingSet=\n", " run " + folder + "\n", "UMask=0077",
		} {
			if !strings.Contains(out.String(), want) {
				t.Errorf("the file lacks %q:\n%s", want, out.String())
			}
		}
		verify(t, out.String())
	}
	if err := run(t.Context(), []string{"run"}, strings.NewReader(""), io.Discard, io.Discard); exitCode(err, io.Discard) != 2 {
		t.Errorf("run without a folder: %v", err)
	}
	if err := run(t.Context(), []string{"run", "--service-file", t.TempDir()}, strings.NewReader(""), io.Discard, io.Discard); exitCode(err, io.Discard) != 1 {
		t.Errorf("a folder without a trial: %v", err)
	}
}

func verify(t *testing.T, unit string) {
	t.Helper()
	analyze, err := exec.LookPath("systemd-analyze")
	if err != nil {
		t.Log("systemd-analyze is not installed: the file's syntax is not checked")
		return
	}
	path := filepath.Join(t.TempDir(), "parstead.service")
	// The program must be there for the check.
	unit = strings.ReplaceAll(unit, "ExecStart=/usr/local/bin/parstead", "ExecStart="+os.Args[0])
	if err := os.WriteFile(path, []byte(unit), 0o600); err != nil {
		t.Fatal(err)
	}
	out, err := exec.CommandContext(t.Context(), analyze, "verify", path).CombinedOutput()
	if err != nil || len(out) > 0 {
		t.Errorf("systemd-analyze: %v\n%s", err, out)
	}
}

func TestVersion(t *testing.T) {
	t.Parallel()
	var out strings.Builder
	if err := run(t.Context(), []string{"--version"}, strings.NewReader(""), &out, io.Discard); err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{"parstead ", runtime.GOOS + "/" + runtime.GOARCH, runtime.Version()} {
		if !strings.Contains(out.String(), want) {
			t.Errorf("%q lacks %q", out.String(), want)
		}
	}
}
