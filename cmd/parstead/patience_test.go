package main

import (
	"runtime"
	"runtime/metrics"
	"testing"
	"time"
)

// Not parallel, neither of both: how memory is collected is the whole process's.
func TestPatienceEndsWithTheFirstCollection(t *testing.T) {
	t.Setenv("GOGC", "")
	impatient := func() {
		t.Helper()
		for start := time.Now(); heapPercent() == firstHeap; time.Sleep(time.Millisecond) {
			runtime.GC()
			if time.Since(start) > 10*time.Second {
				t.Fatal("still patient after many collections")
			}
		}
	}
	impatient() // the test of a command may have been before
	usual := heapPercent()
	patience()
	if got := heapPercent(); got != firstHeap {
		t.Fatalf("%d per cent while patient, want %d", got, firstHeap)
	}
	if impatient(); heapPercent() != usual {
		t.Errorf("%d per cent afterwards, want %d", heapPercent(), usual)
	}
}

// heapPercent is by how much the heap may grow between collections.
func heapPercent() uint64 {
	sample := []metrics.Sample{{Name: "/gc/gogc:percent"}}
	metrics.Read(sample)
	return sample[0].Value.Uint64()
}

func TestPatienceLeavesWhatTheEnvironmentSays(t *testing.T) {
	t.Setenv("GOGC", "50")
	before := heapPercent()
	patience()
	if before != firstHeap && heapPercent() == firstHeap {
		t.Error("the environment's word was overruled")
	}
}
