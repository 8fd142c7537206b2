//go:build slow && linux

package main

import (
	"bufio"
	"bytes"
	"encoding/binary"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"syscall"
	"testing"
	"time"

	"parstead/cmd/parstead/racktest"
	"parstead/light"
	"parstead/store"
)

// The tests of this file pull the plug on paper. The system calls by which the
// daemon writes its database and acknowledges are recorded by strace, and the
// file is made again as a disk may hold it at a random moment: all that was synced
// by then, and of what was written since any part, whole, not at all, or torn at
// sectors. What a disk that lies about a sync would lose is not shown by it.

const (
	powerCuts = 1200 // in all
	sector    = 512  // bytes that a disk writes as one
)

// deed is one system call that counts, in the order in which they happened.
type deed struct {
	kind deedKind
	at   int64  // offset of a write, or the new size
	data []byte // of a write
	ids  []int  // acknowledged
}

type deedKind int

const (
	wrote deedKind = iota
	resized
	synced
	acknowledged
)

// record is what the tracer's file says of the database at path.
func record(t *testing.T, file, path string) (deeds []deed) {
	t.Helper()
	f, err := os.Open(file)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()              //nolint:errcheck // it only read
	begun := map[string]string{} // by thread: the call that it is in
	in := bufio.NewReaderSize(f, 1<<20)
	for {
		line, err := in.ReadString('\n')
		if errors.Is(err, io.EOF) {
			return deeds
		}
		if err != nil {
			t.Fatal(err)
		}
		thread, call, _ := strings.Cut(strings.TrimRight(line, "\n"), " ")
		call = strings.TrimLeft(call, " ")
		switch {
		case strings.HasPrefix(call, "<... "):
			_, rest, _ := strings.Cut(call, "resumed>")
			call = begun[thread] + rest
			if d, ok := parsed(t, call, path); ok && d.kind != acknowledged {
				deeds = append(deeds, d)
			}
		case strings.HasSuffix(call, "<unfinished ...>"):
			begun[thread] = strings.TrimSuffix(call, "<unfinished ...>")
			// Who waits for it may have it from here on.
			if d, ok := parsed(t, begun[thread], path); ok && d.kind == acknowledged {
				deeds = append(deeds, d)
			}
		default:
			if d, ok := parsed(t, call, path); ok {
				deeds = append(deeds, d)
			}
		}
	}
}

// parsed reads one call, such as pwrite64(7</path>, "\x00...", 4096, 8192) = 4096.
func parsed(t *testing.T, call, path string) (d deed, ok bool) {
	t.Helper()
	name, rest, found := strings.Cut(call, "(")
	if !found {
		return d, false
	}
	_, rest, _ = strings.Cut(rest, "<")
	target, rest, found := strings.Cut(rest, ">")
	if !found {
		return d, false
	}
	target = string(unhex(t, target))
	if name == "write" {
		d.kind, d.ids = acknowledged, puback(unhex(t, quoted(rest)))
		return d, strings.HasPrefix(target, "socket:") && len(d.ids) > 0
	}
	if target != path || strings.Contains(rest, "= -1 ") {
		return d, false
	}
	args, _, _ := strings.Cut(rest[strings.LastIndex(rest, `"`)+1:], ")")
	numbers := strings.Split(strings.Trim(args, ", "), ", ")
	last, err := strconv.ParseInt(numbers[len(numbers)-1], 10, 64)
	switch name {
	case "pwrite64":
		d.kind, d.at, d.data = wrote, last, unhex(t, quoted(rest))
		if n, _ := strconv.Atoi(numbers[0]); err != nil || n != len(d.data) {
			t.Fatalf("a write of %s bytes shows %d: %v", numbers[0], len(d.data), err)
		}
	case "ftruncate":
		if d.kind, d.at = resized, last; err != nil {
			t.Fatal(err)
		}
	case "fsync", "fdatasync":
		d.kind = synced
	default:
		return d, false
	}
	return d, true
}

func quoted(s string) string {
	_, s, _ = strings.Cut(s, `"`)
	s, _, _ = strings.Cut(s, `"`)
	return s
}

