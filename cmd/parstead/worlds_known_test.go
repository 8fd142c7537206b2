//go:build worlds

package main

// worldsKnown are promises that are known to be broken, as WORLD/WHAT, each with what
// was measured and why. None is at 200 trials a world.
var worldsKnown = map[string]string{}
