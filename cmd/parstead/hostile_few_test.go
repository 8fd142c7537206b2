//go:build !worlds

package main

// allWorlds has the large hostile tables run too.
const allWorlds = false