// unhex reads what -xx has written; other text is as it is.
func unhex(t *testing.T, s string) []byte {
	t.Helper()
	if !strings.HasPrefix(s, `\x`) {
		return []byte(s)
	}
	b, err := hex.DecodeString(strings.ReplaceAll(s, `\x`, ""))
	if err != nil {
		t.Fatal(err)
	}
	return b
}

// puback lists the packets that a run of acknowledgements names (MQTT 3.1.1,
// section 3.4); nil for anything else.
func puback(b []byte) (ids []int) {
	for ; len(b) >= 4 && b[0] == 0x40 && b[1] == 2; b = b[4:] {
		ids = append(ids, int(binary.BigEndian.Uint16(b[2:])))
	}
	if len(b) > 0 {
		return nil
	}
	return ids
}

// platter is the file as a disk may hold it.
type platter struct {
	synced  []byte
	pending []deed
}

func (p *platter) take(d deed) {
	switch d.kind {
	case wrote, resized:
		p.pending = append(p.pending, d)
	case synced:
		for _, w := range p.pending {
			p.synced = applied(p.synced, w)
		}
		p.pending = nil
	}
}

func applied(image []byte, d deed) []byte {
	if d.kind == resized {
		if int(d.at) <= len(image) {
			return image[:d.at]
		}
		return append(image, make([]byte, int(d.at)-len(image))...)
	}
	if end := int(d.at) + len(d.data); end > len(image) {
		image = append(image, make([]byte, end-len(image))...)
	}
	copy(image[d.at:], d.data)
	return image
}

// cut is what is found when the power comes back.
func (p *platter) cut(r *rand.Rand) []byte {
	image := bytes.Clone(p.synced)
	pending := slices.Clone(p.pending)
	if r.IntN(2) == 0 { // a disk may write in an order of its own
		r.Shuffle(len(pending), func(i, j int) { pending[i], pending[j] = pending[j], pending[i] })
	}
	for _, w := range pending {
		switch r.IntN(3) {
		case 0: // kept
			image = applied(image, w)
		case 1: // dropped
		case 2: // torn
			for at := 0; at < len(w.data); at += sector {
				if r.IntN(2) == 0 {
					part := w.data[at:min(at+sector, len(w.data))]
					image = applied(image, deed{kind: wrote, at: w.at + int64(at), data: part})
				}
			}
		}
	}
	return image
}

// traced runs the daemon of a folder under strace while numbers are published, and
// returns what was recorded.
func traced(t *testing.T, dir, page string, publish func() error) []deed {
	t.Helper()
	trace, err := exec.LookPath("strace")
	if err != nil {
		if os.Getenv("PARSTEAD_REQUIRE_TOOLS") == "1" {
			t.Fatal("strace is missing")
		}
		t.Skip("strace is missing")
	}
	self, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	out := filepath.Join(t.TempDir(), "trace")
	pidFile := out + ".pid"
	p := &process{t, exec.Command(trace, "-f", "-y", "-xx", "-s", "16777216", "-o", out, "-e", "signal=none",
		"-e", "trace=write,pwrite64,fsync,fdatasync,ftruncate",
		"sh", "-c", `echo $$ > "$0"; exec "$@"`, pidFile, self, "run", dir), &bytes.Buffer{}}
	p.cmd.Env = append(os.Environ(), asProgram+"=1")
	p.cmd.Stderr = p.said
	if err := p.cmd.Start(); err != nil {
		t.Fatal(err)
	}
	p.ready(page)
	text, err := os.ReadFile(pidFile)
	if err != nil {
		t.Fatal(err)
	}
	daemon, err := strconv.Atoi(strings.TrimSpace(string(text)))
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if p.cmd.ProcessState == nil {
			_ = syscall.Kill(daemon, syscall.SIGKILL)
			_ = p.cmd.Wait()
		}
	})
	if err := publish(); err != nil {
		t.Fatalf("%v: %s", err, p.said)
	}
	if err := syscall.Kill(daemon, syscall.SIGTERM); err != nil {
		t.Fatal(err)
	}
	if err := p.cmd.Wait(); err != nil {
		t.Fatalf("%v: %s", err, p.said)
	}
	return record(t, out, filepath.Join(dir, store.FileName))
}

