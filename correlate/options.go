package correlate

// Options say how an Input is analysed.
type Options struct {
	Interactions   bool   // all two-way interactions of the treatments
	NoGrowthInDark bool   // light curves without intercept, bins or treatments
	Seed           uint64 // of every random draw
	Workers        int    // goroutines for permutations; 0: as many as processors
}
