package main

import (
	"os"
	"runtime"
	"runtime/debug"
)

// firstHeap is how far the heap of a command that soon ends may grow before it
// is collected for the first time, in per cent of the runtime's least, 4 MiB:
// 64 MiB.
const firstHeap = 1600

// patience puts the first garbage collection off: most commands end before it.
// From then on memory is collected as usual. GOGC in the environment wins.
func patience() {
	if os.Getenv("GOGC") != "" {
		return
	}
	usual := debug.SetGCPercent(firstHeap)
	if usual == firstHeap {
		return // someone is patient already
	}
	mark := new([16]byte) // unreachable at once, so the first collection finds it
	runtime.AddCleanup(mark, func(usual int) { debug.SetGCPercent(usual) }, usual)
}
