// Package deal lays plants out at random under constraints, and deals the
// labels of a layout anew for a re-dealing test.
//
// The procedure. Plants of one group (a value of analyse_by) are sorted by
// starting size and cut into sets of k, k being the number of treatment cells;
// a bin's positions are sorted by light (or, where no light is known, around
// the rim and then through the inner rows) and cut alike. Sets of plants go to
// sets of positions at random, each bin getting one of every layer of sizes;
// inside a set plants go to positions at random and every treatment cell falls
// on one plant, at random. A bin whose plants are no multiple of k has one
// shorter set, which gets that many different cells, chosen so that the counts
// of any two cells differ by at most one within the bin, within its block and
// over all bins. Every deal that the constraints allow is equally likely, which
// is what makes a re-dealing test exact.
//
// Treatments set per bin or reservoir are dealt to whole bins or reservoirs in
// the same way, their blocks taking the place of bins.
package deal
