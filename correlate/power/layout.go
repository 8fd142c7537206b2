package power

// Layout is a balanced comparison: each of Levels levels has n replicates.
type Layout struct {
	Levels int
	// Others is how many more coefficients the model has, beside one for each level
	// and the blocks.
	Others int
	// Blocked tells that the replicates lie in n blocks which hold every level once.
	Blocked bool
}

// DF is the residual degrees of freedom with n replicates per level; it can be
// negative.
//
//	kn − k − others, less n − 1 with blocks
func (l Layout) DF(n int) int {
	df := l.Levels*n - l.Levels - l.Others
	if l.Blocked {
		df -= n - 1
	}
	return df
}

// least is the fewest replicates that leave a degree of freedom.
func (l Layout) least() int {
	n := 2
	for l.DF(n) < 1 {
		n++
	}
	return n
}

// mustHold panics on layouts that only a wrong caller can ask for.
func (l Layout) mustHold() {
	if l.Levels < 2 || l.Others < 0 {
		panic("power: a comparison needs two levels or more")
	}
}
