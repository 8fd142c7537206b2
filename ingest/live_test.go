//go:build unix

package ingest_test

import (
	"os"
	"os/exec"
	"strconv"
	"syscall"
	"testing"
	"time"
)

// BenchmarkLiveExternalBroker has its publishers in a process of their own, so
// that the processor time of this one is that of the receiving side: xcpu is
// ours over the counting subscriber's.
func BenchmarkLiveExternalBroker(b *testing.B) {
	m := startMosquitto(b, "max_inflight_messages 0")
	const n = 100000
	var limitCPU, ourCPU time.Duration
	ratio(b, func(b *testing.B) time.Duration {
		b.Helper()
		forget(b, m.url())
		c, count := counter(b, m.url(), false)
		begin, used := time.Now(), processorTime(b)
		wait := publishFromChild(b, m.address, n)
		await(b, n, count.Load)
		took := time.Since(begin)
		limitCPU += processorTime(b) - used
		wait()
		c.Disconnect(50)
		return took
	}, func(b *testing.B) time.Duration {
		b.Helper()
		forget(b, m.url())
		sink, open, stop := ours(b, m.url())
		open()
		begin, used := time.Now(), processorTime(b)
		wait := publishFromChild(b, m.address, n)
		await(b, n, sink.readings.Load)
		took := time.Since(begin)
		ourCPU += processorTime(b) - used
		wait()
		stop()
		return took
	})
	b.ReportMetric(ourCPU.Seconds()/limitCPU.Seconds(), "xcpu")
}

// publishFromChild starts a process that publishes n messages.
func publishFromChild(b *testing.B, address string, n int) (wait func()) {
	b.Helper()
	self, err := os.Executable()
	if err != nil {
		b.Fatal(err)
	}
	c := exec.Command(self)
	c.Env = append(os.Environ(), childRole+"=publish", childFile+"="+address, "PARSTEAD_INGEST_COUNT="+strconv.Itoa(n))
	if err := c.Start(); err != nil {
		b.Fatal(err)
	}
	return func() {
		if err := c.Wait(); err != nil {
			b.Error(err)
		}
	}
}

// processorTime is what this process has used.
func processorTime(b *testing.B) time.Duration {
	b.Helper()
	var u syscall.Rusage
	if err := syscall.Getrusage(syscall.RUSAGE_SELF, &u); err != nil {
		b.Fatal(err)
	}
	return time.Duration(u.Utime.Nano() + u.Stime.Nano())
}
