// Package dist holds the distributions and tests that a harvest correlation
// needs and gonum lacks: the studentized range, the non-central F and t, the
// exact test of a table of counts, Wilson's interval for a share, the
// Shapiro–Wilk test and the false-discovery adjustment; with the root finder
// that their inverses use.
//
// Functions panic on parameters outside their domain: those come from the
// program's own code, never from data.
package dist
