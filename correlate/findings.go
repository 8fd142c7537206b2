package correlate

// find writes the findings of one outcome.
func (in *Input) find(r *OutcomeResult, all *Result) {
	r.Findings = []string{}
	_ = all
}
