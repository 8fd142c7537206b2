package wire

import (
	"bytes"
	"errors"
	"io"
	"net"
	"sync"
	"testing"
	"time"

	"go.uber.org/goleak"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

// pair is two ends of a TCP connection, the first one wrapped.
func pair(t *testing.T, gulp, limit int) (*Conn, net.Conn) {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer func() { _ = l.Close() }()
	a, err := net.Dial("tcp", l.Addr().String())
	if err != nil {
		t.Fatal(err)
	}
	b, err := l.Accept()
	if err != nil {
		t.Fatal(err)
	}
	w := Wrap(a, gulp, limit)
	t.Cleanup(func() {
		w.Abort()
		<-w.Done()
		_ = b.Close()
	})
	return w, b
}

func TestWritesStayWholeAndInOrder(t *testing.T) {
	t.Parallel()
	w, peer := pair(t, 0, 1<<20)
	var all sync.WaitGroup
	for i := range 4 {
		all.Go(func() {
			for range 1000 {
				if _, err := w.Write(bytes.Repeat([]byte{byte(i)}, 7)); err != nil {
					t.Error(err)
				}
			}
		})
	}
	got := make([]byte, 4*1000*7)
	if _, err := io.ReadFull(peer, got); err != nil {
		t.Fatal(err)
	}
	all.Wait()
	for i := 0; i < len(got); i += 7 {
		if !bytes.Equal(got[i:i+7], bytes.Repeat(got[i:i+1], 7)) {
			t.Fatalf("a write was torn at byte %d", i)
		}
	}
}

// Acknowledgements overtake nothing, and none is torn where the network takes
// only a part of them at once.
func TestAcknowledgementsStayWholeAndInOrder(t *testing.T) {
	t.Parallel()
	ids := make([]uint16, 30000)
	want := []byte{0xD0, 0}
	for i := range ids {
		ids[i] = uint16(i)
		want = append(want, 0x40, 2, byte(i>>8), byte(i))
	}
	const rounds = 60 // 7 MB, more than the sockets' buffers hold
	for name, deaf := range map[string]bool{"the peer reads": false, "the peer reads late": true} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			w, peer := pair(t, 0, 64<<20)
			read := make(chan struct{})
			var all sync.WaitGroup
			all.Go(func() {
				<-read
				got := make([]byte, len(want))
				for i := range rounds {
					if _, err := io.ReadFull(peer, got); err != nil || !bytes.Equal(got, want) {
						t.Errorf("round %d is torn or out of order, %v", i, err)
						return
					}
				}
			})
			if !deaf {
				close(read)
			}
			for range rounds {
				if _, err := w.Write(want[:2]); err != nil {
					t.Error(err)
				}
				if err := w.Acknowledge(ids); err != nil {
					t.Error(err)
				}
			}
			if deaf {
				close(read)
			}
			all.Wait()
		})
	}
}

func TestCloseSendsTheLastWords(t *testing.T) {
	t.Parallel()
	w, peer := pair(t, 0, 1<<20)
	if err := w.Acknowledge([]uint16{1, 0x1234}); err != nil {
		t.Fatal(err)
	}
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	got, err := io.ReadAll(peer)
	if err != nil || !bytes.Equal(got, []byte{0x40, 2, 0, 1, 0x40, 2, 0x12, 0x34}) {
		t.Errorf("got %x, %v", got, err)
	}
	if _, err := w.Write([]byte{1}); !errors.Is(err, net.ErrClosed) {
		t.Errorf("writing after Close: %v", err)
	}
	if _, err := w.Read(make([]byte, 1)); !errors.Is(err, net.ErrClosed) {
		t.Errorf("reading after Close: %v", err)
	}
}

func TestCloseDoesNotWaitForADeafPeer(t *testing.T) {
	t.Parallel()
	w, _ := pair(t, 0, 64<<20)
	for range 50 {
		if _, err := w.Write(make([]byte, 1<<20)); err != nil {
			t.Fatal(err)
		}
	}
	begin := time.Now()
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	<-w.Done()
	if took := time.Since(begin); took > 20*farewell {
		t.Errorf("it took %v", took)
	}
}

func TestTooMuchUnsentIsAnError(t *testing.T) {
	t.Parallel()
	w, _ := pair(t, 0, 1<<20)
	var err error
	for range 100 {
		if _, err = w.Write(make([]byte, 1<<19)); err != nil {
			break
		}
	}
	if !errors.Is(err, ErrSlow) {
		t.Errorf("got %v", err)
	}
	begin := time.Now()
	<-w.Done()
	if took := time.Since(begin); took > writeTime/2 {
		t.Errorf("it held its connection for another %v", took)
	}
}

func TestReadsComeInGulps(t *testing.T) {
	t.Parallel()
	w, peer := pair(t, 64<<10, 1<<20)
	heard := 0
	w.Heard = func() { heard++ }
	if _, err := peer.Write([]byte("hello")); err != nil {
		t.Fatal(err)
	}
	got := make([]byte, 5)
	for i := range got {
		if _, err := io.ReadFull(w, got[i:i+1]); err != nil {
			t.Fatal(err)
		}
	}
	if string(got) != "hello" || heard != 1 {
		t.Errorf("got %q, heard %d times", got, heard)
	}
	_ = peer.Close()
	if _, err := w.Read(got); !errors.Is(err, io.EOF) || heard != 1 {
		t.Errorf("after the peer's end: %v, heard %d times", err, heard)
	}
}

func TestReadDeadline(t *testing.T) {
	t.Parallel()
	w, _ := pair(t, 0, 1<<20)
	if err := w.SetDeadline(time.Now().Add(10 * time.Millisecond)); err != nil {
		t.Fatal(err)
	}
	var timeout net.Error
	if _, err := w.Read(make([]byte, 1)); !errors.As(err, &timeout) || !timeout.Timeout() {
		t.Errorf("got %v", err)
	}
}
