package claimsworlds

import "slices"

// Worlds returns every world, null worlds first.
func Worlds() []World {
	return slices.Concat(nullBins(), nullLamps(), nullTails(), nullLosses(),
		nullCounts(), nullYesNo(), nullPlaces(), nullStock(), nullFamily(),
		realPlain(), realLight(), realLevels(), realOddLight(), realEvents(),
		realStock(), realLosses(), realSlips(), realFamily())
}

// Named returns the world of that name.
func Named(name string) (World, bool) {
	for _, w := range Worlds() {
		if w.Name == name {
			return w, true
		}
	}
	return World{}, false
}
