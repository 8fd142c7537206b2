//go:build slow

package main

import (
	"testing"
	"time"
)

// Twenty racks of 500 positions on one machine, with what 1, 5 and 20 take.
func TestANurseryOfTwentyRacks(t *testing.T) {
	grown(t, 30, 30*time.Second, 1, 5, 20)
}
