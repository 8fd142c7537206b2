package daylight

import (
	"context"
	"sync"
	"time"

	"parstead/light"
)

// Kept finds what Of does, once for each bin and number of finished light days. What
// it keeps is a rack's; readings that come late for a finished day are seen from the
// next day on, or after Forget. Kept may be used by several goroutines at once; its
// zero value is ready.
type Kept struct {
	mu    sync.Mutex
	rack  *light.Rack
	signs map[looked]Signs
}

// looked names a bin after so many light days.
type looked struct {
	bin  string
	days int
}

// Of is the function Of.
func (k *Kept) Of(ctx context.Context, rack *light.Rack, src light.Source, bin light.Bin, now time.Time) (Signs, error) {
	key := looked{bin.Name, finished(rack, now)}
	k.mu.Lock()
	if k.rack != rack {
		k.rack, k.signs = rack, map[looked]Signs{}
	}
	signs, ok := k.signs[key]
	k.mu.Unlock()
	if ok {
		return signs, nil
	}
	signs, err := Of(ctx, rack, src, bin, now)
	if err != nil {
		return signs, err
	}
	k.mu.Lock()
	defer k.mu.Unlock()
	if k.rack != rack {
		return signs, nil
	}
	for old := range k.signs {
		if old.bin == bin.Name && old.days < key.days {
			delete(k.signs, old)
		}
	}
	k.signs[key] = signs
	return signs, nil
}

// Forget has every bin looked at anew.
func (k *Kept) Forget() {
	k.mu.Lock()
	defer k.mu.Unlock()
	k.rack = nil
}
