package correlate

import "parstead/correlate/model"

// method is how outcomes of a kind are analysed.
type method interface {
	// response is the outcome for a model.
	response(s *sample) model.Response

	// analyse fills in the outcome's results; brief only its effects.
	analyse(s *sample, r *OutcomeResult) error
	brief(s *sample, r *OutcomeResult) error

	// dealt goes on with how each random deal was compared; "" where as the data were.
	dealt() string

	// spread fills in how much the replicates of a stratum vary; own are its strata.
	spread(s *sample, own []*model.Stratum, l *model.Stratum, f *Planning)
}

// methods are by the kind of outcome.
var methods = map[Kind]method{Measure: measure{}, Count: count{}, YesNo: yesNo{}}
