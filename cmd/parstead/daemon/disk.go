package daemon

import (
	"fmt"
	"time"

	"parstead/light/watch"
)

// diskFloor is how many bytes must stay free where the trial is kept.
const diskFloor = 256 << 20

// diskIs tells that a folder's disk is nearly full.
func diskIs(folder string, now time.Time) (watch.Condition, bool) {
	free, err := freeBytes(folder)
	if err != nil || free >= diskFloor {
		return watch.Condition{}, false
	}
	return watch.Condition{
		Kind: watch.Disk, Since: now,
		Says: fmt.Sprintf("Only %d MB are free where the trial is kept.", free>>20),
		Do:   "Make room on the disk that holds " + absolute(folder) + "; readings can't be kept once it is full.",
	}, true
}
