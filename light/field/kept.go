package field

import (
	"math"
	"slices"
	"sync"
	"time"

	"parstead/light"
)

// Kept makes light maps as Maps does, and keeps each for as long as what it is made
// of stays the same: the bin's grid, the walk with what the sensors showed
// meanwhile, and the sensors' places. A map given twice shares memory. Kept may be
// used by several goroutines at once; its zero value is ready.
type Kept struct {
	mu   sync.Mutex
	fits map[walkKey]fittedMap
}

// walkKey names a map: a walk that is mended takes the place of the one before.
type walkKey struct {
	bin string
	at  [2]int64 // of the first and the last reading, Unix ns
	own bool     // without sensors
}

// fittedMap is a map with what it was made of.
type fittedMap struct {
	bin     light.Bin
	walk    []Reading
	anchors []Anchor
	m       Map
	err     error
}

// Maps is the function Maps.
func (k *Kept) Maps(bin light.Bin, survey []Reading, epochs []light.Span, anchors func(time.Time) []Anchor) (maps []Map, remarks []string) {
	return mapsBy(k.fit, bin, survey, epochs, anchors)
}

func (k *Kept) fit(bin light.Bin, walk []Reading, anchors []Anchor) (Map, error) {
	of := walkKey{bin.Name, [2]int64{walk[0].At.UnixNano(), walk[len(walk)-1].At.UnixNano()}, len(anchors) == 0}
	k.mu.Lock()
	f, ok := k.fits[of]
	k.mu.Unlock()
	if ok && f.madeOf(bin, walk, anchors) {
		return f.m, f.err
	}
	f = fittedMap{bin: bin, walk: walk, anchors: anchors}
	f.m, f.err = fit(bin, walk, anchors)
	k.mu.Lock()
	defer k.mu.Unlock()
	if k.fits == nil {
		k.fits = map[walkKey]fittedMap{}
	}
	k.fits[of] = f
	return f.m, f.err
}

func (f *fittedMap) madeOf(bin light.Bin, walk []Reading, anchors []Anchor) bool {
	return f.bin.Daylight == bin.Daylight && f.bin.Rows == bin.Rows && f.bin.Columns == bin.Columns &&
		f.bin.PitchRows == bin.PitchRows && f.bin.PitchColumns == bin.PitchColumns &&
		slices.Equal(f.anchors, anchors) && slices.EqualFunc(f.walk, walk, sameReading)
}

func sameReading(a, b Reading) bool {
	return a.At.Equal(b.At) && a.Position == b.Position && a.PPFD == b.PPFD && a.Meter == b.Meter && a.Row == b.Row &&
		(a.Reference == b.Reference || math.IsNaN(a.Reference) && math.IsNaN(b.Reference))
}
