// Package sentences words what an analysis found, for people: short sentences
// with number, interval and unit.
package sentences
