// Package referee words for a referee what was fitted and by which tests: an equation
// of each outcome and one paragraph on the whole.
package referee
