package tables

// terms are the words of the full text that a grower does not use, with what they mean.
var terms = []struct{ term, means string }{
	{"95 % interval", "made this way, it holds the truth in 95 trials of a hundred."},
	{"p", "how often chance alone makes a difference as large as this one. It is not the chance that there is none."},
	{"p_fdr, false discovery rate", "the share of chance finds among all that stand out as much."},
	{"p_redealt", "p by dealing the labels anew many times, as the layout dealt them."},
	{"adjusted", "what the mean would be, were all plants alike in the rest of the model."},
	{"letters", "levels that share a letter were not shown to differ."},
	{"residual", "what is left of a plant's value when the model has had its say; studentized: in units of its own spread."},
	{"degrees of freedom (on)", "how many replicates are left to judge chance by; with few of them intervals are wide."},
	{"F, chi2, exact", "tests: by spreads, by chances of counts, by counting all ways to deal the answers."},
	{"least squares", "the model whose squared residuals are smallest."},
	{"quasi-likelihood", "a model of counts that takes their scatter from the counts themselves."},
	{"penalised logistic", "a model of yes and no that holds with few answers of one kind."},
	{"odds ratio", "the odds of yes on one level over those on the other."},
	{"AICc, weight", "how well a shape fits for its number of parameters; the least is best, and the weights sum to 1."},
	{"variance inflation", "how much wider an interval is since two causes went together."},
	{"reliability", "the share of differences in light figures that is light and not error."},
	{"Moran's I", "whether neighbours are alike in what the model leaves: 0 is not."},
	{"power", "how often a trial of that size shows a difference of that size."},
	{"CV", "the standard deviation over the mean."},
}

// glossary writes what terms mean.
func (p *Lines) glossary() {
	p.Heading("What the terms mean")
	for _, t := range terms {
		p.Wrapped("  ", "      ", t.term+": "+t.means)
	}
}