// older are readings of two days ago, which the daemon packs when it starts.
const older = 3000

func writeOlder(t *testing.T, dir string) {
	t.Helper()
	db, err := store.Open(filepath.Join(dir, store.FileName), store.Options{})
	if err != nil {
		t.Fatal(err)
	}
	from := time.Now().Add(-50 * time.Hour).Truncate(time.Second)
	for first := 1; first <= older; first += 100 {
		var group []light.Reading
		for n := first; n < first+100; n++ {
			at := from.Add(time.Duration(n) * time.Second)
			group = append(group, light.Reading{Sensor: "quantum", At: at, Value: float64(-n), Arrived: at, Boot: 1})
		}
		if _, err := db.Append(t.Context(), group); err != nil {
			t.Fatal(err)
		}
	}
	if err := db.Close(); err != nil {
		t.Fatal(err)
	}
}

// Wherever the power is cut, the database opens, is whole, and holds every reading
// that was acknowledged before, and none that was never sent.
func TestPowerCuts(t *testing.T) {
	t.Parallel()
	address := racktest.FreeAddress(t)
	dir, page := liveFolder(t, fmt.Sprintf("listen = %q", address))
	writeOlder(t, dir)
	base, err := os.ReadFile(filepath.Join(dir, store.FileName))
	if err != nil {
		t.Fatal(err)
	}
	s := newSender()
	deeds := traced(t, dir, page, func() error { return s.publish(address, 1500) })
	r := rand.New(rand.NewPCG(20260302, 11))
	cuts := make([]int, powerCuts)
	for i := range cuts {
		cuts[i] = r.IntN(len(deeds) + 1)
	}
	slices.Sort(cuts)

	disk := platter{synced: base}
	acked, done, unsynced := map[int]bool{}, 0, 0
	into := t.TempDir()
	for _, cut := range cuts {
		for ; done < cut; done++ {
			disk.take(deeds[done])
			for _, id := range deeds[done].ids {
				acked[id] = true
			}
		}
		if len(disk.pending) > 0 {
			unsynced++
		}
		if err := os.WriteFile(filepath.Join(into, store.FileName), disk.cut(r), 0o600); err != nil {
			t.Fatal(err)
		}
		checkAfterCut(t, into, acked, s.last, fmt.Sprintf("cut at %d of %d", cut, len(deeds)))
		if t.Failed() {
			return
		}
	}
	if done := len(acked); unsynced < powerCuts/10 || done < 1000 {
		t.Errorf("only %d of the cuts met writes that were not synced, %d readings acknowledged", unsynced, done)
	}
	t.Logf("%d cuts over %d system calls, %d of them amid writes that were not synced; %d acknowledged of %d sent",
		powerCuts, len(deeds), unsynced, len(acked), s.last)
}

// checkAfterCut opens what a cut has left.
func checkAfterCut(t *testing.T, dir string, acked map[int]bool, last int, when string) {
	t.Helper()
	db, err := store.Open(filepath.Join(dir, store.FileName), store.Options{})
	if err != nil {
		t.Errorf("%s: %v", when, err)
		return
	}
	if err := db.Close(); err != nil {
		t.Error(err)
	}
	whole(t, dir)
	view, err := store.OpenFolder(t.Context(), dir)
	if err != nil {
		t.Error(err)
		return
	}
	defer view.Close() //nolint:errcheck // it only read
	there := map[int]int{}
	for _, sensor := range []string{"quantum", "air"} {
		var series light.Series
		if err := view.Series(t.Context(), sensor, light.Span{}, &series); err != nil {
			t.Errorf("%s: %v", when, err)
		}
		for _, v := range series.Values {
			n := int(v)
			there[n]++
			if n < -older || n == 0 || n > last || there[n] > 1 {
				t.Errorf("%s: %v of %s is there %d times", when, v, sensor, there[n])
			}
		}
	}
	for n := range acked {
		if there[n] == 0 {
			t.Errorf("%s: %d was acknowledged and is lost", when, n)
		}
	}
	for n := 1; n <= older; n++ {
		if there[-n] == 0 {
			t.Errorf("%s: the older reading %d is lost", when, n)
		}
	}
}
