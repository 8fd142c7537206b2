// Package demo is an invented rack with an invented season: what its lamps gave
// at every position, what its sensors said about it, what its grower wrote
// down and what was harvested. A World knows the truth that was planted, so
// that what the program finds can be held against it. Nothing in it was ever
// measured.
//
// A World is made from a seed alone: no clock, no files, no network. WriteFolder
// writes its trial folder; Readings gives its sensor readings as a light.Memory;
// a Player publishes them to a broker tick by tick.
package demo
