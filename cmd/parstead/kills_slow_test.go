//go:build slow

package main

// programKills is how often a test kills the program.
const programKills = 100
