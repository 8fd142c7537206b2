// Package analysis is the vocabulary of a harvest's analysis: what is asked of a
// trial's plants, and what is answered. It computes nothing and words nothing.
package analysis
