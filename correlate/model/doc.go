// Package model fits the models of the harvest analysis and draws from them
// what a trial's results are made of: partial tests of effects, adjusted
// means, comparisons with simultaneous intervals, strata for treatments set
// per bin, and the checks that stand beside them.
//
// Rows are plants (bins in the bin stratum); every slice that speaks of rows
// is in the caller's order and of one length. What data can cause (collinear
// columns, too few rows, an outcome without spread) comes back as an error or
// as ok == false; what only a wrong call can cause panics.
package model
