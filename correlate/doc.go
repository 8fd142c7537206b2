// Package correlate is the harvest correlation: plants with their treatments,
// places and light on one side, what was weighed, counted or seen on the
// other. Analyse gives one analysis per outcome, by the rules of the contract,
// and the findings in plain sentences.
package correlate
